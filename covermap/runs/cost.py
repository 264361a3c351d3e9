"""What a run will cost in time, memory and disk, told before it starts."""

from __future__ import annotations

import math
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from covermap.errors import InputError
from covermap.grid.radials import WIDEST_SPACING_M
from covermap.outputs.cells import MOST_CELLS
from covermap.outputs.coarsened import MOST_DRAWN_CELLS
from covermap.runs.preparation import Preparation
from covermap.terrain.elevation_file import MAPPED_CELLS

# Measured on the machine of docs/benchmarks.md, one core; `check` is right within a factor, not exact.
PATH_S_PER_ANSWER = 0.075e-6  # sweep with sampling and writing, one frequency, height and percentage
MARCH_S_PER_POINT = 0.35e-6  # profile points on the way to the cells
RECEPTION_S_PER_CELL_AND_SERVICE = 3.5e-6  # of each list, the 3 dB runs included
OUTPUT_S = 3.0
OUTPUT_S_PER_CELL = 12e-6
COMPILE_S = 35.0
BASE_MEMORY_MB = 450.0
MEMORY_BYTES_PER_CELL = 60.0  # of those that pages draw; all else goes by tiles
STORE_BYTES_PER_ANSWER_PAIR = 3.0  # loss and spread of one frequency and height
STORE_BYTES_PER_FREQUENCY = 2.13  # departure, and a bit for near
RESULT_BYTES_PER_CELL_AND_STATION = 3.2
RESULT_BYTES_PER_CELL_AND_LIST = 10.0
RESULT_BYTES_PER_CELL_AND_SERVICE = 1.5  # of each list
CELLS_LAYER_BYTES_PER_CELL = 340.0  # of each list, in the GeoPackage and the page, on small maps alone


@dataclass(frozen=True)
class Cost:
    """Wall time, peak memory and disk of a run on an empty store."""

    seconds: float
    memory_mb: float
    disk_mb: float

    def in_words(self) -> str:
        """Return for example 'about 40 s, 1.1 GB memory, 90 MB disk'."""
        return f"about {_time(self.seconds)}, {_size(self.memory_mb)} memory, {_size(self.disk_mb)} disk"


def estimate(prepared: Preparation, workers: int | None = None) -> Cost:
    """Return what a run on an empty store will cost.

    workers : threads; None is one a core
    """
    workers = workers or os.cpu_count() or 1
    grid, settings = prepared.grid, prepared.scenario.settings
    cells = grid.rows * grid.cols
    lists = len(prepared.scenario.wanted)
    services = sum(len(wanted.services) for wanted in prepared.scenario.wanted)
    frequencies = sum(len(request.frequencies) for request in prepared.requests)
    pairs = frequencies * len(prepared.heights_m)
    reach_km = min(settings.prediction.reach_km, math.hypot(grid.rows, grid.cols) * grid.cell_m / 1000.0)
    radials = 2.0 * math.pi * reach_km * 1000.0 / min(grid.cell_m, WIDEST_SPACING_M)
    points = len(prepared.requests) * radials * reach_km * 1000.0 / settings.prediction.profile_step_m / 2.0
    core_s = (
        cells * pairs * 2.0 * PATH_S_PER_ANSWER
        + points * MARCH_S_PER_POINT
        + cells * services * RECEPTION_S_PER_CELL_AND_SERVICE
    )
    seconds = core_s / workers + OUTPUT_S + cells * OUTPUT_S_PER_CELL + COMPILE_S
    in_memory = (layer.array for layer in prepared.terrain.elevation if layer.array.size <= MAPPED_CELLS)
    terrain_mb = sum(array.nbytes for array in in_memory) / 1e6
    memory_mb = (
        BASE_MEMORY_MB
        + 150.0 * workers
        + terrain_mb
        + min(cells, MOST_DRAWN_CELLS) * MEMORY_BYTES_PER_CELL / 1e6
    )
    disk_mb = cells * (
        pairs * STORE_BYTES_PER_ANSWER_PAIR
        + frequencies * STORE_BYTES_PER_FREQUENCY
        + len(prepared.scenario.stations) * RESULT_BYTES_PER_CELL_AND_STATION
        + lists * RESULT_BYTES_PER_CELL_AND_LIST
        + services * RESULT_BYTES_PER_CELL_AND_SERVICE
        + (lists * CELLS_LAYER_BYTES_PER_CELL if cells <= MOST_CELLS else 0.0)
    ) / 1e6  # fmt: skip
    return Cost(seconds, memory_mb, disk_mb)


def refuse_what_does_not_fit(prepared: Preparation, folder: Path, workers: int | None = None) -> None:
    """Raise InputError when memory or disk cannot hold the run, naming a cell size that fits."""
    cost = estimate(prepared, workers)
    memory_mb, disk_mb = machine_memory_mb(), free_disk_mb(folder)
    excess = max(cost.memory_mb / memory_mb, cost.disk_mb / (0.9 * disk_mb))
    if excess <= 1.0:
        return
    grid = prepared.grid
    fits_m = _round_up(grid.cell_m * math.sqrt(excess) * 1.02)
    raise InputError(
        f"{prepared.scenario.path.name}, [grid] cell_m: {grid.cell_m:g} m makes {grid.rows} x {grid.cols} = "
        f"{grid.rows * grid.cols:,} squares, which need {_size(cost.memory_mb)} memory and "
        f"{_size(cost.disk_mb)} disk; this machine has {_size(memory_mb)} and {_size(disk_mb)} free.\n"
        f"  Squares of {fits_m:g} m fit, or a smaller area."
    )


def machine_memory_mb() -> float:
    """Return the memory of this machine in MB."""
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e6


def free_disk_mb(folder: Path) -> float:
    """Return the free disk space where a folder stands or will stand, in MB."""
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free / 1e6


def _round_up(value: float) -> float:
    """Return the next number of two figures."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.ceil(value / step) * step


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{max(5, 5 * round(seconds / 5)):.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _size(megabytes: float) -> str:
    return f"{megabytes / 1000:.1f} GB" if megabytes >= 950 else f"{megabytes:.0f} MB"
