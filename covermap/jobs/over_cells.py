"""Reception asked again for some cells of a run, from the store: no path is computed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Grid, Tile
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.jobs.path_stage import TILE_CELLS, blocks_of_cells
from covermap.jobs.tile_reception import tile_signals
from covermap.reception import CellSignals, joined_cells
from covermap.reports.web_map.layers import station_step

Told = TypeVar("Told")
Window = tuple[slice, slice]


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

    def inside(self, tile: Tile) -> Window:
        """Return which of the rows and columns a tile has."""
        return (
            slice(*np.searchsorted(self.rows, (tile.row, tile.row + tile.rows))),
            slice(*np.searchsorted(self.cols, (tile.col, tile.col + tile.cols))),
        )


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


@dataclass(frozen=True, eq=False)
class Question:
    """What is asked of some cells.

    work : returns kinds values a cell, (kinds, N), of what arrives in N cells; called on threads
    """

    cells: Cells
    kinds: int
    work: Callable[[CellSignals], NDArray[np.uint8]]


@dataclass(frozen=True, eq=False)
class Inquiry(Generic[Told]):
    """Questions, and what is told from their values, one array of over_cells() a question."""

    questions: tuple[Question, ...]
    tell: Callable[[Sequence[NDArray[np.uint8]]], Told]


def answer(prepared: Preparation, store: Store, inquiry: Inquiry[Told], workers: int | None = None) -> Told:
    """Ask the questions of an inquiry; return what is told."""
    told: Told = answers(prepared, store, [inquiry], workers)[0]
    return told


def answers(
    prepared: Preparation, store: Store, inquiries: Sequence[Inquiry[Any]], workers: int | None = None
) -> list[Any]:
    """Ask the questions of all inquiries in one pass over the store; return what each tells."""
    questions = [question for inquiry in inquiries for question in inquiry.questions]
    values = iter(over_cells(prepared, store, questions, workers))
    return [inquiry.tell(list(islice(values, len(inquiry.questions)))) for inquiry in inquiries]


def over_cells(
    prepared: Preparation, store: Store, questions: Sequence[Question], workers: int | None = None
) -> list[NDArray[np.uint8]]:
    """Return the values of each question, shape (kinds, rows, cols); 255 where nothing is known."""
    values = [np.full((asked.kinds, *asked.cells.shape), UNKNOWN_UINT8, np.uint8) for asked in questions]
    task = partial(_square, prepared, store, questions)
    squares = list(prepared.grid.tiles(TILE_CELLS * _tiles_a_side(prepared.grid, questions)))
    for square, found in zip(squares, run_tasks(task, squares, workers), strict=True):
        for asked, into, here in zip(questions, values, found, strict=True):
            into[:, *asked.cells.inside(square)] = here
    return values


def _tiles_a_side(grid: Grid, questions: Sequence[Question]) -> int:
    """Return the tiles on a side of the squares asked at once: of few cells a tile more tiles."""
    most = max((math.prod(asked.cells.shape) for asked in questions), default=grid.cells)
    return max(1, round(math.sqrt(grid.cells / most)))


def _square(
    prepared: Preparation, store: Store, questions: Sequence[Question], square: Tile
) -> list[NDArray[np.uint8]]:
    """Return the values of each question in a square of tiles."""
    inside = prepared.inside_area(square)
    places = [_places(asked.cells, square) for asked in questions]
    asked = [
        (_with_homes(prepared, square, inside) if question.cells.homes_only else inside)[place]
        for question, place in zip(questions, places, strict=True)
    ]
    found = [
        np.full((question.kinds, *here.shape), UNKNOWN_UINT8, np.uint8)
        for question, here in zip(questions, asked, strict=True)
    ]
    any_asked = np.zeros(inside.shape, np.bool_)
    for place, here in zip(places, asked, strict=True):
        any_asked[place] |= here
    if any_asked.any():
        signals, number = _signals(prepared, store, square, any_asked)
        for question, place, here, values in zip(questions, places, asked, found, strict=True):
            if here.any():
                values[:, here] = question.work(signals.some(number[place][here]))
    return found


def _places(cells: Cells, square: Tile) -> tuple[NDArray[np.int64], ...]:
    """Return the cells as an index of an array of the square."""
    rows, cols = cells.inside(square)
    return np.ix_(cells.rows[rows] - square.row, cells.cols[cols] - square.col)


def _with_homes(prepared: Preparation, square: Tile, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    if prepared.homes is None:
        return inside
    return inside & (np.nan_to_num(prepared.homes.window(square)) > 0.0)


def _signals(
    prepared: Preparation, store: Store, square: Tile, asked: NDArray[np.bool_]
) -> tuple[CellSignals, NDArray[np.int64]]:
    """Return what arrives at the asked cells of a square, and the place of each cell in that."""
    number = np.full(asked.shape, -1)
    found, count = [], 0
    for part in prepared.grid.part(square).tiles(TILE_CELLS):
        here = asked[part.window]
        cells = np.flatnonzero(here)
        if cells.size:
            tile = replace(part, row=square.row + part.row, col=square.col + part.col)
            blocks = blocks_of_cells(prepared, store, tile, cells)
            found.append(tile_signals(prepared, tile, blocks, cells))
            number[part.window][here] = count + np.arange(cells.size)
            count += cells.size
    return joined_cells(found), number
