"""The grid: where cells are, and how tiles cut it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray

BAND_CELLS = 1_000_000  # of a tile as wide as the grid
KEPT_CELLS = 65_536  # positions of larger tiles are not kept for the next that asks


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
        return _crs(self.crs_wkt)

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

    def bands(self, most_cells: int = BAND_CELLS) -> Iterator[Tile]:
        """Yield tiles as wide as the grid, from north to south, of about most_cells at most.

        Cells of one band after the other are in the order of the whole grid, row by row.
        """
        rows = max(1, most_cells // self.cols)
        # Whole rows of the rasters' blocks (128 cells, result/rasters.py), or each block would be read for
        # two bands.
        rows = rows // 128 * 128 or rows
        for row in range(0, self.rows, rows):
            yield Tile(row, 0, min(rows, self.rows - row), self.cols)

    def part(self, tile: Tile) -> Grid:
        """Return the cells of a tile as a grid of their own."""
        x_min, y_max = self.x_min + tile.col * self.cell_m, self.y_max - tile.row * self.cell_m
        return Grid(self.crs_wkt, self.cell_m, x_min, y_max, tile.rows, tile.cols)

    def centres(self, tile: Tile) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return x and y of the tile's cell centres in metres, each of shape (rows, cols)."""
        x = self.x_min + (tile.col + np.arange(tile.cols) + 0.5) * self.cell_m
        y = self.y_max - (tile.row + np.arange(tile.rows) + 0.5) * self.cell_m
        return np.meshgrid(x, y)

    def centres_lonlat(self, tile: Tile) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude of the tile's cell centres in WGS 84 degrees.

        Each of shape (rows, cols), read-only. Every cell is transformed alone: its answer does not
        depend on the tile.
        """
        if tile.rows * tile.cols > KEPT_CELLS:
            # without the cache: a band of a million cells kept 64 times would be a gigabyte
            return _centres_lonlat.__wrapped__(self, tile)
        return _centres_lonlat(self, tile)

    def lonlat_of(
        self, row: NDArray[np.int64], col: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude of the centres of single cells in WGS 84 degrees, each (N,)."""
        x = self.x_min + (np.asarray(col) + 0.5) * self.cell_m
        y = self.y_max - (np.asarray(row) + 0.5) * self.cell_m
        longitude_deg, latitude_deg = to_wgs84(self.crs_wkt).transform(x, y)
        return np.asarray(longitude_deg), np.asarray(latitude_deg)

    @property
    def cells(self) -> int:
        """Return the number of cells."""
        return self.rows * self.cols

    @property
    def whole(self) -> Tile:
        """Return the grid as one tile."""
        return Tile(0, 0, self.rows, self.cols)

    def corners_lonlat(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude of the outer corners in WGS 84 degrees, each (4,)."""
        x_max = self.x_min + self.cols * self.cell_m
        y_min = self.y_max - self.rows * self.cell_m
        x = np.array([self.x_min, x_max, x_max, self.x_min])
        y = np.array([self.y_max, self.y_max, y_min, y_min])
        longitude_deg, latitude_deg = to_wgs84(self.crs_wkt).transform(x, y)
        return longitude_deg, latitude_deg

    def cell_at(self, latitude_deg: float, longitude_deg: float) -> tuple[int, int] | None:
        """Return (row, col) of the cell that holds a WGS 84 place, or None outside the grid."""
        # A place the CRS does not reach comes back as infinity, which is in no cell.
        x, y = to_wgs84(self.crs_wkt).transform(longitude_deg, latitude_deg, direction="INVERSE")
        col, row = (x - self.x_min) / self.cell_m, (self.y_max - y) / self.cell_m
        if 0.0 <= row < self.rows and 0.0 <= col < self.cols:
            return int(row), int(col)
        return None


@lru_cache(maxsize=16)
def _crs(crs_wkt: str) -> pyproj.CRS:
    return pyproj.CRS.from_wkt(crs_wkt)


@lru_cache(maxsize=16)
def to_wgs84(crs_wkt: str) -> pyproj.Transformer:
    """Return the transformer from a CRS to WGS 84 (x, y) to (longitude, latitude); safe among threads."""
    return pyproj.Transformer.from_crs(_crs(crs_wkt), "EPSG:4326", always_xy=True)


@lru_cache(maxsize=64)  # 262 kB a tile of 128 cells; the masts of a tile share it
def _centres_lonlat(grid: Grid, tile: Tile) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of a tile's cell centres, read-only because they are shared."""
    longitude_deg, latitude_deg = to_wgs84(grid.crs_wkt).transform(*grid.centres(tile))
    longitude_deg.setflags(write=False)
    latitude_deg.setflags(write=False)
    return longitude_deg, latitude_deg
