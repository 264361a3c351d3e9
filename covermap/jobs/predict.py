"""The main computation: paths into the store, then reception tile by tile into rasters."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from numba.core.event import install_timer
from rasterio.io import MemoryFile

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.cluster import executor_of
from covermap.grid.executor import Executor
from covermap.grid.frame import Tile
from covermap.inputs.in_reach import Numbers, in_reach_of
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import prepare
from covermap.jobs.compile_ahead import compiled_beside
from covermap.jobs.kernel_sets import sets_of
from covermap.jobs.machine_memory import peak_memory_mb
from covermap.jobs.open_store import open_store
from covermap.jobs.path_stage import compute_paths, marches, received_with, tile_blocks
from covermap.jobs.run_session import RunSession
from covermap.jobs.second_opinion import second_blocks
from covermap.jobs.tile_reception import TileResult, receive_tile
from covermap.jobs.widened import widened, widened_counts
from covermap.result.coverage import Coverage, open_coverage
from covermap.result.finished_parts import finished_part, keep_part
from covermap.result.new_result import new_result
from covermap.result.parts import join_parts, parts_of
from covermap.result.raster_catalogue import OUTSIDE_FLAG, tells_of_homes
from covermap.result.rasters import RasterSet
from covermap.result.run_counts import RunCounts
from covermap.result.run_inputs import input_files, options_of, run_id
from covermap.result.run_json import write_run_json
from covermap.result.unchanged import digest_of_program
from covermap.scenario import Scenario

MOST_FIELD_RASTERS = 20  # outputs.field_rasters = "auto"

# told the stage, the fraction of it that is done, and words about it; False stops the run
Progress = Callable[[str, float, str], bool]


def predict(
    scenario: Scenario,
    output: str | Path | None = None,
    *,
    store: str | Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Coverage:
    """Predict the antenna every cell needs: rasters and run.json, in the place of an earlier result.

    Parameters
    ----------
    scenario : Scenario
        From read_scenario.
    output : path, optional
        Result folder; default as the scenario says.
    store : path, optional
        Folder of path losses already computed; default .covermap_store beside the scenario.
    workers : int, optional
        Threads; default one a core. The results do not depend on it.
    scheduler : str, optional
        Address of a dask.distributed scheduler on this machine or with TLS; its workers compute. They must
        see the scenario's files and the store under the same paths.
    progress : callable, optional
        Told (stage, fraction, words); returning False stops the run.

    Raises
    ------
    InputError
        If an input is wrong, or another run writes into the same folder; then nothing is written.
    CovermapError
        If a disk is full or the folder was removed. An earlier result is then as it was.
    """
    with executor_of(workers, scheduler) as executor:
        return run(prepare(scenario, store), Path(output or scenario.output), store, executor, progress)


def run(
    prepared: Preparation,
    output: Path,
    store: str | Path | None,
    executor: Executor,
    progress: Progress | None,
) -> Coverage:
    """Predict from inputs already read; see predict."""
    origin = origin_of_parts(prepared)
    with new_result(output, origin) as folder:
        write_rasters(prepared, folder, store, executor, progress, origin=origin)
    coverage = open_coverage(output)
    coverage.scenario = prepared.scenario
    return coverage


def origin_of_parts(prepared: Preparation, *, public: bool = False) -> str | None:
    """Return a name of everything the parts of a map are made from; None where no run goes on from them.

    That is a map that is not made in parts; a public one, as what tells of homes stands in memory alone; and
    one with inputs that no digest tells. Reads every input file.
    """
    parts = parts_of(prepared.grid)
    if public or len(parts) == 1:
        return None
    inputs = input_files(prepared.scenario)
    # The terrain has a digest of its own, of what was read of it, whatever kind of files it came from.
    if any(part["sha256"] is None and not part["role"].startswith("terrain.") for part in inputs):
        return None
    of_inputs = run_id(inputs, options_of(prepared.scenario))
    decided = of_inputs, prepared.terrain.digest, parts, digest_of_program()
    return hashlib.sha256(repr(decided).encode()).hexdigest()


def write_rasters(
    prepared: Preparation,
    folder: Path,
    store: str | Path | None,
    executor: Executor,
    progress: Progress | None,
    *,
    origin: str | None,
    public: bool = False,
) -> Coverage:
    """Write rasters and run.json into a new folder; return them open for reading.

    origin : of origin_of_parts(); the parts that the folder holds of it are not computed again
    public : rasters that tell where homes are stand in memory alone, and run.json tells rounded totals
    """
    report = progress or (lambda stage, fraction, words: True)
    counts, in_memory = RunCounts(), []
    session = RunSession(prepared, open_store(prepared, store))
    parts = parts_of(prepared.grid)
    private = tells_of_homes(doubts_everywhere=prepared.doubts_everywhere) if public else ()
    with compile_times(counts), compiled_beside(sets_of(prepared)) as compiling:
        for number, part in enumerate(parts, start=1):
            held: Mapping[str, MemoryFile] = {}
            of_part = None if origin is None else finished_part(folder, part)
            if of_part is None:
                told = report if len(parts) == 1 else _of_part(report, number, len(parts))
                of_part = RunCounts()
                with timed(of_part, "paths"):
                    compute_paths(session, executor, told, of_part, part)
                    compiling.wait()
                with (
                    timed(of_part, "reception"),
                    _rasters(session, folder, executor, part, private) as rasters,
                ):
                    _receive_all(session, rasters, executor, told, of_part, part)
                held = rasters.in_memory
                if origin is not None:
                    keep_part(folder, part, origin, of_part)
            in_memory.append(held)
            counts.add(of_part)
    joined = in_memory[0] if len(parts) == 1 else join_parts(folder, prepared.grid, parts, in_memory)
    run = write_run_json(folder, prepared, counts, peak_memory_mb(), public=public)
    return Coverage(folder, run, joined)


def _rasters(
    session: RunSession, folder: Path, executor: Executor, part: Tile, only_in_memory: Collection[str]
) -> RasterSet:
    """Return the rasters of a part of the map, or of all of it, to be written."""
    prepared = session.prepared
    return RasterSet(
        folder,
        prepared.grid,
        stations={station.station_id: station.station_id for station in prepared.scenario.stations},
        workers=executor.threads_here,
        only_in_memory=only_in_memory,
        part=None if part == prepared.grid.whole else part,
    )


def _of_part(report: Progress, number: int, parts: int) -> Progress:
    """Return a report that says which part of the map a stage is of."""
    return lambda stage, fraction, words: report(stage, fraction, f"part {number} of {parts}, {words}")


@contextmanager
def timed(counts: RunCounts, stage: str) -> Iterator[None]:
    """Add the wall time of a stage."""
    started = time.perf_counter()
    yield
    counts.stages_s[stage] = counts.stages_s.get(stage, 0.0) + time.perf_counter() - started


@contextmanager
def compile_times(counts: RunCounts) -> Iterator[None]:
    """Note the time the compiler took; on two threads at once it counts once."""

    def add(seconds: float) -> None:
        counts.compile_s += seconds

    with install_timer("numba:compile", add):
        yield
    counts.compile_s = round(counts.compile_s, 1)


def receive_task(session: RunSession, tile: Tile) -> tuple[TileResult, Numbers | None]:
    """Return what the cells of a tile need, from the store; blocks lost meanwhile are computed again.

    Of the stations in reach, in their own numbers; None where they have those of the whole map.
    """
    here = in_reach_of(session.prepared, received_with(session.prepared.grid, tile))
    prepared = here.prepared
    blocks = tile_blocks(prepared, session.store, tile)
    second = second_blocks(prepared, session.store, tile, blocks)
    result = receive_tile(prepared, tile, blocks, second)
    if not writes_field_rasters(session.prepared):  # 8 bytes a station and cell need not go to who writes
        nothing = np.empty((0, tile.rows, tile.cols), dtype=np.float32)
        result = replace(result, median_dbuvm=nothing, adjusted_dbuvm=nothing)
    return result, here.numbers


def _receive_all(
    session: RunSession,
    rasters: RasterSet,
    executor: Executor,
    report: Progress,
    counts: RunCounts,
    part: Tile,
) -> None:
    """Work out every tile and write it; tiles are written in one order whatever the workers."""
    prepared = session.prepared
    tiles = [tile for group in marches(part) for tile in group]
    for done, found in enumerate(executor.run(partial(receive_task, session), tiles), start=1):
        result = found[0]
        _write_tile(prepared, rasters, *found)
        counts.other_tiers += np.bincount(result.other_tier, minlength=256)
        if report("reception", done / len(tiles), f"tile {done} of {len(tiles)}") is False:
            raise KeyboardInterrupt


def writes_field_rasters(prepared: Preparation) -> bool:
    """Return whether a field raster a station is written: as asked, or up to 20 stations."""
    asked = prepared.scenario.settings.outputs.field_rasters
    return len(prepared.scenario.stations) <= MOST_FIELD_RASTERS if asked == "auto" else bool(asked)


def _write_tile(
    prepared: Preparation, rasters: RasterSet, result: TileResult, numbers: Numbers | None
) -> None:
    """Write what a tile's cells need; numbers : what its stations and services are in the whole map."""
    tile = result.tile
    stations = prepared.scenario.stations
    if numbers is not None:
        stations = tuple(stations[place] for place in numbers.stations)
    rasters.write("ground", tile, result.ground_m)
    unknown = np.isnan(result.ground_m) & ((result.flags & OUTSIDE_FLAG) == 0)
    rasters.write("flags", tile, np.where(unknown, UNKNOWN_UINT8, result.flags))
    if prepared.homes is not None:
        rasters.write("homes", tile, prepared.homes.window(tile))
        if prepared.homes.without_roof is not None:
            rasters.write("homes_without_roof", tile, prepared.homes.without_roof.window(tile))
    if writes_field_rasters(prepared):
        for station, median_dbuvm in zip(stations, result.median_dbuvm, strict=True):
            rasters.write(f"field/{station.station_id}", tile, median_dbuvm)
        if prepared.calibration is not None:
            places = prepared.grid.centres_lonlat(tile)
            rasters.write("reading_weight", tile, prepared.calibration.reading_weight_percent(*places))
            for station, adjusted in zip(stations, result.adjusted_dbuvm, strict=True):
                rasters.write(f"field_adjusted/{station.station_id}", tile, adjusted)
    if result.services is not None:
        counts = result.services
        if numbers is not None:
            on_map = ((result.flags & OUTSIDE_FLAG) == 0) & ~np.isnan(result.ground_m)
            counts = widened_counts(counts, numbers, prepared.counted_services, on_map.ravel())
        rasters.write_services(tile, counts)
    for wanted in prepared.scenario.wanted:
        found = result.lists[wanted.name]
        if numbers is not None:
            found = widened(found, numbers, wanted)
        rasters.write_list(wanted, tile, found.reception, found.main_cause, found.service_cause)
        rasters.write(f"{wanted.name}/service_path", tile, result.paths[wanted.name])
        doubts = result.doubts[wanted.name]
        for kind, values in (("tier_in_leaf", doubts.tier_in_leaf), ("tier_cover_doubt", doubts.cover_doubt)):
            if values is not None:
                rasters.write(f"{wanted.name}/{kind}", tile, values.reshape(tile.rows, tile.cols))
        if wanted.name in result.second:
            second = result.second[wanted.name]
            shape = (tile.rows, tile.cols)
            rasters.write(f"{wanted.name}/tier_second_opinion", tile, second.tier.reshape(shape))
            rasters.write(f"{wanted.name}/second_opinion", tile, second.difference_db.reshape(shape))
