"""Homes from a raster of homes per raster cell, whatever its CRS and spacing; the total is kept."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pyproj
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.windows import Window

from covermap.errors import InputError
from covermap.grid.area import area_mask, cells_inside
from covermap.grid.frame import Grid, Tile
from covermap.terrain.raster_file import declared_crs, open_raster, read_rows

PARTS_A_CELL = 4  # a raster cell is cut until its parts are no wider than a quarter of a grid cell
MOST_PARTS = 64
READ_CELLS = 512
MOST_HOMES = 1e9  # of one feature or raster cell; more is a code or a mistake
MOST_CELLS = 2e9  # of a raster of homes, all of which are counted: some minutes


class RasterHomes:
    """Homes as a raster: each raster cell is cut into equal parts, and each part counts where it lies.

    Nothing is lost or counted twice: a part lies in one cell of the grid or outside it. Cells of the
    raster that are negative count as without a count; nodata cells hold no homes.

    path : a raster of homes per raster cell (not per km2)
    area : the map, as of grid.area.area_outline(); homes in cells outside it are counted as outside alone
    """

    def __init__(self, path: Path, grid: Grid, area: shapely.Geometry | None = None) -> None:
        self.path = path
        self.grid = grid
        self.area = area
        self.without_roof: RasterHomes | None = None
        self.efficient: RasterHomes | None = None
        with open_raster(path, "[homes] file", MOST_CELLS, may_be_rotated=True) as dataset:
            source_crs = pyproj.CRS.from_wkt(declared_crs(dataset, path))
            self._transform: Affine = dataset.transform
            self._shape: tuple[int, int] = dataset.shape
        same = source_crs.equals(grid.crs, ignore_axis_order=True)
        self._to_grid = None if same else pyproj.Transformer.from_crs(source_crs, grid.crs, always_xy=True)
        self._parts = self._parts_a_side()
        self.total, self.outside, self.features_without_count = self._count_all()
        self.warnings = self._count_warnings()

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 where there are none."""
        homes = np.zeros(tile.rows * tile.cols)
        for window in self._windows_over(tile):
            count, row, col = self._parts_of(window)
            inside = (
                (row >= tile.row)
                & (row < tile.row + tile.rows)
                & (col >= tile.col)
                & (col < tile.col + tile.cols)
            )
            cell = (row[inside] - tile.row) * tile.cols + col[inside] - tile.col
            homes += np.bincount(cell, count[inside], minlength=homes.size)
        on_map = area_mask(self.grid, tile, self.area)
        return np.where(on_map, homes.reshape(on_map.shape), 0.0).astype(np.float32)

    def places_without_count(self) -> None:
        """Return None: the places of negative cells are not kept."""
        return None

    def _parts_of(self, window: Window) -> tuple[NDArray, NDArray, NDArray]:
        """Return homes, grid row and grid col of every part of a window's cells that hold homes."""
        count, _, _ = _read_counts(self.path, window)
        row, col = np.nonzero(count)
        parts = self._parts
        step = (np.arange(parts) + 0.5) / parts
        y = (window.row_off + row)[:, None, None] + step[None, :, None] + np.zeros((1, 1, parts))
        x = (window.col_off + col)[:, None, None] + step[None, None, :] + np.zeros((1, parts, 1))
        x, y = _apply(self._transform, x.ravel(), y.ravel())
        if self._to_grid is not None:
            x, y = self._to_grid.transform(x, y)
        homes = np.repeat(count[row, col] / parts**2, parts**2)
        finite = np.isfinite(x) & np.isfinite(y)
        # outside every grid, and still a whole number: NaN would not be
        x, y = np.where(finite, x, -1e12), np.where(finite, y, -1e12)
        return (
            homes,
            np.floor((self.grid.y_max - y) / self.grid.cell_m).astype(np.int64),
            np.floor((x - self.grid.x_min) / self.grid.cell_m).astype(np.int64),
        )

    def _count_all(self) -> tuple[float, float, int]:
        """Return all homes, those outside the map, and the cells without a count. InputError if none has."""
        total = outside = 0.0
        without = counted = 0
        for window in _blocks(self._shape):
            count, unusable, known = _read_counts(self.path, window)
            without += unusable
            counted += known
            total += float(count.sum())
            outside += self._outside(window)
        if not counted:
            raise InputError(
                f"{self.path.name} ([homes] file): not one cell has a count of 0 or more; {without} are "
                f"negative or over {MOST_HOMES:,.0f}. Give a raster of homes per cell."
            )
        return total, outside, without

    def _outside(self, window: Window) -> float:
        """Return the homes of a window outside the grid; parts are looked at in bands of a few rows."""
        outside = 0.0
        for band in _bands(window, self._parts):
            count, row, col = self._parts_of(band)
            inside = (row >= 0) & (row < self.grid.rows) & (col >= 0) & (col < self.grid.cols)
            if self.area is not None:
                inside &= cells_inside(self.grid, self.area, row, col)
            outside += float(count[~inside].sum())
        return outside

    def _windows_over(self, tile: Tile) -> list[Window]:
        """Return windows of the raster that hold everything over a tile, with two cells to spare."""
        # Points all over the tile, not its corners: in another CRS its sides bend outwards.
        edge = np.linspace(0.0, 1.0, 21)
        x = self.grid.x_min + (tile.col + tile.cols * edge) * self.grid.cell_m
        y = self.grid.y_max - (tile.row + tile.rows * edge) * self.grid.cell_m
        x, y = (axis.ravel() for axis in np.meshgrid(x, y))
        if self._to_grid is not None:
            x, y = self._to_grid.transform(x, y, direction="INVERSE")
        col, row = _apply(~self._transform, x, y)
        first = max(math.floor(row.min()) - 2, 0), max(math.floor(col.min()) - 2, 0)
        last = min(math.ceil(row.max()) + 2, self._shape[0]), min(math.ceil(col.max()) + 2, self._shape[1])
        if first[0] >= last[0] or first[1] >= last[1]:
            return []
        return _bands(Window(first[1], first[0], last[1] - first[1], last[0] - first[0]), self._parts)

    def _parts_a_side(self) -> int:
        """Return into how many parts a side each raster cell is cut."""
        col, row = (
            self._shape[1] / 2 + np.array([0.0, 1.0, 0.0]),
            self._shape[0] / 2 + np.array([0.0, 0.0, 1.0]),
        )
        x, y = _apply(self._transform, col, row)
        if self._to_grid is not None:
            x, y = self._to_grid.transform(x, y)
        width_m = math.hypot(x[1] - x[0], y[1] - y[0])
        height_m = math.hypot(x[2] - x[0], y[2] - y[0])
        widest_m = max(width_m, height_m)
        if not math.isfinite(widest_m):
            return PARTS_A_CELL
        return min(max(math.ceil(PARTS_A_CELL * widest_m / self.grid.cell_m), 1), MOST_PARTS)

    def _count_warnings(self) -> tuple[str, ...]:
        if not self.features_without_count:
            return ()
        return (
            f"{self.path.name}: {self.features_without_count} cells are negative, or over {MOST_HOMES:,.0f}; "
            "their homes are not known.",
        )


def _blocks(shape: tuple[int, int]) -> list[Window]:
    """Return windows that cut a raster of (rows, cols)."""
    return [
        Window(col, row, min(READ_CELLS, shape[1] - col), min(READ_CELLS, shape[0] - row))
        for row in range(0, shape[0], READ_CELLS)
        for col in range(0, shape[1], READ_CELLS)
    ]


def _read_counts(path: Path, window: Window) -> tuple[NDArray[np.float64], int, int]:
    """Return the counts of a window, 0 where there is none, and how many cells have no count and have one.

    Negative and absurd ones have none; cells without data are neither.
    """
    with rasterio.open(path) as dataset:
        values = read_rows(dataset, path, window)
    count = np.ma.filled(values.astype(np.float64), np.nan)
    usable = (count >= 0.0) & (count <= MOST_HOMES)
    unusable = int((np.isfinite(count) & ~usable).sum())
    return np.where(usable, count, 0.0), unusable, int(usable.sum())


def _apply(transform: Affine, col: NDArray, row: NDArray) -> tuple[NDArray, NDArray]:
    """Return x and y of places given in raster columns and rows."""
    return (
        transform.a * col + transform.b * row + transform.c,
        transform.d * col + transform.e * row + transform.f,
    )


def _bands(window: Window, parts: int, most: int = 4_000_000) -> list[Window]:
    """Return a window cut into bands of rows of at most `most` parts."""
    rows = max(int(most / (parts * parts * max(window.width, 1))), 1)
    return [
        Window(window.col_off, row, window.width, min(rows, window.row_off + window.height - row))
        for row in range(int(window.row_off), int(window.row_off + window.height), rows)
    ]
