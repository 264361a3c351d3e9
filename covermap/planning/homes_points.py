"""Homes from points."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.grid.area import cells_inside
from covermap.grid.frame import Grid, Tile


class PointHomes:
    """Homes as points: each counts in the cell that holds it.

    x, y : in the grid's CRS. [m]
    count : homes at each point, NaN without a count
    area : the map, as of grid.area.area_outline(); points in cells outside it are counted as outside alone
    """

    def __init__(
        self,
        x: NDArray,
        y: NDArray,
        count: NDArray,
        grid: Grid,
        warnings: tuple[str, ...] = (),
        area: shapely.Geometry | None = None,
    ) -> None:
        self.x, self.y, self.count = x, y, count
        self.grid = grid
        self.without_roof: PointHomes | None = None
        self.efficient: PointHomes | None = None
        self.warnings = warnings
        # floor before the test: int() would bring what lies just off the grid, -0.5, into row 0
        self.row = np.floor((grid.y_max - y) / grid.cell_m).astype(np.int64)
        self.col = np.floor((x - grid.x_min) / grid.cell_m).astype(np.int64)
        inside = (self.row >= 0) & (self.row < grid.rows) & (self.col >= 0) & (self.col < grid.cols)
        if area is not None:
            inside &= cells_inside(grid, area, self.row, self.col)
        self.row = np.where(inside, self.row, -1)  # stands in no tile
        self.total = float(np.nansum(count))
        self.outside = float(np.nansum(count[~inside]))
        self.features_without_count = int(np.isnan(count).sum())
        # Sorted by row once: a tile's points are then found by bisection, not by a scan of all addresses a
        # tile.
        self._by_row = np.argsort(self.row, kind="stable")

    def places_without_count(self) -> tuple[NDArray, NDArray]:
        """Return x and y of the points without a count."""
        without = np.isnan(self.count)
        return self.x[without], self.y[without]

    def points_in(self, tile: Tile) -> NDArray[np.int64]:
        """Return the indices of the points in a tile."""
        low, high = np.searchsorted(self.row[self._by_row], [tile.row, tile.row + tile.rows])
        band = self._by_row[low:high]
        return band[(self.col[band] >= tile.col) & (self.col[band] < tile.col + tile.cols)]

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 no homes, NaN only homes without a count."""
        chosen = self.points_in(tile)
        cell = (self.row[chosen] - tile.row) * tile.cols + self.col[chosen] - tile.col
        known = ~np.isnan(self.count[chosen])
        size = tile.rows * tile.cols
        homes = np.bincount(cell[known], self.count[chosen][known], minlength=size)
        return homes_or_unknown(
            homes, np.bincount(cell, minlength=size) > 0, np.bincount(cell[known], minlength=size) > 0, tile
        )


def homes_or_unknown(homes: NDArray, covered: NDArray, counted: NDArray, tile: Tile) -> NDArray[np.float32]:
    """Return homes as a tile, NaN in cells that only features without a count reach."""
    return np.where(covered & ~counted, np.nan, homes).astype(np.float32).reshape(tile.rows, tile.cols)
