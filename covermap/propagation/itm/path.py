"""What the irregular terrain model knows of a path: lengths, heights and horizons in one record."""

import cmath
import math
from typing import NamedTuple

from covermap.propagation.compiling import kernel

NO_CURVATURE_REFRACTIVITY = 179.3  # Hufford 1995, preparatory calculations: N1, N-units
SCALE_HEIGHT_M = 9460.0  # the same: refractivity falls by a factor e in this height
EARTH_CURVATURE_PER_M = 157e-9  # the same: 1 / 6370 km
ROUGHNESS_LENGTH_M = 50e3  # the same: D of the interdecile range over part of a path
WAVE_NUMBER_MHZ_M = 47.7  # the same: wave number k = f(MHz) / 47.7


class ItmGround(NamedTuple):
    """What the model must know beside the path.

    climate : 1 to 7. permittivity : relative. conductivity_s_m : S/m.
    """

    climate: int = 5
    permittivity: float = 15.0  # average ground: ITU-R P.527, from memory
    conductivity_s_m: float = 0.005


class ItmPath(NamedTuple):
    """One path as the model sees it, whichever way (profile or statistics) it came by its figures.

    length_m : between the antennas. tx_height_m, rx_height_m : structural, above ground.
    tx_effective_m, rx_effective_m : above the effective reflecting plane.
    tx_horizon_m, rx_horizon_m : distances to the radio horizons.
    tx_horizon_rad, rx_horizon_rad : elevation angles of the horizons, above the horizontal positive.
    delta_h_m : interdecile range of terrain heights. refractivity : at the surface, N-units.
    earth_radius_m : effective. from_profile : False for the area mode.
    """

    length_m: float
    tx_height_m: float
    rx_height_m: float
    tx_effective_m: float
    rx_effective_m: float
    tx_horizon_m: float
    rx_horizon_m: float
    tx_horizon_rad: float
    rx_horizon_rad: float
    delta_h_m: float
    refractivity: float
    earth_radius_m: float
    from_profile: bool


@kernel
def surface_refractivity(n0, ground_m):
    """Return refractivity at ground_m above sea level from that at sea level, in N-units. NaN gives NaN.

    Source: Hufford, "The ITS Irregular Terrain Model, version 1.2.2: the Algorithm" (NTIA/ITS 1995),
    preparatory calculations. Accuracy: exact.
    """
    return n0 * math.exp(-ground_m / SCALE_HEIGHT_M)


@kernel
def effective_earth_radius_m(refractivity):
    """Return the effective earth radius for a refractivity at the surface (N-units), in m.

    Source: Hufford 1995, preparatory calculations. Accuracy: exact.
    """
    bent = 1.0 - 0.04665 * math.exp(refractivity / NO_CURVATURE_REFRACTIVITY)
    return 1.0 / (EARTH_CURVATURE_PER_M * bent)


@kernel
def smooth_horizon_m(effective_m, earth_radius_m):
    """Return the distance of the horizon over a smooth earth from a height, both in m.

    Source: Hufford 1995, preparatory calculations. Accuracy: exact for heights far under the radius.
    """
    return math.sqrt(2.0 * effective_m * earth_radius_m)


@kernel
def rough_horizon(effective_m, delta_h_m, earth_radius_m):
    """Return distance (m) and elevation (rad) of the horizon to expect over ground of roughness delta_h_m.

    Source: Hufford 1995, preparatory calculations for the area mode (H3 = 5 m).
    Accuracy: a statistical fit; exact as a formula.
    """
    smooth_m = smooth_horizon_m(effective_m, earth_radius_m)
    distance_m = smooth_m * math.exp(-0.07 * math.sqrt(delta_h_m / max(effective_m, 5.0)))
    angle_rad = (0.65 * delta_h_m * (smooth_m / distance_m - 1.0) - 2.0 * effective_m) / smooth_m
    return distance_m, angle_rad


@kernel
def roughness_over_m(distance_m, delta_h_m):
    """Return the interdecile range of terrain heights within distance_m, in m.

    delta_h_m : over a long distance. Source: Hufford 1995. Accuracy: exact as a formula.
    """
    return (1.0 - 0.8 * math.exp(-distance_m / ROUGHNESS_LENGTH_M)) * delta_h_m


@kernel
def height_spread_m(roughness_m):
    """Return the standard deviation of terrain heights for an interdecile range, in m.

    Source: Hufford 1995, sigma_h with H = 16 m. Accuracy: exact as a formula.
    """
    return 0.78 * roughness_m * math.exp(-((roughness_m / 16.0) ** 0.25))


@kernel
def bend_rad(path):
    """Return the angle by which the two horizons miss each other at no distance, in rad.

    Never under that of a smooth earth. Source: Hufford 1995, theta_e. Accuracy: exact.
    """
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    return max(path.tx_horizon_rad + path.rx_horizon_rad, -horizons_m / path.earth_radius_m)


@kernel
def smooth_horizons_m(path):
    """Return the sum of the two smooth-earth horizon distances, in m: where line of sight ends.

    Source: Hufford 1995, d_Ls. Accuracy: exact.
    """
    return smooth_horizon_m(path.tx_effective_m, path.earth_radius_m) + smooth_horizon_m(
        path.rx_effective_m, path.earth_radius_m
    )


@kernel
def ground_impedance(frequency_mhz, permittivity, conductivity_s_m, vertical):
    """Return the surface transfer impedance of the ground, a complex number without unit.

    permittivity : relative, 1 or more. conductivity_s_m : S/m. vertical : polarization.
    Source: Hufford 1995, preparatory calculations. Accuracy: exact for a plane wave at grazing angles.
    """
    relative = complex(permittivity, 18000.0 * conductivity_s_m / frequency_mhz)
    impedance = cmath.sqrt(relative - 1.0)
    return impedance / relative if vertical else impedance
