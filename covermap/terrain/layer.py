"""One raster in its own CRS: an array, where its cells lie, and how to find a place in it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from covermap.terrain.space import release

Floats = NDArray[np.float64]

_WGS84 = pyproj.CRS.from_epsg(4326)
_WGS84_GEOD = pyproj.Geod(ellps="WGS84")
_DIGEST_ROWS = 1024  # rows hashed at once, so that a memory-mapped raster never stands in memory whole


@lru_cache(maxsize=64)
def crs_from_wkt(crs_wkt: str) -> pyproj.CRS:
    """Return the horizontal CRS of a WKT text; a vertical part is left away."""
    crs = pyproj.CRS.from_wkt(crs_wkt)
    return crs.sub_crs_list[0] if crs.is_compound else crs


@lru_cache(maxsize=64)
def transformer_from_wgs84(crs_wkt: str) -> pyproj.Transformer | None:
    """Return the transformer from WGS 84 longitude and latitude, None where nothing has to change."""
    crs = crs_from_wkt(crs_wkt).to_2d()
    # A raster in plain degrees needs no projection at all, which is ten times the cost of the look-up.
    if crs.equals(_WGS84, ignore_axis_order=True):
        return None
    return pyproj.Transformer.from_crs(_WGS84, crs, always_xy=True)


class Blocks(Protocol):
    """Cells that are read when they are first asked for."""

    def bring(self, col: Floats, row: Floats) -> None:
        """Read the cells around positions, in cells from the outer corner."""
        ...

    def digest(self) -> str:
        """Return a name of what would be read."""
        ...


@dataclass(frozen=True)
class RasterLayer:
    """A north-aligned raster.

    name : file name, for messages
    array : shape (rows, cols), in memory or memory-mapped; float32 heights in m with NaN unknown, or classes
    transform : (col, row) of outer cell corners to x, y of the CRS; without rotation
    crs_wkt : the CRS of x and y
    filled : places in the flattened array, sorted, whose height comes from the cells around them
    blocks : what reads cells when they are asked for; None where all of them are there
    """

    name: str
    array: NDArray
    transform: Affine
    crs_wkt: str
    filled: NDArray[np.int64] | None = None
    blocks: Blocks | None = None

    def bring(self, col: Floats, row: Floats) -> None:
        """Make sure that the cells around positions, and on lines between knots, have been read."""
        if self.blocks is not None:
            self.blocks.bring(col, row)

    @property
    def is_geographic(self) -> bool:
        """Return True when x and y are degrees."""
        return crs_from_wkt(self.crs_wkt).is_geographic

    @property
    def centre_x(self) -> float:
        """Return x of the raster's middle, in the CRS's unit."""
        return self.transform.c + 0.5 * self.array.shape[1] * self.transform.a

    @property
    def cell_m(self) -> float:
        """Return the length of a cell in m: the longer side, at the raster's middle."""
        rows, cols = self.array.shape
        if not self.is_geographic:
            metres = crs_from_wkt(self.crs_wkt).axis_info[0].unit_conversion_factor
            return float(max(abs(self.transform.a), abs(self.transform.e)) * metres)
        middle = (
            np.array([cols / 2.0, cols / 2.0 + 1.0, cols / 2.0]),
            np.array([rows / 2.0] * 2 + [rows / 2.0 - 1.0]),
        )
        longitude_deg, latitude_deg = self.lonlat(*middle)
        _, _, sides_m = _WGS84_GEOD.inv(
            longitude_deg[[0, 0]], latitude_deg[[0, 0]], longitude_deg[1:], latitude_deg[1:]
        )
        return float(np.max(sides_m))

    def positions(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Return (col, row) of places in WGS 84 degrees, in cells from the outer corner.

        The last axis runs along a line: it is kept whole where it crosses the antimeridian. Places
        the CRS cannot express are NaN.
        """
        x = np.asarray(longitude_deg, dtype=np.float64)
        y = np.asarray(latitude_deg, dtype=np.float64)
        transformer = transformer_from_wgs84(self.crs_wkt)
        if transformer is not None:
            x, y = (np.asarray(axis) for axis in transformer.transform(x, y))
            x = np.where(np.isfinite(x), x, np.nan)
            y = np.where(np.isfinite(y), y, np.nan)
        if self.is_geographic:
            # Whichever turn the raster counts its longitudes in (-180 to 180, 0 to 360), the place is brought
            # next to its middle.
            x = x - 360.0 * np.round((x - self.centre_x) / 360.0)
        return (x - self.transform.c) / self.transform.a, (y - self.transform.f) / self.transform.e

    def line_positions(self, longitude_deg: Floats, latitude_deg: Floats) -> tuple[Floats, Floats]:
        """Return (col, row) of knots along lines, shape (lines, K), without a jump at 180 degrees."""
        col, row = self.positions(longitude_deg, latitude_deg)
        if self.is_geographic:
            turn = abs(360.0 / self.transform.a)
            # A cubic through knots on both sides of the jump would swing round the Earth.
            jumps = np.round(np.diff(col, axis=1) / turn)
            if np.any(jumps):
                col[:, 1:] -= turn * np.cumsum(jumps, axis=1)
        return col, row

    def lonlat(self, col: ArrayLike, row: ArrayLike) -> tuple[Floats, Floats]:
        """Return WGS 84 longitude and latitude, in degrees, of positions in cells from the outer corner."""
        x = self.transform.c + np.asarray(col, dtype=np.float64) * self.transform.a
        y = self.transform.f + np.asarray(row, dtype=np.float64) * self.transform.e
        transformer = transformer_from_wgs84(self.crs_wkt)
        if transformer is not None:
            x, y = (np.asarray(axis) for axis in transformer.transform(x, y, direction="INVERSE"))
        return x, y

    def covers(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True at places inside the raster's outer edge, whatever its cells hold."""
        return self.holds(*self.positions(longitude_deg, latitude_deg))

    def holds(self, col: Floats, row: Floats) -> NDArray[np.bool_]:
        """Return the same at positions in cells from the outer corner."""
        rows, cols = self.array.shape
        return (col >= -1e-6) & (row >= -1e-6) & (col <= cols + 1e-6) & (row <= rows + 1e-6)

    def filled_at(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True at places in a cell whose height was filled from those around it."""
        col, row = self.positions(longitude_deg, latitude_deg)
        if self.filled is None or not self.filled.size:
            return np.zeros(col.shape, dtype=bool)
        rows, cols = self.array.shape
        inside = (col >= 0) & (row >= 0) & (col < cols) & (row < rows)
        place = np.where(inside, row, 0).astype(np.int64) * cols + np.where(inside, col, 0).astype(np.int64)
        return inside & np.isin(place, self.filled)

    def rim_lonlat(self, points_per_side: int = 33) -> tuple[Floats, Floats]:
        """Return longitude and latitude in degrees of points around the outer edge, clockwise.

        Longitudes do not jump where the edge crosses the antimeridian: they go on past 180.
        """
        rows, cols = self.array.shape
        share = np.linspace(0.0, 1.0, points_per_side)
        none, full = np.zeros_like(share), np.ones_like(share)
        col = np.concatenate([share, full, share[::-1], none]) * cols
        row = np.concatenate([none, share, full, share[::-1]]) * rows
        longitude_deg, latitude_deg = self.lonlat(col, row)
        return np.unwrap(longitude_deg, period=360.0), latitude_deg

    def nearest_inside(self, longitude_deg: float, latitude_deg: float) -> tuple[float, float]:
        """Return longitude and latitude of the raster's point nearest to a place, in its own CRS."""
        rows, cols = self.array.shape
        col, row = self.positions(longitude_deg, latitude_deg)
        longitude, latitude = self.lonlat(np.clip(col, 0, cols), np.clip(row, 0, rows))
        return float(longitude), float(latitude)

    def digest(self) -> str:
        """Return the SHA-256 of the cells, where they lie and their CRS; the file's name does not count.

        Of cells read on demand, the digest of the files' names, sizes and times.
        """
        if self.blocks is not None:
            return self.blocks.digest()
        sha = hashlib.sha256()
        sha.update(repr((self.array.shape, self.array.dtype.str, tuple(self.transform)[:6])).encode())
        sha.update(self.crs_wkt.encode())
        for row in range(0, self.array.shape[0], _DIGEST_ROWS):
            sha.update(np.ascontiguousarray(self.array[row : row + _DIGEST_ROWS]).data)
            release(self.array)
        return sha.hexdigest()
