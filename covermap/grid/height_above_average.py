"""Height above average terrain: a transmitting antenna over the ground along its radials."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.grid.geodesy import points_along
from covermap.scenario.records import Station
from covermap.terrain import Terrain

AVERAGED_KM = np.linspace(3.2, 16.1, 130)  # 47 CFR 73.625(b)(2): 3.2 to 16.1 km, 50 points or more
LEAST_KNOWN = 0.5  # our own: share of a radial's points whose ground must be known


def heights_above_average_m(
    terrain: Terrain, station: Station, azimuth_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the antenna's height above the average ground of each radial, in m, shape of azimuth_deg.

    NaN where less than half of a radial's ground, or the mast's own, is known.
    Source: 47 CFR 73.625(b)(2).
    """
    longitude, latitude = points_along(station.latitude_deg, station.longitude_deg, azimuth_deg, AVERAGED_KM)
    ground_m = terrain.ground_m(longitude, latitude)
    known = ~np.isnan(ground_m)
    count = known.sum(axis=1)
    average_m = np.where(known, ground_m, 0.0).sum(axis=1) / np.maximum(count, 1)
    top_m = float(terrain.ground_m(station.longitude_deg, station.latitude_deg)) + station.antenna_height_m
    return np.where(count >= LEAST_KNOWN * AVERAGED_KM.size, top_m - average_m, np.nan)
