"""A result read on another grid than its own, so that two results with different squares can be compared."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.planning.results import Results

MOST_RATIO = 10.0  # judgement: of squares more different than this nothing useful is compared
LARGEST_OFFSET = 1e-6  # of a cell
SUMMED = ("homes", "homes_without_roof")


def on_one_grid(before: Results, after: Results) -> tuple[Results, Results, str]:
    """Return two results on one grid, and a sentence on how that was done; '' where their cells agree.

    The result with the smaller cells (of equal ones the earlier) is read at the centres of the other's
    cells; its homes are added up in the cell that holds the centre of theirs.

    Raises InputError if one's cells are more than ten times as large as the other's.
    """
    old, new = before.grid, after.grid
    if _aligned(old, new):
        return before, after, ""
    ratio = max(old.cell_m, new.cell_m) / min(old.cell_m, new.cell_m)
    if ratio > MOST_RATIO:
        raise InputError(
            f"The squares differ too much: {old.cell_m:g} m before, {new.cell_m:g} m after. Squares up to "
            f"{MOST_RATIO:g} times as large as the others are compared. Run one again with a [grid] cell_m "
            "nearer to the other's."
        )
    differ = _difference(old, new)
    if new.cell_m >= old.cell_m:
        return Resampled(before, new), after, f"{differ} The earlier result is read {_at_centres(new)}."
    return before, Resampled(after, old), f"{differ} The later result is read {_at_centres(old)}."


class Resampled:
    """A result as it reads at the centres of another grid's cells; a planning.results.Results.

    What lies outside the result is unknown and outside its area.
    """

    def __init__(self, results: Results, grid: Grid) -> None:
        self._results = results
        self._of = results.grid
        self.grid = grid
        self.run = results.run
        self._there = pyproj.Transformer.from_crs(grid.crs, results.grid.crs, always_xy=True)
        self._back = pyproj.Transformer.from_crs(results.grid.crs, grid.crs, always_xy=True)

    @property
    def lists(self) -> tuple[str, ...]:
        """Return the names of the wanted lists."""
        return self._results.lists

    def services(self, list_name: str) -> tuple[str, ...]:
        """Return the services of a list."""
        return self._results.services(list_name)

    def has(self, name: str) -> bool:
        """Return whether there is a raster of this name."""
        return self._results.has(name)

    def tag_values(self, name: str, tag: str) -> tuple[str, ...]:
        """Return the parts of a raster's tag that lists names."""
        return self._results.tag_values(name, tag)

    def read(self, name: str, window: Tile | None = None) -> np.ndarray:
        """Return a raster at the cell centres of a tile of the grid: nearest, homes added up."""
        tile = self.grid.whole if window is None else window
        row, col, inside = self._cells(tile)
        around = self._box(row[inside], col[inside])
        source = self._results.read(name, around)
        # Counts are added up, everything else is read at the nearest centre: a mean of tiers is no tier.
        if name in SUMMED:
            return self._summed(source, around, tile)
        found = np.full((*source.shape[:-2], tile.rows, tile.cols), _unknown(source.dtype), source.dtype)
        found[..., inside] = source[..., row[inside] - around.row, col[inside] - around.col]
        return found

    def inside_area(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile lie in the result and its asked area, shape (rows, cols)."""
        row, col, inside = self._cells(tile)
        found = np.zeros((tile.rows, tile.cols), dtype=bool)
        if inside.any():
            around = self._box(row[inside], col[inside])
            area = self._results.inside_area(around)
            found[inside] = area[row[inside] - around.row, col[inside] - around.col]
        return found

    def _cells(self, tile: Tile) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
        """Return row and col in the result of each cell centre of a tile, and which lie in it."""
        x, y = self._there.transform(*self.grid.centres(tile))
        row, col, inside = _places(self._of, np.asarray(x), np.asarray(y))
        return row, col, inside

    def _box(self, row: NDArray, col: NDArray) -> Tile:
        """Return the tile of the result that holds the cells with room for one target cell around them."""
        if row.size == 0:
            return Tile(0, 0, 1, 1)
        # Cells whose centre falls into a target cell may lie up to half of that beyond the outermost centres
        # read.
        room = int(np.ceil(self.grid.cell_m / self._of.cell_m)) + 1
        first_row, first_col = max(int(row.min()) - room, 0), max(int(col.min()) - room, 0)
        last_row = min(int(row.max()) + room + 1, self._of.rows)
        last_col = min(int(col.max()) + room + 1, self._of.cols)
        return Tile(first_row, first_col, last_row - first_row, last_col - first_col)

    def _summed(self, source: NDArray, around: Tile, tile: Tile) -> NDArray[np.float32]:
        """Return homes added up in the cells of a tile that hold the centres of the result's cells."""
        x, y = self._back.transform(*self._of.centres(around))
        row, col, inside = _places(self.grid, np.asarray(x), np.asarray(y))
        row, col = row - tile.row, col - tile.col
        inside &= (row >= 0) & (row < tile.rows) & (col >= 0) & (col < tile.cols)
        homes = np.nan_to_num(source[inside].astype(np.float64))
        sums = np.bincount(row[inside] * tile.cols + col[inside], homes, minlength=tile.rows * tile.cols)
        return sums.reshape(tile.rows, tile.cols).astype(np.float32)


def _places(grid: Grid, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray, NDArray[np.bool_]]:
    """Return row and col of places in metres, and which of them lie in the grid."""
    known = np.isfinite(x) & np.isfinite(y)
    row = np.floor(np.where(known, (grid.y_max - y) / grid.cell_m, -1.0)).astype(np.int64)
    col = np.floor(np.where(known, (x - grid.x_min) / grid.cell_m, -1.0)).astype(np.int64)
    return row, col, known & (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)


def _unknown(dtype: np.dtype) -> Any:
    if dtype == np.uint8:
        return UNKNOWN_UINT8
    return -1 if np.issubdtype(dtype, np.integer) else np.nan


def _aligned(old: Grid, new: Grid) -> bool:
    """Return whether the cells of two grids lie on each other."""
    if old.cell_m != new.cell_m or old.crs != new.crs:
        return False
    col, row = (new.x_min - old.x_min) / old.cell_m, (old.y_max - new.y_max) / old.cell_m
    return abs(col - round(col)) <= LARGEST_OFFSET and abs(row - round(row)) <= LARGEST_OFFSET


def _difference(old: Grid, new: Grid) -> str:
    if old.cell_m != new.cell_m:
        return f"The squares are not the same: {old.cell_m:g} m before, {new.cell_m:g} m after."
    if old.crs != new.crs:
        return f"The grids are not in the same CRS: {old.crs.name} before, {new.crs.name} after."
    return "The squares do not lie on each other."


def _at_centres(grid: Grid) -> str:
    return (
        f"at the centres of the other's squares of {grid.cell_m:g} m: edges move by up to half a square, "
        "and small differences mean nothing"
    )
