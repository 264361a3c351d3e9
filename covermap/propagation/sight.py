"""Lines of sight: the first Fresnel zone, the bulge of the earth and the radio horizon."""

import math

from covermap.constants import EARTH_RADIUS_KM
from covermap.propagation.compiling import kernel

FOUR_THIRDS_RADIUS_KM = EARTH_RADIUS_KM * 4.0 / 3.0  # common practice, no source


@kernel
def fresnel_radius_m(distance_1_km, distance_2_km, frequency_mhz):
    """Return the radius of the first Fresnel zone at a point between two antennas, in m.

    distance_1_km, distance_2_km : from the point to either antenna.

    Source: ITU-R P.526-16, section 2: 550 sqrt(d1 d2 / ((d1 + d2) f)).
    Accuracy: 0.5 % (the constant is rounded from 547.7).
    """
    return 550.0 * math.sqrt(
        distance_1_km * distance_2_km / ((distance_1_km + distance_2_km) * frequency_mhz)
    )


@kernel
def earth_bulge_m(distance_1_km, distance_2_km, effective_radius_km):
    """Return how far the earth rises above the chord between two places, in m.

    Source: geometry, d1 d2 / (2 a); as in ITU-R P.1812-8, section 4.3.1. Accuracy: parabola for circle.
    """
    return 500.0 * distance_1_km * distance_2_km / effective_radius_km


@kernel
def radio_horizon_km(tx_height_m, rx_height_m, effective_radius_km):
    """Return the greatest distance in sight over a smooth earth, in km.

    Source: geometry, sqrt(2 a h1) + sqrt(2 a h2). Accuracy: of the parabola.
    """
    return math.sqrt(0.002 * effective_radius_km * tx_height_m) + math.sqrt(
        0.002 * effective_radius_km * rx_height_m
    )
