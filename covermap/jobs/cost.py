"""What a run will cost in time, memory and disk, told before it starts."""

from __future__ import annotations

import itertools
import math
import os
from dataclasses import dataclass

import numpy as np

from covermap.gis_layers.cells import MOST_CELLS
from covermap.grid.blocks import BlockRequest
from covermap.grid.frame import Tile
from covermap.grid.geodesy import mast_geometry
from covermap.grid.radials import make_radials
from covermap.grid.reach import reaching
from covermap.grid.store import bytes_a_cell
from covermap.inputs.in_reach import KEPT_PARTS
from covermap.inputs.preparation import Preparation
from covermap.jobs.compile_ahead import is_compiled
from covermap.jobs.open_store import store_limit_gb
from covermap.jobs.path_stage import TILE_CELLS, TILES_A_MARCH, received_with
from covermap.jobs.reach_sample import SAMPLED_ROWS, ReachSample, sample_of_reach, spread_evenly
from covermap.reception.cells import receive_cells
from covermap.result.coarsened import MOST_DRAWN_CELLS
from covermap.terrain.space import is_mapped
from covermap.wording.words import plural

# What one unit of work costs: (value, unit, what measured it), on one warm core of the machine of
# docs/benchmarks.md; `check` is right within a factor, not exact. To fit them again, run what the last
# column names on a quiet machine: bench_memory.py prints what was told beside what was found. A cell's
# reception grows with the list, the tiers and, with at_least, the ways to leave services out.
RATES: dict[str, tuple[float, str, str]] = {
    "path_answer_s": (0.15e-6, "core-s a frequency, height and percentage of a cell", "bench_map.py"),
    "itm_answer_s": (1.0e-6, "the same by the model itm", "decisions/itm_on_the_map.md"),
    "itm_point_s": (12e-9, "core-s a step of a cell's profile and height, model itm", "the same"),
    "march_point_s": (0.25e-6, "core-s a profile point on the way", "bench_memory.py --cells 3163"),
    "reception_cell_s": (14e-6, "core-s a cell in reach, list and pass", "bench_memory.py --stations 5"),
    "reception_service_tier_s": (0.3e-6, "core-s a cell, listed service, tier and pass", "bench_map.py"),
    "reception_several_factor": (
        6.0,
        "and one a mast more: times as much where several masts in reach have a service",
        "bench_country.py",
    ),
    "reception_at_least_factor": (3.0, "times as much for a list with at_least", "bench_reception.py"),
    "passes_without_homes": (1.2, "receptions a cell: as is, a sample, chances at 3 dB", "bench_map.py"),
    "passes_with_homes": (1.1, "the same where only cells with homes are shifted", "the demo"),
    "cover_path_s": (
        15e-6,
        "core-s a square with homes, wanted station and height",
        "decisions/cover_here.md",
    ),
    "passes_of_doubts": (2.0, "receptions a square with homes: cover denser and more open", "the same"),
    "start_s": (3.0, "s to start and read", "the demo"),
    "output_s": (2.5, "s a run; outputs use one core", "bench_map.py --cells 60"),
    "output_drawn_cell_s": (7e-6, "s a cell that pages draw", "bench_memory.py --cells 1000"),
    "output_cell_s": (2e-6, "s a cell", "bench_memory.py --cells 9660"),
    "output_cells_layer_s": (20e-6, "s a cell of small maps, in GeoPackage", "bench_map.py --cells 300"),
    "output_homes_s": (5.0, "s for neighbourhoods, stock and ridges, with homes", "the demo"),
    "compile_s": (60.0, "s where kernels are not compiled yet", "a fresh NUMBA_CACHE_DIR"),
    "base_mb": (400.0, "MB of the process", "bench_memory.py --cells 300"),
    "worker_mb": (150.0, "MB a worker", "bench_memory.py --workers 1, then 2"),
    "receiver_station_mb": (0.5, "MB a station of each part whose receivers are kept", "bench_country.py"),
    "drawn_cell_mb": (60e-6, "MB a cell that pages draw; all else goes by tiles", "bench_memory.py"),
    "result_mb": (2.5, "MB of pages and layers of the smallest result", "the demo at 1000 m"),
    "result_station_mb": (3.2e-6, "MB a cell in reach and station with a field raster", "bench_memory.py"),
    "result_list_mb": (10e-6, "MB a cell in reach and list", "bench_memory.py"),
    "result_service_mb": (1.5e-6, "MB a cell in reach and listed service", "bench_memory.py"),
    "cells_layer_mb": (340e-6, "MB a cell and list in GeoPackage and page, small maps alone", "the demo"),
}
SAMPLED_PARTS = 6  # rows of places, and as many columns, whose stations in reach are counted


@dataclass(frozen=True)
class Crew:
    """Who computes: threads of this machine, or of a cluster's workers together; None is one a core."""

    workers: int | None = None
    on_cluster: bool = False

    @property
    def threads(self) -> int:
        """Return how many tasks run at once."""
        return self.workers or os.cpu_count() or 1

    def in_words(self) -> str:
        """Return for example 'on 2 threads'."""
        words = plural(self.threads, "thread")
        return f"on {words} of the cluster's workers" if self.on_cluster else f"on {words}"


@dataclass(frozen=True)
class Cost:
    """Wall time, and peak memory and disk on this machine, of a run on an empty store.

    memory_mb, store_mb, result_mb : each the part that stays whatever the squares, and the rest
    """

    seconds: float
    memory_parts_mb: tuple[float, float]
    store_parts_mb: tuple[float, float]
    result_parts_mb: tuple[float, float]

    @property
    def memory_mb(self) -> float:
        """Return the peak memory. [MB]"""
        return sum(self.memory_parts_mb)

    @property
    def disk_mb(self) -> float:
        """Return what the store and the result take together. [MB]"""
        return sum(self.store_parts_mb) + sum(self.result_parts_mb)

    def in_words(self) -> str:
        """Return for example 'about 40 s, 1.1 GB memory, 90 MB disk'."""
        memory, disk = size_in_words(self.memory_mb), size_in_words(self.disk_mb)
        return f"about {_time(self.seconds)}, {memory} memory, {disk} disk"


def estimate(prepared: Preparation, crew: Crew | None = None) -> Cost:
    """Return what a run on an empty store will cost; crew None is one thread a core.

    With compiling only where this machine has not compiled the kernels yet.
    """
    crew = crew or Crew()
    cells = prepared.grid.cells
    sample = sample_of_reach(prepared)
    of_request = sample.of_requests
    reached = cells * sample.of_any
    a_cell_s = _reception_core_s_a_pass(prepared, sample)
    passes = _rate("passes_without_homes" if prepared.homes is None else "passes_with_homes")
    core_s = _path_core_s(prepared, of_request) + reached * passes * a_cell_s
    core_s += _doubts_core_s(prepared, reached, a_cell_s)
    seconds = core_s / crew.threads + _outputs_s(prepared) + _rate("start_s")
    if not is_compiled(receive_cells):
        seconds += _rate("compile_s")
    in_memory_mb, mapped_mb = _terrain_mb(prepared)
    threads_here = 0 if crew.on_cluster else crew.threads
    return Cost(
        seconds,
        (
            _rate("base_mb") + _rate("worker_mb") * threads_here + in_memory_mb + _receivers_mb(prepared),
            min(cells, MOST_DRAWN_CELLS) * _rate("drawn_cell_mb"),
        ),
        (mapped_mb, min(_store_mb(prepared, of_request), 1000.0 * store_limit_gb(prepared))),
        (_rate("result_mb"), _result_mb(prepared, of_request, reached)),
    )


def _rate(name: str) -> float:
    return RATES[name][0]


def _path_core_s(prepared: Preparation, shares: list[float]) -> float:
    """Return the core-seconds of all paths: answers, and the march to them."""
    total = 0.0
    requests = prepared.requests_of_all_models
    for request, share in zip(requests, shares * (len(requests) // len(shares)), strict=True):
        cells = prepared.grid.cells * share
        answers = cells * len(request.frequencies) * len(request.heights_m) * 2.0
        total += answers * _rate("path_answer_s") + _march_points(request, cells) * _rate("march_point_s")
        if request.model == "itm":
            points = cells * len(request.heights_m) * _mean_steps(request)
            total += answers * _rate("itm_answer_s") + points * _rate("itm_point_s")
    return total


def _mean_steps(request: BlockRequest) -> float:
    """Return how many steps a profile has on the average, roughly: half of the longest."""
    place = request.latitude_deg, request.longitude_deg
    step_km = request.profile_step_m / 1000.0
    return make_radials(*place, request.grid, request.reach_km, step_km).steps / 2.0


def _march_points(request: BlockRequest, cells: float) -> float:
    """Return how many profile points the radials of a mast pass on the way to its cells, roughly.

    Each group of tiles is marched to anew, from the mast: on the average as wide as a square seen from any
    side, 4 / pi times its side. At least each radial that has a cell is followed to it once.
    """
    step_km = request.profile_step_m / 1000.0
    place = request.latitude_deg, request.longitude_deg
    radials = make_radials(*place, request.grid, request.reach_km, step_km)
    side_cells = TILE_CELLS * TILES_A_MARCH
    wide_steps = 4.0 / math.pi * side_cells * request.grid.cell_m / request.profile_step_m
    by_groups = cells / side_cells**2 * radials.count / (2.0 * math.pi) * wide_steps
    return max(by_groups, radials.count * _marched_steps(request))


def _marched_steps(request: BlockRequest) -> float:
    """Return how many steps a radial has to its last cell, those without a cell counting 0, from a sample."""
    grid = request.grid
    row, col = spread_evenly(grid.rows, SAMPLED_ROWS), spread_evenly(grid.cols, SAMPLED_ROWS)
    place = request.latitude_deg, request.longitude_deg
    seen = mast_geometry(*place, *grid.lonlat_of(*(axis.ravel() for axis in np.meshgrid(row, col))))
    reached = seen.distance_km <= request.reach_km
    farthest_km = np.zeros(360)
    np.maximum.at(farthest_km, seen.azimuth_deg[reached].astype(np.int64) % 360, seen.distance_km[reached])
    return float(farthest_km.mean() * 1000.0 / request.profile_step_m)


def _reception_core_s_a_pass(prepared: Preparation, sample: ReachSample) -> float:
    """Return the core-seconds of all lists of one cell in reach, once."""
    tiers = len(prepared.tiers.tiers)
    total = 0.0
    for wanted in prepared.scenario.wanted:
        once = _rate("reception_cell_s")
        once += len(wanted.services) * tiers * _rate("reception_service_tier_s")
        masts = sample.most_alternatives(wanted, prepared.station_request)
        several = np.where(masts > 1, _rate("reception_several_factor") + masts, 1.0)
        once *= float(several.mean()) if masts.size else 1.0
        total += once * (_rate("reception_at_least_factor") if wanted.at_least else 1.0)
    return total


def _doubts_core_s(prepared: Preparation, reached: float, a_cell_s: float) -> float:
    """Return the core-seconds of what leaves and another class of cover would change, where homes are."""
    squares = reached if prepared.doubts_everywhere else prepared.squares_with_homes
    passes, paths = 0.0, 0.0
    if prepared.looks_at_leaves:
        passes += 1.0  # at most: where no wood stands before an antenna there is none
    if prepared.looks_at_cover:
        passes += _rate("passes_of_doubts")
        paths = squares * len(prepared.wanted_stations) * len(prepared.heights_m)
    return squares * passes * a_cell_s + paths * _rate("cover_path_s")


def _outputs_s(prepared: Preparation) -> float:
    """Return the seconds of tables, layers and pages."""
    cells = prepared.grid.cells
    seconds = _rate("output_s") + cells * _rate("output_cell_s")
    seconds += min(cells, MOST_DRAWN_CELLS) * _rate("output_drawn_cell_s")
    if cells <= MOST_CELLS:
        seconds += cells * _rate("output_cells_layer_s")
    return seconds + (0.0 if prepared.homes is None else _rate("output_homes_s"))


def _terrain_mb(prepared: Preparation) -> tuple[float, float]:
    """Return the terrain in memory and the terrain in mapped files."""
    terrain = prepared.terrain
    layers = [*terrain.elevation, *terrain.bare_earth]
    if terrain.land_cover is not None:
        layers.append(terrain.land_cover.layer)
    layers += [one.layer for one in (terrain.clutter_heights, terrain.assumed) if one is not None]
    mapped = [layer.array.nbytes for layer in layers if is_mapped(layer.array)]
    return (sum(layer.array.nbytes for layer in layers) - sum(mapped)) / 1e6, sum(mapped) / 1e6


def _receivers_mb(prepared: Preparation) -> float:
    """Return what kept receivers take; a part of a map has those of the stations in its reach."""
    grid = prepared.grid
    places = itertools.product(*(spread_evenly(n, SAMPLED_PARTS) for n in (grid.rows, grid.cols)))
    parts = {received_with(grid, Tile(int(row), int(col), 1, 1)) for row, col in places}
    of_request = np.bincount(prepared.station_request, minlength=len(prepared.requests))
    stations = [float(of_request[reaching(prepared.requests, part)].sum()) for part in parts]
    return float(np.mean(stations)) * min(len(parts), KEPT_PARTS) * _rate("receiver_station_mb")


def _store_mb(prepared: Preparation, shares: list[float]) -> float:
    """Return what the blocks of all paths take."""
    requests = prepared.requests_of_all_models
    of_cell = [
        share * bytes_a_cell(len(request.frequencies), len(request.heights_m))
        for request, share in zip(requests, shares * (len(requests) // len(shares)), strict=True)
    ]
    return prepared.grid.cells * sum(of_cell) / 1e6


def _result_mb(prepared: Preparation, shares: list[float], reached: float) -> float:
    """Return the size of the result; cells without an answer take next to nothing."""
    scenario = prepared.scenario
    lists, services = len(scenario.wanted), sum(len(wanted.services) for wanted in scenario.wanted)
    a_cell = lists * _rate("result_list_mb") + services * _rate("result_service_mb")
    if prepared.grid.cells <= MOST_CELLS:
        a_cell += lists * _rate("cells_layer_mb")
    # Of a station beyond reach a raster holds nothing: on a wide map most stations are, nearly everywhere.
    cells = prepared.grid.cells
    fields = sum(min(cells * shares[number], reached) for number in prepared.station_request)
    return reached * a_cell + fields * _rate("result_station_mb")


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{max(5, 5 * round(seconds / 5)):.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def size_in_words(megabytes: float) -> str:
    """Return for example '750 MB' or '1.2 GB'."""
    return f"{megabytes / 1000:.1f} GB" if megabytes >= 950 else f"{megabytes:.0f} MB"
