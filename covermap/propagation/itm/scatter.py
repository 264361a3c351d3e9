"""Tropospheric scatter in the irregular terrain model."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.path import WAVE_NUMBER_MHZ_M, bend_rad

GREAT_GAIN_DB = 15.0  # a frequency gain above this is not trusted twice

# Hufford 1995, numerical approximations of TN101's H0: coefficients for eta_s = 1 to 5
GAIN_SQUARE = (25.0, 80.0, 177.0, 395.0, 705.0)
GAIN_LINEAR = (24.0, 45.0, 68.0, 80.0, 105.0)


@kernel
def attenuation_function_db(reach_m):
    """Return the scatter attenuation function F(theta d), in dB.

    reach_m : scattering angle (rad) times distance (m).
    Source: NBS Technical Note 101, section 9; Hufford 1995, approximation for N_s = 301.
    Accuracy: exact as a formula.
    """
    if reach_m <= 10e3:
        return 133.4 + 0.332e-3 * reach_m - 10.0 * math.log10(reach_m)
    if reach_m <= 70e3:
        return 104.6 + 0.212e-3 * reach_m - 2.5 * math.log10(reach_m)
    return 71.8 + 0.157e-3 * reach_m + 5.0 * math.log10(reach_m)


@kernel
def whole_gain_db(r, eta):
    """Return H01(r, eta) for a whole eta of 1 to 5, in dB.

    r : as in frequency_gain_db. Source: Hufford 1995. Accuracy: exact as a formula.
    """
    inverse = 1.0 / (r * r)
    return 10.0 * math.log10((GAIN_SQUARE[eta - 1] * inverse + GAIN_LINEAR[eta - 1]) * inverse + 1.0)


@kernel
def frequency_gain_db(r, eta):
    """Return H01(r, eta_s), between whole eta by straight line, in dB.

    r : effective height in scatter wavelengths, above 0. eta : scatter efficiency, taken as 1 to 5.
    Source: NBS Technical Note 101, figure 9.3; Hufford 1995. Accuracy: exact as a formula.
    """
    below = min(max(int(eta), 1), 5)
    share = min(max(eta, 1.0), 5.0) - below
    gain_db = whole_gain_db(r, below)
    return gain_db if share == 0.0 else (1.0 - share) * gain_db + share * whole_gain_db(r, below + 1)


@kernel
def frequency_gain_of_path_db(path, distance_m, frequency_mhz):
    """Return the frequency gain H0 of a path lengthened to distance_m, in dB; NaN where not defined.

    Source: NBS Technical Note 101, section 9.2; Hufford 1995, scatter attenuation. Accuracy: exact as a
    formula.
    """
    theta = path.tx_horizon_rad + path.rx_horizon_rad + distance_m / path.earth_radius_m
    scale = 2.0 * frequency_mhz / WAVE_NUMBER_MHZ_M * theta
    r_tx = scale * path.tx_effective_m
    r_rx = scale * path.rx_effective_m
    if r_tx < 0.2 and r_rx < 0.2:
        return math.nan
    lopsided_m = abs(path.tx_horizon_m - path.rx_horizon_m)
    heights = path.rx_effective_m / path.tx_effective_m
    if path.tx_horizon_m < path.rx_horizon_m:
        heights = 1.0 / heights
    asymmetry = (distance_m - lopsided_m) / (distance_m + lopsided_m)
    q = min(max(heights / asymmetry, 0.1), 10.0)
    s = max(asymmetry, 0.1)
    crossing_m = (distance_m - lopsided_m) * (distance_m + lopsided_m) * theta * 0.25 / distance_m
    n = path.refractivity
    thinning = (0.031 - 2.32e-3 * n + 5.67e-6 * n * n) * math.exp(-(min(1.7, crossing_m / 8.0e3) ** 6))
    eta = crossing_m / 1.7556e3 * (1.0 + thinning)
    gain_db = 0.5 * (frequency_gain_db(r_tx, eta) + frequency_gain_db(r_rx, eta))
    uneven_db = 6.0 * (0.6 - math.log10(max(eta, 1.0))) * math.log10(s) * math.log10(q)
    gain_db = max(gain_db + min(gain_db, uneven_db), 0.0)
    if eta < 1.0:
        root2 = math.sqrt(2.0)
        ends = ((1.0 + root2 / r_tx) * (1.0 + root2 / r_rx)) ** 2
        none_db = 10.0 * math.log10(ends * (r_tx + r_rx) / (r_tx + r_rx + 2.0 * root2))
        gain_db = eta * gain_db + (1.0 - eta) * none_db
    return gain_db


@kernel
def scatter_db(path, distance_m, frequency_mhz, gain_db):
    """Return the loss beyond free space by scatter at distance_m, in dB.

    gain_db : of frequency_gain_of_path_db(). Source: Hufford 1995, scatter attenuation (H = 47.7 m,
    D0 = 40 km). Accuracy: exact as a formula.
    """
    theta = bend_rad(path) + distance_m / path.earth_radius_m
    reach_m = theta * distance_m
    return (
        attenuation_function_db(reach_m)
        + 10.0 * math.log10(frequency_mhz * theta**4)  # k H = f(MHz)
        - 0.1 * (path.refractivity - 301.0) * math.exp(-reach_m / 40e3)
        + gain_db
    )


@kernel
def scatter_line(path, frequency_mhz):
    """Return the scatter loss (dB) at 200 km beyond the horizons, that distance (m), and the slope (dB/m).

    NaN for loss and slope: not defined, the antennas are too low for the angle. Where it is defined at the
    near distance it is at the far one, since the angle grows.
    Source: Hufford 1995, coefficients for the scatter range. Accuracy: exact as a formula.
    """
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    near_m = horizons_m + 200e3
    far_m = horizons_m + 400e3
    far_gain_db = frequency_gain_of_path_db(path, far_m, frequency_mhz)
    if far_gain_db > GREAT_GAIN_DB:
        near_gain_db = far_gain_db
    else:
        near_gain_db = frequency_gain_of_path_db(path, near_m, frequency_mhz)
        if math.isnan(near_gain_db):
            return math.nan, near_m, math.nan
        near_gain_db = far_gain_db if near_gain_db > GREAT_GAIN_DB else near_gain_db
    near_db = scatter_db(path, near_m, frequency_mhz, near_gain_db)
    far_db = scatter_db(path, far_m, frequency_mhz, far_gain_db)
    return near_db, near_m, (far_db - near_db) / (far_m - near_m)
