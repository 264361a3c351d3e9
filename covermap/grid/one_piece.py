"""A map across 180 degrees in one piece: longitudes and Web Mercator metres that go on beyond it."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray

from covermap.grid.frame import Grid, to_wgs84

WEB_MERCATOR = pyproj.CRS.from_epsg(3857)
HALF_WORLD_M = math.pi * 6378137.0  # of Web Mercator, from 0 to 180 degrees
# Web Mercator from 0 to 360 degrees of longitude: the same metres up to 180 degrees, and then on
BEYOND_180 = pyproj.CRS.from_proj4(
    f"+proj=merc +a=6378137 +b=6378137 +lat_ts=0 +lon_0=180 +x_0={HALF_WORLD_M!r} +y_0=0 +k=1 +units=m "
    "+nadgrids=@null +wktext +no_defs"
)
BORDER_POINTS = 33  # along each side


def border(grid: Grid, points: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return x and y in metres of points along the grid's border, clockwise from its north-west corner."""
    step = np.linspace(0, 1, points)
    ahead, back, start, end = step, 1 - step, np.zeros(points), np.ones(points)
    col = np.concatenate([ahead, end, back, start]) * grid.cols
    row = np.concatenate([start, ahead, end, back]) * grid.rows
    return grid.x_min + col * grid.cell_m, grid.y_max - row * grid.cell_m


@lru_cache(maxsize=16)
def crosses_180(grid: Grid) -> bool:
    """Return whether a grid has squares on both sides of 180 degrees."""
    longitude_deg, _ = to_wgs84(grid.crs_wkt).transform(*border(grid, BORDER_POINTS))
    return bool(np.ptp(longitude_deg) > 180.0)


def in_one_piece(grid: Grid, longitude_deg: ArrayLike) -> NDArray[np.float64]:
    """Return longitudes without a jump inside the grid: from 0 to 360 where it crosses 180 degrees."""
    longitude_deg = np.asarray(longitude_deg, dtype=np.float64)
    return np.where(crosses_180(grid) & (longitude_deg < 0.0), longitude_deg + 360.0, longitude_deg)


def box_deg(grid: Grid) -> tuple[float, float, float, float]:
    """Return west, south, east and north of the grid in WGS 84 degrees; east may pass 180."""
    longitude_deg, latitude_deg = to_wgs84(grid.crs_wkt).transform(*border(grid, BORDER_POINTS))
    longitude_deg = in_one_piece(grid, longitude_deg)
    west, east = float(longitude_deg.min()), float(longitude_deg.max())
    return west, float(np.min(latitude_deg)), east, float(np.max(latitude_deg))


def web_mercator(grid: Grid) -> pyproj.CRS:
    """Return Web Mercator without a jump inside the grid; x may pass 180 degrees."""
    return BEYOND_180 if crosses_180(grid) else WEB_MERCATOR
