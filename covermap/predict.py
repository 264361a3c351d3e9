"""The main computation: paths into the store, then reception tile by tile into rasters."""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numba.core.event import install_timer

from covermap.errors import InputError
from covermap.grid.blocks import BlockRequest, LossBlock, as_stored, compute_blocks
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Tile
from covermap.grid.loss_block import of_frequency, stacked
from covermap.grid.store import Store
from covermap.outputs.coverage import Coverage, open_coverage
from covermap.outputs.rasters import RasterSet
from covermap.outputs.run_json import write_run_json
from covermap.preparation import Preparation, prepare
from covermap.scenario import Scenario
from covermap.tile_reception import TileResult, receive_tile

TILE_CELLS = 128
TILES_A_MARCH = 4  # tiles on a side that share one march of each radial
MOST_FIELD_RASTERS = 20  # outputs.field_rasters = "auto"

# told the stage, the fraction of it that is done, and words about it; False stops the run
Progress = Callable[[str, float, str], bool]


@dataclass
class RunCounts:
    """What a run did: blocks computed and read, seconds a stage, seconds spent compiling in them.

    other_tiers : cells of a sample by tier (index 255 unknown) at the other default of the prediction error
    """

    computed: int = 0
    read: int = 0
    stages_s: dict[str, float] = field(default_factory=dict)
    compile_s: float = 0.0
    other_tiers: np.ndarray = field(default_factory=lambda: np.zeros(256, dtype=np.int64))


def predict(
    scenario: Scenario,
    output: str | Path | None = None,
    *,
    store: str | Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Coverage:
    """Predict the antenna every cell needs and write rasters and run.json as it goes.

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
        Not available yet; must be None.
    progress : callable, optional
        Told (stage, fraction, words); returning False stops the run.

    Raises
    ------
    InputError
        If an input is wrong; then nothing is written.
    """
    if scheduler is not None:
        raise InputError(f"scheduler is {scheduler!r}; runs on other machines come later. Leave it out.")
    return run(prepare(scenario), Path(output or scenario.output), store, workers, progress)


def run(
    prepared: Preparation,
    output: Path,
    store: str | Path | None,
    workers: int | None,
    progress: Progress | None,
) -> Coverage:
    """Predict from inputs already read; see predict."""
    report = progress or (lambda stage, fraction, words: True)
    counts = RunCounts()
    blocks = Store(Path(store) if store else prepared.scenario.path.parent / ".covermap_store")
    with compile_times(counts):
        with timed(counts, "paths"):
            _compute_paths(prepared, blocks, workers, report, counts)
        with timed(counts, "reception"), RasterSet(output, prepared.grid) as rasters:
            _receive_all(prepared, blocks, rasters, workers, report, counts)
    write_run_json(output, prepared, counts, peak_memory_mb())
    return open_coverage(output)


@contextmanager
def timed(counts: RunCounts, stage: str) -> Iterator[None]:
    """Note the wall time of a stage."""
    started = time.perf_counter()
    yield
    counts.stages_s[stage] = time.perf_counter() - started


@contextmanager
def compile_times(counts: RunCounts) -> Iterator[None]:
    """Note the time the compiler took; on two threads at once it counts once."""

    def add(seconds: float) -> None:
        counts.compile_s += seconds

    with install_timer("numba:compile", add):
        yield
    counts.compile_s = round(counts.compile_s, 1)


def peak_memory_mb() -> float:
    """Return the greatest resident memory of this process so far, in MB."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0 if sys.platform == "darwin" else 1024.0)


def _marches(prepared: Preparation) -> Iterator[list[Tile]]:
    """Yield groups of neighbouring tiles that share one march of each radial."""
    for group in prepared.grid.tiles(TILE_CELLS * TILES_A_MARCH):
        yield [
            tile
            for tile in prepared.grid.tiles(TILE_CELLS)
            if group.row <= tile.row < group.row + group.rows
            and group.col <= tile.col < group.col + group.cols
        ]


Task = tuple[BlockRequest, list[Tile]]


def _compute_paths(prepared, blocks: Store, workers, report: Progress, counts: RunCounts) -> None:
    """Put every missing block into the store."""
    names = {request: station.mast for request, station in _stations_of(prepared)}
    tasks: list[Task] = []
    mast_of_task: list[str] = []
    for request in prepared.requests:
        for group in _marches(prepared):
            for task in _missing(request, group, blocks, counts):
                tasks.append(task)
                mast_of_task.append(names[request])

    def compute(task: Task) -> int:
        request, tiles = task
        for tile, block in zip(tiles, compute_blocks(request, tiles, prepared.terrain), strict=True):
            _save(blocks, request, tile, block)
        return len(tiles) * len(request.frequencies)

    for done, computed in enumerate(run_tasks(compute, tasks, workers), start=1):
        counts.computed += computed
        if report("paths", done / len(tasks), mast_of_task[done - 1]) is False:
            raise KeyboardInterrupt


def _missing(request: BlockRequest, tiles: list[Tile], blocks: Store, counts: RunCounts) -> list[Task]:
    """Return what the store lacks: tiles that lack the same frequencies share a march."""
    lacking: dict[tuple[tuple[float, bool], ...], list[Tile]] = {}
    for tile in tiles:
        frequencies = tuple(f for f in request.frequencies if not blocks.has(request.of(f).digest(tile)))
        counts.read += len(request.frequencies) - len(frequencies)
        if frequencies:
            lacking.setdefault(frequencies, []).append(tile)
    return [(request.of(*frequencies), tiles) for frequencies, tiles in lacking.items()]


def _save(blocks: Store, request: BlockRequest, tile: Tile, block: LossBlock) -> None:
    """Put a block into the store, a file a frequency, so that a station added computes only itself."""
    for index, frequency in enumerate(request.frequencies):
        blocks.save(request.of(frequency).digest(tile), of_frequency(block, index))


def _stations_of(prepared: Preparation):
    for index, request in enumerate(prepared.station_request):
        yield prepared.requests[request], prepared.scenario.stations[index]


def _block(prepared: Preparation, blocks: Store, request: BlockRequest, tile: Tile) -> LossBlock:
    """Return one block, from the store or, where part of it was lost or damaged, computed again."""
    parts = []
    for frequency in request.frequencies:
        part = blocks.load(request.of(frequency).digest(tile))
        if part is None:
            block = compute_blocks(request, [tile], prepared.terrain)[0]
            _save(blocks, request, tile, block)
            return as_stored(block)
        parts.append(part)
    return stacked(parts)


def _receive_all(prepared, blocks: Store, rasters: RasterSet, workers, report: Progress, counts) -> None:
    """Work out every tile and write it; tiles are written in grid order whatever the workers."""
    tiles = list(prepared.grid.tiles(TILE_CELLS))

    def work(tile: Tile) -> TileResult:
        return receive_tile(prepared, tile, [_block(prepared, blocks, r, tile) for r in prepared.requests])

    for done, result in enumerate(run_tasks(work, tiles, workers), start=1):
        _write_tile(prepared, rasters, result)
        counts.other_tiers += np.bincount(result.other_tier, minlength=256)
        if report("reception", done / len(tiles), f"tile {done} of {len(tiles)}") is False:
            raise KeyboardInterrupt


def writes_field_rasters(prepared: Preparation) -> bool:
    """Return whether a field raster a station is written: as asked, or up to 20 stations."""
    asked = prepared.scenario.settings.outputs.field_rasters
    return len(prepared.scenario.stations) <= MOST_FIELD_RASTERS if asked == "auto" else bool(asked)


def _write_tile(prepared: Preparation, rasters: RasterSet, result: TileResult) -> None:
    tile = result.tile
    rasters.write("ground", tile, result.ground_m)
    rasters.write("flags", tile, result.flags)
    if prepared.homes is not None:
        rasters.write("homes", tile, prepared.homes.window(tile))
        if prepared.homes.without_roof is not None:
            rasters.write("homes_without_roof", tile, prepared.homes.without_roof.window(tile))
    if writes_field_rasters(prepared):
        for station, median_dbuvm in zip(prepared.scenario.stations, result.median_dbuvm, strict=True):
            rasters.write(f"field/{station.station_id}", tile, median_dbuvm)
        if prepared.calibration is not None:
            for station, adjusted in zip(prepared.scenario.stations, result.adjusted_dbuvm, strict=True):
                rasters.write(f"field_adjusted/{station.station_id}", tile, adjusted)
    for wanted in prepared.scenario.wanted:
        rasters.write_list(wanted, tile, result.lists[wanted.name])
    for name, values in result.shifted.items():
        rasters.write(name, tile, values.reshape(tile.rows, tile.cols))
