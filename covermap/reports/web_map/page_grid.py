"""The page's grid: square Web Mercator pixels on which both the picture and the clickable values stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.grid.frame import Grid
from covermap.grid.one_piece import border, in_one_piece, web_mercator
from covermap.reports.web_map.layers import block_middles

SAMPLES = 33  # points along each side of the grid at which the pixel size and the outline are judged
LATTICE = 24  # intervals a side of the tables with which the page finds a cell's centre
SAFETY = 0.998  # the cells' size is judged at samples; between them it differs by far less than this
ROWS_AT_ONCE = 512


@dataclass(frozen=True, eq=False)
class PageGrid:
    """Pixels of the page: row 0 is the northern edge, x and y are Web Mercator metres, on past 180 degrees.

    pixel_m : side of a pixel in Web Mercator metres (larger than on the ground, by 1 / cos latitude)
    x_min, y_max : outer corner
    cell : intp (rows, cols), flat index of the cell under the pixel's centre, -1 outside the grid

    A pixel is never wider than the largest upright square that fits into a cell, so the pixel over a
    cell's centre shows that cell: every cell can be reached, and no value is mixed.
    """

    grid: Grid
    pixel_m: float
    x_min: float
    y_max: float
    cell: NDArray[np.intp]

    @property
    def mercator(self) -> pyproj.CRS:
        """Return the CRS of x_min and y_max, in which the grid is in one piece."""
        return web_mercator(self.grid)

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, cols) of pixels."""
        return self.cell.shape[0], self.cell.shape[1]

    def spread(self, values: NDArray[Any], outside: int) -> NDArray[Any]:
        """Return the pixels' values: those of the cells under them, and `outside` where there is none.

        values : (rows, cols) of the grid
        """
        return _with_outside(values, outside).take(self.cell)

    def spread_to_blocks(self, values: NDArray[Any], outside: float, step: int) -> NDArray[Any]:
        """Return the same of the middle of each block of step x step pixels, as block_middles() has it."""
        return _with_outside(values, outside).take(block_middles(self.cell, step))

    def facts(self) -> dict[str, Any]:
        """Return what the page must know of the grid, with the tables that lead to a cell's centre.

        cell_of_pixel : at LATTICE + 1 points a side over the pixels, row and col in cells (fractional)
        place_of_cell : the same over the cells, longitude and latitude in WGS 84 degrees; past 180 in a map
            that crosses it
        outline : the grid's border, row and col in pixels
        west_m, north_m : the grid's own outer corner, easting and northing in crs_name
        """
        rows, cols = self.shape
        return {
            "rows": rows,
            "cols": cols,
            "x_min": self.x_min,
            "y_max": self.y_max,
            "pixel_m": self.pixel_m,
            "cell_m": self.grid.cell_m,
            "west_m": self.grid.x_min,
            "north_m": self.grid.y_max,
            "crs_name": self.grid.crs.name,
            "cell_rows": self.grid.rows,
            "cell_cols": self.grid.cols,
            "lattice": LATTICE,
            "cell_of_pixel": self._cell_of_pixel(),
            "place_of_cell": self._place_of_cell(),
            "outline": self._outline_pixels(),
        }

    def _outline_pixels(self) -> list[list[float]]:
        to_mercator = pyproj.Transformer.from_crs(self.grid.crs, self.mercator, always_xy=True)
        x, y = to_mercator.transform(*border(self.grid, SAMPLES))
        row, col = (self.y_max - np.asarray(y)) / self.pixel_m, (np.asarray(x) - self.x_min) / self.pixel_m
        return np.round(np.stack([row, col], axis=-1), 2).tolist()

    def _cell_of_pixel(self) -> list[float]:
        rows, cols = self.shape
        row, col = np.meshgrid(
            np.linspace(0, rows, LATTICE + 1), np.linspace(0, cols, LATTICE + 1), indexing="ij"
        )
        to_grid = pyproj.Transformer.from_crs(self.mercator, self.grid.crs, always_xy=True)
        x, y = to_grid.transform(self.x_min + col * self.pixel_m, self.y_max - row * self.pixel_m)
        cell_row = (self.grid.y_max - y) / self.grid.cell_m
        cell_col = (x - self.grid.x_min) / self.grid.cell_m
        return np.round(np.stack([cell_row, cell_col], axis=-1).reshape(-1), 4).tolist()

    def _place_of_cell(self) -> list[float]:
        row, col = np.meshgrid(
            np.linspace(0, self.grid.rows, LATTICE + 1),
            np.linspace(0, self.grid.cols, LATTICE + 1),
            indexing="ij",
        )
        x = self.grid.x_min + col * self.grid.cell_m
        y = self.grid.y_max - row * self.grid.cell_m
        to_wgs84 = pyproj.Transformer.from_crs(self.grid.crs, "EPSG:4326", always_xy=True)
        longitude_deg, latitude_deg = to_wgs84.transform(x, y)
        place_deg = np.stack([in_one_piece(self.grid, longitude_deg), latitude_deg], axis=-1)
        return np.round(place_deg.reshape(-1), 7).tolist()


def _with_outside(values: NDArray[Any], outside: float) -> NDArray[Any]:
    """Return the values of cells in one row, and behind them, where index -1 leads, the one outside."""
    return np.append(np.asarray(values).reshape(-1), np.asarray([outside]).astype(values.dtype))


def page_grid(grid: Grid) -> PageGrid:
    """Return the Web Mercator pixels that cover a grid.

    Each pixel takes the cell under its centre (nearest neighbour, computed point by point, so that no
    approximation of the transformation can move a value to the next cell).
    """
    to_mercator = pyproj.Transformer.from_crs(grid.crs, web_mercator(grid), always_xy=True)
    pixel_m = _pixel_size_m(grid, to_mercator)
    x, y = (np.asarray(part) for part in to_mercator.transform(*border(grid, 8 * SAMPLES)))
    x_min, y_max = float(x.min()), float(y.max())
    cols = int(np.ceil((x.max() - x_min) / pixel_m))
    rows = int(np.ceil((y_max - y.min()) / pixel_m))
    return PageGrid(grid, pixel_m, x_min, y_max, _cells_under(grid, pixel_m, x_min, y_max, rows, cols))


def _pixel_size_m(grid: Grid, to_mercator: pyproj.Transformer) -> float:
    """Return the side of the largest upright square that fits into every cell, in Web Mercator metres.

    With u and v the sides of a cell, an offset d = a u + b v stays inside while |a| and |b| are at most
    1/2; over all d with both parts at most p/2 that holds while p is at most 1 / the largest row sum of
    the absolute inverse of [u v].
    """
    x, y = np.meshgrid(
        grid.x_min + np.linspace(0, grid.cols, SAMPLES) * grid.cell_m,
        grid.y_max - np.linspace(0, grid.rows, SAMPLES) * grid.cell_m,
    )
    here_x, here_y = to_mercator.transform(x, y)
    east_x, east_y = to_mercator.transform(x + grid.cell_m, y)
    north_x, north_y = to_mercator.transform(x, y + grid.cell_m)
    sides = np.stack(
        [
            np.stack([east_x - here_x, north_x - here_x], axis=-1),
            np.stack([east_y - here_y, north_y - here_y], axis=-1),
        ],
        axis=-2,
    )
    row_sums = np.abs(np.linalg.inv(sides)).sum(axis=-1)
    return float(SAFETY / row_sums.max())


def _cells_under(
    grid: Grid, pixel_m: float, x_min: float, y_max: float, rows: int, cols: int
) -> NDArray[np.intp]:
    to_grid = pyproj.Transformer.from_crs(web_mercator(grid), grid.crs, always_xy=True)
    index = np.empty((rows, cols), dtype=np.intp)  # what numpy takes without a copy
    pixel_x = x_min + (np.arange(cols) + 0.5) * pixel_m
    for first in range(0, rows, ROWS_AT_ONCE):
        last = min(rows, first + ROWS_AT_ONCE)
        x, y = to_grid.transform(*np.meshgrid(pixel_x, y_max - (np.arange(first, last) + 0.5) * pixel_m))
        cell_row = np.floor((grid.y_max - y) / grid.cell_m)
        cell_col = np.floor((x - grid.x_min) / grid.cell_m)
        inside = (cell_row >= 0) & (cell_row < grid.rows) & (cell_col >= 0) & (cell_col < grid.cols)
        index[first:last] = np.where(inside, cell_row * grid.cols + cell_col, -1)
    return index
