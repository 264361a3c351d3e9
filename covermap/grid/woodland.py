"""The wood in front of a receiving antenna: how far the last stretch of the way to it runs below its tops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.terrain.woods import WoodsAround

STEP_M = 20.0
NEAR_M = 100.0  # a wood that begins farther away stands under the ray or is the path's affair: judgement
LONGEST_M = 200.0  # beyond, the ray has left the tops, and more wood takes nothing (P.833's greatest loss)


def last_wood_m(
    around: WoodsAround, bearing_deg: NDArray[np.float64], height_m: float
) -> NDArray[np.float64]:
    """Return the length of the last wooded stretch before antennas, in m, shape (N,).

    around : the N antennas; bearing_deg : towards the mast, from true north
    height_m : of the antenna above ground; wood counts that stands higher. One stretch counts, that which
    begins within 100 m of the antenna, up to 200 m from it. 0 without land cover. NaN bearings give 0.
    """
    going = np.flatnonzero(~np.isnan(bearing_deg))  # antennas whose stretch may begin, or goes on
    east, north = np.sin(np.radians(bearing_deg[going])), np.cos(np.radians(bearing_deg[going]))
    here = around.some(going)
    wood_m = np.zeros(bearing_deg.size)
    # Step by step, only for antennas whose stretch may begin or goes on.
    for step_m in np.arange(STEP_M / 2.0, LONGEST_M, STEP_M):
        wood = here.stand(step_m * east, step_m * north, height_m)
        goes_on = wood | (wood_m[going] == 0.0)
        wood_m[going[wood]] += STEP_M
        if step_m + STEP_M >= NEAR_M:
            goes_on &= wood
        if not goes_on.all():
            going, here, east, north = going[goes_on], here.some(goes_on), east[goes_on], north[goes_on]
    return wood_m
