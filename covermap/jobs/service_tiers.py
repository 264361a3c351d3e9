"""The class each service needs by itself, for the page of the map: by the run's own reception."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Grid, Tile
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation, store_folder
from covermap.jobs.path_stage import TILE_CELLS, tile_blocks
from covermap.jobs.tile_reception import tile_signals
from covermap.reception.receive import ListReceiver
from covermap.reports.web_map.layers import station_step
from covermap.reports.web_map.own_list import ServiceTiers, services_of
from covermap.scenario.records import WantedList


def tiers_of(
    prepared: Preparation, store: Path | None, workers: int | None = None
) -> Callable[[Grid], ServiceTiers]:
    """Return service_tiers() of a run, still to be given a grid; store None: that beside the scenario."""
    return partial(service_tiers, prepared, Store(store_folder(prepared.scenario, store)), workers=workers)


def service_tiers(
    prepared: Preparation, store: Store, grid: Grid, workers: int | None = None
) -> ServiceTiers:
    """Return the class each service needs by itself in every square of a page's grid.

    grid : that of the run, or with cells a whole number of times as long: each then stands for the cell in
        its middle, as covermap.result.coarsened has it. Where the page holds one value for several squares,
        so do these
    workers : threads; None is one a processor
    """
    services = services_of(prepared.scenario)
    receivers = [
        prepared.receiver(WantedList(service.name, (service.name,), (service.stations,), None))
        for service in services
    ]
    step = station_step(grid.rows * grid.cols, len(services))
    stride = round(grid.cell_m / prepared.grid.cell_m) * step
    rows, cols = (_middles(size, stride) for size in (prepared.grid.rows, prepared.grid.cols))
    tier = np.full((len(services), rows.size, cols.size), UNKNOWN_UINT8, dtype=np.uint8)
    work = partial(_tile_tiers, prepared, store, receivers, rows, cols)
    for window, found in run_tasks(work, list(prepared.grid.tiles(TILE_CELLS)), workers):
        tier[:, *window] = found
    whole = tier.repeat(step, axis=1).repeat(step, axis=2)[:, : grid.rows, : grid.cols]
    return ServiceTiers(services, np.ascontiguousarray(whole))


def _tile_tiers(
    prepared: Preparation,
    store: Store,
    receivers: list[ListReceiver],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    tile: Tile,
) -> tuple[tuple[slice, slice], NDArray[np.uint8]]:
    """Return which of some rows and columns a tile holds, as slices, and each service's class there."""
    window = (
        slice(*np.searchsorted(rows, (tile.row, tile.row + tile.rows))),
        slice(*np.searchsorted(cols, (tile.col, tile.col + tile.cols))),
    )
    inside = np.add.outer((rows[window[0]] - tile.row) * tile.cols, cols[window[1]] - tile.col)
    found = np.full((len(receivers), *inside.shape), UNKNOWN_UINT8, dtype=np.uint8)
    if found.size and prepared.inside_area(tile).any():
        signals = tile_signals(prepared, tile, tile_blocks(prepared, store, tile)).some(inside.ravel())
        for number, receiver in enumerate(receivers):
            found[number] = receiver.tiers_of(signals).reshape(inside.shape)
    return window, found


def _middles(size: int, stride: int) -> NDArray[np.int64]:
    """Return the middle of every `stride` cells along one side, at the end the last cell."""
    return np.minimum(np.arange(0, size, stride) + stride // 2, size - 1)
