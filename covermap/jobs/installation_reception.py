"""What installations bring in the cells of a run: read from the store, by the run's own reception."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Tile
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.jobs.path_stage import TILE_CELLS, tile_blocks
from covermap.jobs.tile_reception import tile_signals
from covermap.reception import CellSignals
from covermap.reception.installed import HoldingReceiver, InstallationCounter, Receiving
from covermap.reception.tiers import Tier
from covermap.scenario.records import WantedList
from covermap.scenario.wanted import every_service


@dataclass(frozen=True, eq=False)
class Cells:
    """Some rows and columns of a run's grid: all of them, or one a square of a coarser page."""

    rows: NDArray[np.int64]
    cols: NDArray[np.int64]

    @property
    def shape(self) -> tuple[int, int]:
        """Return how many rows and columns."""
        return self.rows.size, self.cols.size


def all_cells(prepared: Preparation) -> Cells:
    """Return every cell of a run."""
    return Cells(np.arange(prepared.grid.rows), np.arange(prepared.grid.cols))


def middles(prepared: Preparation, stride: int) -> Cells:
    """Return the cell in the middle of every stride x stride cells, at the end the last one."""

    def along(size: int) -> NDArray[np.int64]:
        return np.minimum(np.arange(0, size, stride) + stride // 2, size - 1)

    return Cells(along(prepared.grid.rows), along(prepared.grid.cols))


def surroundings_of(prepared: Preparation) -> Receiving:
    """Return what reception of a run's cells takes beside tiers and a list."""
    heights_m = np.asarray(prepared.heights_m, dtype=np.float64)
    return Receiving(prepared.facts, prepared.reception_options, heights_m, prepared.surroundings)


def holding(
    prepared: Preparation,
    store: Store,
    ladders: Sequence[Sequence[Tier]],
    wanted: WantedList,
    cells: Cells,
    workers: int | None = None,
) -> NDArray[np.uint8]:
    """Return which variant of each installation holds a list, shape (I, rows, cols).

    ladders : the variants of each installation, of which the first that holds is told
    A value is 0 where none holds, else the variant's number from 1; 255 unknown.
    """
    around = surroundings_of(prepared)
    receivers = [HoldingReceiver(variants, wanted, around) for variants in ladders]

    def work(signals: CellSignals) -> NDArray[np.uint8]:
        return np.stack([receiver.receive(signals) for receiver in receivers])

    return over_cells(prepared, store, cells, len(ladders), work, workers)


def brought(
    prepared: Preparation,
    store: Store,
    installations: Sequence[Tier],
    cells: Cells,
    workers: int | None = None,
) -> NDArray[np.uint8]:
    """Return with which installations each service of the station file arrives, alone, (V, rows, cols).

    installations : up to 7. V : of every_service()
    A value is a sum of bits, 1 for the first installation, 2 for the second and so on; 255 unknown.
    """
    counter = InstallationCounter(
        installations, every_service(prepared.scenario.stations), surroundings_of(prepared)
    )
    return over_cells(prepared, store, cells, len(counter.services), counter.count, workers)


def over_cells(
    prepared: Preparation,
    store: Store,
    cells: Cells,
    kinds: int,
    work: Callable[[CellSignals], NDArray[np.uint8]],
    workers: int | None = None,
) -> NDArray[np.uint8]:
    """Return what work gives for some cells of a run, shape (kinds, rows, cols); 255 where nothing is known.

    work : returns kinds values a cell, (kinds, N), of what arrives in N cells; called on threads
    """
    values = np.full((kinds, *cells.shape), UNKNOWN_UINT8, dtype=np.uint8)
    task = partial(_tile, prepared, store, cells, kinds, work)
    for window, found in run_tasks(task, list(prepared.grid.tiles(TILE_CELLS)), workers):
        values[:, *window] = found
    return values


def _tile(
    prepared: Preparation,
    store: Store,
    cells: Cells,
    kinds: int,
    work: Callable[[CellSignals], NDArray[np.uint8]],
    tile: Tile,
) -> tuple[tuple[slice, slice], NDArray[np.uint8]]:
    window = (
        slice(*np.searchsorted(cells.rows, (tile.row, tile.row + tile.rows))),
        slice(*np.searchsorted(cells.cols, (tile.col, tile.col + tile.cols))),
    )
    rows, cols = cells.rows[window[0]] - tile.row, cells.cols[window[1]] - tile.col
    inside = prepared.inside_area(tile)[np.ix_(rows, cols)].ravel()
    found = np.full((kinds, inside.size), UNKNOWN_UINT8, dtype=np.uint8)
    if inside.any():
        chosen = np.add.outer(rows * tile.cols, cols).ravel()[inside]
        signals = tile_signals(prepared, tile, tile_blocks(prepared, store, tile)).some(chosen)
        found[:, inside] = work(signals)
    return window, found.reshape(kinds, rows.size, cols.size)
