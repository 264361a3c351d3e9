"""The grid: where cells are, and how tiles cut it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray


@dataclass(frozen=True)
class Tile:
    """A rectangle of cells: row and col of its first cell, and its size in cells."""

    row: int
    col: int
    rows: int
    cols: int

    @property
    def window(self) -> tuple[slice, slice]:
        """Return the tile as slices of a grid array."""
        return slice(self.row, self.row + self.rows), slice(self.col, self.col + self.cols)


@dataclass(frozen=True)
class Grid:
    """Square cells in a projected CRS; row 0 is the northern edge.

    crs_wkt : the projected CRS, metres
    x_min, y_max : outer corner, multiples of cell_m
    """

    crs_wkt: str
    cell_m: float
    x_min: float
    y_max: float
    rows: int
    cols: int

    @property
    def crs(self) -> pyproj.CRS:
        """Return the CRS."""
        return pyproj.CRS.from_wkt(self.crs_wkt)

    @property
    def transform(self) -> Affine:
        """Return the affine transform from (col, row) to (x, y) in metres."""
        return Affine(self.cell_m, 0.0, self.x_min, 0.0, -self.cell_m, self.y_max)

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, cols)."""
        return self.rows, self.cols

    def tiles(self, tile_cells: int = 256) -> Iterator[Tile]:
        """Yield the tiles that cut the grid, row by row."""
        for row in range(0, self.rows, tile_cells):
            for col in range(0, self.cols, tile_cells):
                yield Tile(row, col, min(tile_cells, self.rows - row), min(tile_cells, self.cols - col))

    def centres(self, tile: Tile) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return x and y of the tile's cell centres in metres, each of shape (rows, cols)."""
        x = self.x_min + (tile.col + np.arange(tile.cols) + 0.5) * self.cell_m
        y = self.y_max - (tile.row + np.arange(tile.rows) + 0.5) * self.cell_m
        return np.meshgrid(x, y)

    def centres_lonlat(self, tile: Tile) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude of the tile's cell centres in WGS 84 degrees, each (rows, cols)."""
        x, y = self.centres(tile)
        to_wgs84 = pyproj.Transformer.from_crs(self.crs, "EPSG:4326", always_xy=True)
        longitude_deg, latitude_deg = to_wgs84.transform(x, y)
        return np.asarray(longitude_deg), np.asarray(latitude_deg)
