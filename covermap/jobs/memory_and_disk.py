"""Whether memory and disks hold a run, told before it starts."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np

from covermap.errors import InputError
from covermap.grid.reach import reaching
from covermap.grid.store import block_path
from covermap.inputs.preparation import Preparation
from covermap.jobs.cost import Cost, Crew, estimate, size_in_words
from covermap.jobs.machine_memory import machine_memory_mb
from covermap.jobs.path_stage import TILE_CELLS

USABLE_DISK = 0.9  # of what is free; other programs write too


def refuse_what_does_not_fit(
    prepared: Preparation, output: Path, store: Path, crew: Crew | None = None
) -> None:
    """Raise InputError when memory or a disk cannot hold the run, naming a cell size that fits.

    output, store : the folders, on one disk or two; blocks that stand in the store already need no room
    """
    cost = estimate(prepared, crew)
    excess = max(_excess(*need) for need in _needs(cost, output, store))
    if excess > 1.0:
        needed, stored = blocks_of_run(prepared, store)
        fixed_mb, varying_mb = cost.store_parts_mb
        cost = replace(cost, store_parts_mb=(fixed_mb, varying_mb * (1.0 - stored / max(needed, 1))))
        excess = max(_excess(*need) for need in _needs(cost, output, store))
    if excess <= 1.0:
        return
    grid = prepared.grid
    free = f"{size_in_words(free_disk_mb(output))} disk for the result"
    if not _on_one_disk(output, store):
        free += f" and {size_in_words(free_disk_mb(store))} for the store"
    advice = "No size of squares fits: free space, or name folders on another disk."
    if math.isfinite(excess):
        fits_m = _round_up(grid.cell_m * math.sqrt(excess) * 1.02)
        advice = f"Squares of {fits_m:g} m fit, or a smaller area."
    raise InputError(
        f"{prepared.scenario.path.name}, [grid] cell_m: {grid.cell_m:g} m makes {grid.rows} x {grid.cols} = "
        f"{grid.rows * grid.cols:,} squares, which need {size_in_words(cost.memory_mb)} memory and "
        f"{size_in_words(cost.disk_mb)} disk, {size_in_words(sum(cost.store_parts_mb))} of it for the store; "
        f"this machine has {size_in_words(machine_memory_mb())} memory and free {free}.\n  {advice}"
    )


def blocks_of_run(prepared: Preparation, store: Path) -> tuple[int, int]:
    """Return how many loss blocks a run needs, and how many of them stand in the store already."""
    requests = prepared.requests_of_all_models
    needed = there = 0
    for tile in prepared.grid.tiles(TILE_CELLS):
        for number in np.flatnonzero(reaching(requests, tile)):
            for frequency in requests[number].frequencies:
                needed += 1
                there += block_path(store, requests[number].of(frequency).digest(tile)).exists()
    return needed, there


def _needs(cost: Cost, output: Path, store: Path) -> list[tuple[tuple[float, float], float]]:
    """Return what is needed, in the two parts of Cost, and what there is of it. [MB]"""
    memory = (cost.memory_parts_mb, machine_memory_mb())
    result_mb, store_mb = USABLE_DISK * free_disk_mb(output), USABLE_DISK * free_disk_mb(store)
    if _on_one_disk(output, store):
        fixed_mb, varying_mb = map(sum, zip(cost.store_parts_mb, cost.result_parts_mb, strict=True))
        return [memory, ((fixed_mb, varying_mb), result_mb)]
    return [memory, (cost.result_parts_mb, result_mb), (cost.store_parts_mb, store_mb)]


def _excess(parts_mb: tuple[float, float], there_mb: float) -> float:
    """Return how many times too many squares there are; infinity when even none would fit."""
    fixed_mb, varying_mb = parts_mb
    if fixed_mb + varying_mb <= there_mb:
        return 0.0
    return varying_mb / (there_mb - fixed_mb) if there_mb > fixed_mb else math.inf


def _on_one_disk(output: Path, store: Path) -> bool:
    return _standing(output).stat().st_dev == _standing(store).stat().st_dev


def free_disk_mb(folder: Path) -> float:
    """Return the free disk space where a folder stands or will stand, in MB."""
    return shutil.disk_usage(_standing(folder)).free / 1e6


def _standing(folder: Path) -> Path:
    """Return the folder, or the nearest one above it that is there."""
    folder = Path(folder).absolute()
    while not folder.exists():
        folder = folder.parent
    return folder


def _round_up(value: float) -> float:
    """Return the next number of two figures."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.ceil(value / step) * step
