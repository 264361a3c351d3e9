"""Area mode of the irregular terrain model: a path from the kind of ground and the care of siting."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.path import ItmPath, rough_horizon

SITINGS = ("random", "careful", "very_careful")
"""How a place was chosen, in the order of the numbers 0 to 2."""


@kernel
def sited_height_m(height_m, delta_h_m, siting):
    """Return the effective height of an antenna whose place was chosen with some care, in m.

    siting : 0 random, 1 careful, 2 very careful.
    Source: Hufford 1995, preparatory calculations for the area mode. Accuracy: a statistical fit.
    """
    if siting == 0:
        return height_m
    gain_m = 4.0 if siting == 1 else 9.0
    if height_m < 5.0:
        gain_m *= math.sin(0.1 * math.pi * height_m)
    return height_m + (1.0 + gain_m) * math.exp(-min(20.0, 2.0 * height_m / max(1e-3, delta_h_m)))


@kernel
def itm_area_path(length_m, delta_h_m, heights_m, sitings, refractivity, earth_radius_m):
    """Return the ItmPath to expect over ground of roughness delta_h_m.

    heights_m, sitings : transmitter and receiver, pairs. refractivity : N-units, at the surface.
    Source: Hufford 1995, preparatory calculations for the area mode. Accuracy: exact as a formula.
    """
    tx_m = sited_height_m(heights_m[0], delta_h_m, sitings[0])
    rx_m = sited_height_m(heights_m[1], delta_h_m, sitings[1])
    tx_horizon_m, tx_rad = rough_horizon(tx_m, delta_h_m, earth_radius_m)
    rx_horizon_m, rx_rad = rough_horizon(rx_m, delta_h_m, earth_radius_m)
    return ItmPath(
        length_m, heights_m[0], heights_m[1], tx_m, rx_m, tx_horizon_m, rx_horizon_m, tx_rad, rx_rad,
        delta_h_m, refractivity, earth_radius_m, False,
    )  # fmt: skip
