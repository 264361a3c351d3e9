"""Height above average terrain: a transmitting antenna over the ground along its radials."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.grid.geodesy import points_along
from covermap.terrain import Terrain

AVERAGED_KM = np.linspace(3.2, 16.1, 130)  # 47 CFR 73.625(b)(2): 3.2 to 16.1 km, 50 points or more
LEAST_RADIALS = 0.75  # our own: share of radials; the rest take the height of their neighbours
LEAST_KNOWN = 0.5  # our own: share of a radial's points whose ground must be known


def heights_above_average_m(
    terrain: Terrain,
    latitude_deg: float,
    longitude_deg: float,
    antenna_height_m: float,
    azimuth_deg: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the antenna's height above the average ground of each radial, in m, shape of azimuth_deg.

    NaN where less than half of a radial's ground, or the mast's own, is known.
    Source: 47 CFR 73.625(b)(2).
    """
    longitude, latitude = points_along(latitude_deg, longitude_deg, azimuth_deg, AVERAGED_KM)
    ground_m = terrain.ground_m(longitude, latitude)
    known = ~np.isnan(ground_m)
    count = known.sum(axis=1)
    average_m = np.where(known, ground_m, 0.0).sum(axis=1) / np.maximum(count, 1)
    top_m = float(terrain.ground_m(longitude_deg, latitude_deg)) + antenna_height_m
    return np.where(count >= LEAST_KNOWN * AVERAGED_KM.size, top_m - average_m, np.nan)


def all_heights_above_average_m(
    terrain: Terrain,
    latitude_deg: float,
    longitude_deg: float,
    antenna_height_m: float,
    azimuth_deg: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the heights of radials all round, unknown ones from their neighbours, in m.

    All NaN where less than three quarters of the radials are known. azimuth_deg : rising, once round.
    """
    haat_m = heights_above_average_m(terrain, latitude_deg, longitude_deg, antenna_height_m, azimuth_deg)
    known = ~np.isnan(haat_m)
    if known.mean() < LEAST_RADIALS:
        return np.full(azimuth_deg.shape, np.nan)
    return np.interp(azimuth_deg, azimuth_deg[known], haat_m[known], period=360.0)
