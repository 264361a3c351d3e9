"""Diffraction in the irregular terrain model: two knife edges blended with a rounded earth."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.path import (
    WAVE_NUMBER_MHZ_M,
    bend_rad,
    height_spread_m,
    roughness_over_m,
    smooth_horizons_m,
)

STANDARD_RADIUS_M = 4.0 / 3.0 * 6370e3  # Vogler 1964: radius at which his constants hold


@kernel
def itm_knife_edge_db(nu_squared):
    """Return the loss over one knife edge in dB, from the square of the Fresnel-Kirchhoff parameter.

    nu_squared : 0 or more. NaN gives NaN.
    Source: Hufford 1995, numerical approximations. Accuracy: 0.2 dB of the exact integral (from memory).
    """
    if nu_squared < 5.76:
        return 6.02 + 9.11 * math.sqrt(nu_squared) - 1.27 * nu_squared
    return 12.953 + 10.0 * math.log10(nu_squared)


@kernel
def residual_height_gain_db(x, k):
    """Return the height gain function F(x, K) of diffraction round a sphere, in dB.

    x : distance to the horizon in Vogler's measure. k : ground constant K, above 0.
    Source: Vogler 1964, NBS Journal of Research 68D; Hufford 1995, numerical approximations.
    Accuracy: about 1 dB of the series it replaces (from memory).
    """
    if x >= 200.0:
        far_db = 0.05751 * x - 10.0 * math.log10(x)
        if x >= 2000.0:
            return far_db
        weight = 0.0134 * x * math.exp(-0.005 * x)
        return (1.0 - weight) * far_db + weight * (40.0 * math.log10(x) - 117.0)
    depth = -math.log(k)
    if k < 1e-5 or x * depth**3 > 5495.0:
        return 40.0 * math.log10(max(x, 1.0)) - 117.0
    return 2.5e-5 * x * x / k - 8.686 * depth - 15.0


@kernel
def vogler_measure(distance_m, radius_m, frequency_mhz, impedance_size):
    """Return a distance along a sphere of radius_m in Vogler's measure, and the ground constant K.

    Source: Vogler 1964, equations (2), (6a) and figure 4. Accuracy: exact as a formula.
    """
    c0 = (STANDARD_RADIUS_M / radius_m) ** (1.0 / 3.0)
    f3 = frequency_mhz ** (1.0 / 3.0)
    k = 0.017778 * c0 / (f3 * impedance_size)
    return (1.607 - k) * c0 * c0 * f3 * distance_m / 1000.0, k


@kernel
def rounded_earth_db(path, distance_m, frequency_mhz, impedance_size):
    """Return the diffraction loss over three arcs: to each horizon and between the horizons, in dB.

    Source: Hufford 1995, diffraction attenuation, after Vogler 1964. Accuracy: exact as a formula.
    """
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    theta = bend_rad(path) + distance_m / path.earth_radius_m
    tx_radius_m = 0.5 * path.tx_horizon_m**2 / path.tx_effective_m
    rx_radius_m = 0.5 * path.rx_horizon_m**2 / path.rx_effective_m
    between_radius_m = (distance_m - horizons_m) / theta
    x_tx, k_tx = vogler_measure(path.tx_horizon_m, tx_radius_m, frequency_mhz, impedance_size)
    x_rx, k_rx = vogler_measure(path.rx_horizon_m, rx_radius_m, frequency_mhz, impedance_size)
    x_between, _ = vogler_measure(distance_m - horizons_m, between_radius_m, frequency_mhz, impedance_size)
    x = x_between + x_tx + x_rx
    return (
        0.05751 * x
        - 10.0 * math.log10(x)
        - residual_height_gain_db(x_tx, k_tx)
        - residual_height_gain_db(x_rx, k_rx)
        - 20.0
    )


@kernel
def two_edges_db(path, distance_m, frequency_mhz):
    """Return the loss over a knife edge at each horizon, in dB.

    Source: Hufford 1995, diffraction attenuation (after Epstein and Peterson). Accuracy: exact as a formula.
    """
    beyond_m = distance_m - path.tx_horizon_m - path.rx_horizon_m
    theta = bend_rad(path) + distance_m / path.earth_radius_m
    scale = frequency_mhz / WAVE_NUMBER_MHZ_M / (4.0 * math.pi) * theta * theta * beyond_m
    return itm_knife_edge_db(scale * path.tx_horizon_m / (beyond_m + path.tx_horizon_m)) + itm_knife_edge_db(
        scale * path.rx_horizon_m / (beyond_m + path.rx_horizon_m)
    )


@kernel
def itm_diffraction_db(path, distance_m, frequency_mhz, impedance_size):
    """Return the loss beyond free space at distance_m by diffraction over the path's horizons, in dB.

    distance_m : beyond the sum of the horizon distances. impedance_size : |ground_impedance|.
    Source: Hufford 1995, diffraction attenuation: edges and rounded earth by weight, and a clutter term.
    Accuracy: exact as a formula.
    """
    spread_m = height_spread_m(roughness_over_m(smooth_horizons_m(path), path.delta_h_m))
    heights_m2 = path.tx_height_m * path.rx_height_m
    clutter_db = min(15.0, 5.0 * math.log10(1.0 + 1e-5 * heights_m2 * frequency_mhz * spread_m))

    known_m2 = 10.0 if path.from_profile else 0.0  # C: low antennas whose ground is known
    raised = math.sqrt((path.tx_effective_m * path.rx_effective_m + known_m2) / (heights_m2 + known_m2))
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    bent = (horizons_m + bend_rad(path) * path.earth_radius_m) / distance_m
    roughness = roughness_over_m(distance_m, path.delta_h_m) * frequency_mhz / WAVE_NUMBER_MHZ_M
    weight = 25.1 / (25.1 + math.sqrt((raised + bent) * min(roughness, 6283.2)))
    return (
        weight * rounded_earth_db(path, distance_m, frequency_mhz, impedance_size)
        + (1.0 - weight) * two_edges_db(path, distance_m, frequency_mhz)
        + clutter_db
    )


@kernel
def diffraction_line(path, frequency_mhz, impedance_size):
    """Return slope (dB/m) and value at no distance (dB) of the straight line that stands for diffraction.

    Source: Hufford 1995, coefficients for the diffraction range. Accuracy: exact as a formula.
    """
    wave_m = (path.earth_radius_m * path.earth_radius_m / frequency_mhz) ** (1.0 / 3.0)
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    near_m = max(smooth_horizons_m(path), horizons_m + 5.0 * wave_m)
    far_m = near_m + 10.0 * wave_m
    near_db = itm_diffraction_db(path, near_m, frequency_mhz, impedance_size)
    far_db = itm_diffraction_db(path, far_m, frequency_mhz, impedance_size)
    slope = (far_db - near_db) / (far_m - near_m)
    return slope, near_db - slope * near_m
