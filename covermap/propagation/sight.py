"""Lines of sight: the first Fresnel zone and the bulge of the earth."""

import math

from covermap.propagation.compiling import kernel


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
