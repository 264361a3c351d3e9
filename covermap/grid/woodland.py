"""The wood in front of a receiving antenna: how far the last stretch of the way to it runs below its tops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.terrain import Terrain

STEP_M = 20.0
NEAR_M = 100.0  # a wood that begins farther away stands under the ray or is the path's affair: judgement
LONGEST_M = 200.0  # beyond, the ray has left the tops, and more wood takes nothing (P.833's greatest loss)
METRES_A_DEGREE = 111_320.0  # of latitude; within 0.6 % of WGS 84, over 200 m a metre


def last_wood_m(
    terrain: Terrain,
    latitude_deg: NDArray[np.float64],
    longitude_deg: NDArray[np.float64],
    bearing_deg: NDArray[np.float64],
    height_m: float,
) -> NDArray[np.float64]:
    """Return the length of the last wooded stretch before antennas, in m, shape (N,).

    latitude_deg, longitude_deg : of the antennas, WGS 84; bearing_deg : towards the mast, from true north
    height_m : of the antenna above ground; wood counts that stands higher. One stretch counts, that which
    begins within 100 m of the antenna, up to 200 m from it. 0 without land cover. NaN bearings give 0.
    """
    east = np.sin(np.radians(bearing_deg)) / (METRES_A_DEGREE * np.cos(np.radians(latitude_deg)))
    north = np.cos(np.radians(bearing_deg)) / METRES_A_DEGREE
    wood_m = np.zeros(bearing_deg.size)
    going = np.flatnonzero(~np.isnan(bearing_deg))  # antennas whose stretch may begin, or goes on
    # Step by step, only for antennas whose stretch may begin or goes on: 14 us a square, 47 with all steps at
    # once.
    for step_m in np.arange(STEP_M / 2.0, LONGEST_M, STEP_M):
        if step_m >= NEAR_M:
            going = going[wood_m[going] > 0.0]
        longitude = longitude_deg[going] + step_m * east[going]
        latitude = latitude_deg[going] + step_m * north[going]
        wood = terrain.woodland(longitude, latitude, height_m)
        ended = ~wood & (wood_m[going] > 0.0)
        wood_m[going[wood]] += STEP_M
        going = going[~ended]
    return wood_m
