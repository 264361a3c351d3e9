"""Reception asked again for some cells of a run, from the store: no path is computed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Grid, Tile
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.jobs.path_stage import TILE_CELLS, tile_blocks
from covermap.jobs.tile_reception import tile_signals
from covermap.reception import CellSignals
from covermap.reports.web_map.layers import station_step


@dataclass(frozen=True, eq=False)
class Cells:
    """Some rows and columns of a run's grid: all of them, or one a square of a coarser page.

    homes_only : cells without a home are not asked, and stay unknown
    """

    rows: NDArray[np.int64]
    cols: NDArray[np.int64]
    homes_only: bool = False

    @property
    def shape(self) -> tuple[int, int]:
        """Return how many rows and columns."""
        return self.rows.size, self.cols.size


def all_cells(prepared: Preparation) -> Cells:
    """Return every cell of a run."""
    return Cells(np.arange(prepared.grid.rows), np.arange(prepared.grid.cols))


def cells_with_homes(prepared: Preparation) -> Cells:
    """Return every cell of a run of which only those with homes are asked."""
    return replace(all_cells(prepared), homes_only=True)


def middles(prepared: Preparation, stride: int) -> Cells:
    """Return the cell in the middle of every stride x stride cells, at the end the last one."""

    def along(size: int) -> NDArray[np.int64]:
        return np.minimum(np.arange(0, size, stride) + stride // 2, size - 1)

    return Cells(along(prepared.grid.rows), along(prepared.grid.cols))


@dataclass(frozen=True, eq=False)
class PageCells:
    """The cells that stand for the squares of a page's grid: one for step x step squares."""

    cells: Cells
    grid: Grid
    step: int

    def spread(self, values: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return a value for every square; values : (..., rows, cols) of the cells."""
        whole = values.repeat(self.step, axis=-2).repeat(self.step, axis=-1)
        return np.ascontiguousarray(whole[..., : self.grid.rows, : self.grid.cols])


def page_cells(prepared: Preparation, grid: Grid, layers: int) -> PageCells:
    """Return the cells that a page with so many layers of single stations or services holds values of.

    grid : that of the run, or with cells a whole number of times as long: each then stands for the cell in
        its middle, as covermap.result.coarsened has it
    """
    step = station_step(grid.rows * grid.cols, layers)
    return PageCells(middles(prepared, round(grid.cell_m / prepared.grid.cell_m) * step), grid, step)


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
    asked = prepared.inside_area(tile)
    if cells.homes_only and prepared.homes is not None:
        asked = asked & (np.nan_to_num(prepared.homes.window(tile)) > 0.0)
    inside = asked[np.ix_(rows, cols)].ravel()
    found = np.full((kinds, inside.size), UNKNOWN_UINT8, dtype=np.uint8)
    if inside.any():
        chosen = np.add.outer(rows * tile.cols, cols).ravel()[inside]
        signals = tile_signals(prepared, tile, tile_blocks(prepared, store, tile)).some(chosen)
        found[:, inside] = work(signals)
    return window, found.reshape(kinds, rows.size, cols.size)
