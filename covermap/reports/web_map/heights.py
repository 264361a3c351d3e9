"""The page's own heights: a coarse grid of the ground for skylines and path profiles in the browser."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.constants import EARTH_RADIUS_KM
from covermap.reports.web_map.page_grid import PageGrid
from covermap.result.coverage import Coverage

MOST_HEIGHTS = 400_000  # about 0.5 MB of the page on mountains
BEYOND_KM = 10.0  # past the map and its masts, where the source reaches: hills that stand in a skyline
STEP_M = 0.5  # heights are held in whole steps
UNKNOWN_HEIGHT = 65535
ROWS_AT_ONCE = 256
M_PER_DEGREE = math.radians(1.0) * 1000.0 * EARTH_RADIUS_KM  # along a meridian of the mean sphere


class HeightSource(Protocol):
    """What heights are asked of: a Terrain, or the ground raster of a result."""

    @property
    def finest_cell_m(self) -> float:
        """Return the side of the smallest elevation cell in m."""

    @property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """Return west, south, east and north of what is known; west > east across the antimeridian."""

    def elevation_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.float64]:
        """Return heights in m, NaN where unknown."""


@dataclass(frozen=True, eq=False)
class PageHeights:
    """Heights at the crossings of meridians and parallels; row 0 is the northernmost, WGS 84.

    height : uint16 (rows, cols), height in steps of STEP_M above base_m, UNKNOWN_HEIGHT where unknown
    """

    west_deg: float
    north_deg: float
    longitude_step_deg: float
    latitude_step_deg: float
    base_m: int
    spacing_m: float
    height: NDArray[np.uint16]

    def facts(self) -> dict[str, Any]:
        """Return what the page must know to read the heights."""
        rows, cols = self.height.shape
        return {
            "west_deg": self.west_deg,
            "north_deg": self.north_deg,
            "longitude_step_deg": self.longitude_step_deg,
            "latitude_step_deg": self.latitude_step_deg,
            "rows": rows,
            "cols": cols,
            "base_m": self.base_m,
            "step_m": STEP_M,
            "spacing_m": round(self.spacing_m),
        }

    def as_bytes(self) -> NDArray[np.uint8]:
        """Return differences from west to east as bytes: all low ones, then all high ones.

        Neighbours differ little, so that this packs into about half of what the heights themselves do.
        """
        steps = self.height.astype(np.int64)
        steps[:, 1:] -= self.height[:, :-1]
        steps &= 0xFFFF
        return np.concatenate([(steps & 0xFF).ravel(), (steps >> 8).ravel()]).astype(np.uint8)


class ResultHeights:
    """The ground raster of a result as a source of heights; beyond the grid nothing is known."""

    def __init__(self, coverage: Coverage) -> None:
        from scipy.interpolate import RegularGridInterpolator

        grid = coverage.grid
        x, y = coverage.coordinates()
        self.finest_cell_m = grid.cell_m
        self.bounds_deg = (0.0, 90.0, 0.0, -90.0)  # nothing beyond the grid
        self._to_grid, self._half_m = grid.crs, grid.cell_m / 2.0
        self._centres = (x[0], x[-1]), (y[-1], y[0])
        self._ground = RegularGridInterpolator(
            (y[::-1], x), coverage.read("ground")[::-1].astype(np.float64), bounds_error=False
        )

    def elevation_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.float64]:
        """Return heights straight between the cells' centres; the outer half cells have the edge's. [m]"""
        import pyproj

        to_grid = pyproj.Transformer.from_crs("EPSG:4326", self._to_grid, always_xy=True)
        x, y = to_grid.transform(np.asarray(longitude_deg), np.asarray(latitude_deg))
        inner_x, inner_y = (np.clip(v, *ends) for v, ends in zip((x, y), self._centres, strict=True))
        inside = (np.abs(x - inner_x) <= self._half_m) & (np.abs(y - inner_y) <= self._half_m)
        return np.where(inside, self._ground(np.stack([inner_y, inner_x], axis=-1)), np.nan)


def page_heights(source: HeightSource, grid: PageGrid, masts: Sequence[dict[str, Any]]) -> PageHeights:
    """Return the heights around a map and as far as its masts, at most MOST_HEIGHTS of them.

    masts : records with latitude_deg and longitude_deg
    """
    west, south, east, north = _extended(_extent_deg(grid, masts), source.bounds_deg)
    stretch = math.cos(math.radians((south + north) / 2.0))
    wide_m, high_m = (east - west) * stretch * M_PER_DEGREE, (north - south) * M_PER_DEGREE
    spacing_m = max(source.finest_cell_m, math.sqrt(wide_m * high_m / MOST_HEIGHTS))
    rows, cols = (max(2, math.ceil(length / spacing_m)) + 1 for length in (high_m, wide_m))
    longitude_deg = np.linspace(west, east, cols)
    latitude_deg = np.linspace(north, south, rows)
    found = [
        source.elevation_m(*np.meshgrid(longitude_deg, latitude_deg[first : first + ROWS_AT_ONCE]))
        for first in range(0, rows, ROWS_AT_ONCE)
    ]
    height_m = np.concatenate(found)
    known = ~np.isnan(height_m)
    base_m = math.floor(height_m[known].min()) if known.any() else 0
    steps = np.floor((np.nan_to_num(height_m) - base_m) / STEP_M + 0.5)
    height = np.where(known, np.clip(steps, 0, UNKNOWN_HEIGHT - 1), UNKNOWN_HEIGHT).astype(np.uint16)
    return PageHeights(
        west, north, (east - west) / (cols - 1), (north - south) / (rows - 1), base_m, spacing_m, height
    )


def _extended(
    extent_deg: tuple[float, float, float, float], bounds_deg: tuple[float, float, float, float]
) -> tuple[float, float, float, float]:
    """Return an extent grown by BEYOND_KM on each side, but never past the bounds."""
    west, south, east, north = extent_deg
    high_deg = 1000.0 * BEYOND_KM / M_PER_DEGREE
    wide_deg = high_deg / math.cos(math.radians((south + north) / 2.0))
    west_bound, south_bound, east_bound, north_bound = bounds_deg
    turns = 360.0 * round((west - west_bound) / 360.0)
    east_bound += 360.0 if east_bound < west_bound else 0.0
    return (
        min(west, max(west - wide_deg, west_bound + turns)),
        min(south, max(south - high_deg, south_bound)),
        max(east, min(east + wide_deg, east_bound + turns)),
        max(north, min(north + high_deg, north_bound)),
    )


def _extent_deg(grid: PageGrid, masts: Sequence[dict[str, Any]]) -> tuple[float, float, float, float]:
    """Return west, south, east and north around the map and the masts; east may exceed 180."""
    place = np.asarray(grid.facts()["place_of_cell"]).reshape(-1, 2)
    longitude_deg = np.append(place[:, 0], [mast["longitude_deg"] for mast in masts])
    latitude_deg = np.append(place[:, 1], [mast["latitude_deg"] for mast in masts])
    longitude_deg = longitude_deg - 360.0 * np.round((longitude_deg - longitude_deg[0]) / 360.0)
    margin_deg = 0.002
    return (
        float(longitude_deg.min()) - margin_deg,
        float(latitude_deg.min()) - margin_deg,
        float(longitude_deg.max()) + margin_deg,
        float(latitude_deg.max()) + margin_deg,
    )
