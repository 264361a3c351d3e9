"""Line of sight in the irregular terrain model: two rays blended into the diffraction line."""

import cmath
import math

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.path import (
    WAVE_NUMBER_MHZ_M,
    height_spread_m,
    roughness_over_m,
    smooth_horizons_m,
)


@kernel
def two_rays_db(path, distance_m, frequency_mhz, impedance):
    """Return the loss beyond free space of a direct and a reflected ray, in dB (negative: a gain).

    impedance : of ground_impedance, complex.
    Source: Hufford 1995, line-of-sight attenuation. Accuracy: exact as a formula.
    """
    wave_number = frequency_mhz / WAVE_NUMBER_MHZ_M
    heights_m = path.tx_effective_m + path.rx_effective_m
    grazing = heights_m / math.sqrt(distance_m * distance_m + heights_m * heights_m)
    spread_m = height_spread_m(roughness_over_m(distance_m, path.delta_h_m))
    reflected = (grazing - impedance) / (grazing + impedance)
    reflected *= math.exp(-min(10.0, wave_number * spread_m * grazing))
    power = reflected.real**2 + reflected.imag**2
    if power < 0.25 or power < grazing:
        reflected *= math.sqrt(grazing / power)
    phase = 2.0 * wave_number * path.tx_effective_m * path.rx_effective_m / distance_m
    if phase > math.pi / 2.0:
        phase = math.pi - (math.pi / 2.0) ** 2 / phase
    total = cmath.exp(-1j * phase) + reflected
    return -10.0 * math.log10(total.real**2 + total.imag**2)


@kernel
def within_sight_db(path, distance_m, frequency_mhz, impedance, slope, start_db):
    """Return the loss beyond free space at a distance within sight, in dB.

    slope, start_db : the diffraction line of diffraction_line().
    Source: Hufford 1995, line-of-sight attenuation: weight of the two parts by roughness (D1 = 47.7 m,
    D2 = 10 km). Accuracy: exact as a formula.
    """
    rough = frequency_mhz * path.delta_h_m / max(10e3, smooth_horizons_m(path))
    weight = 1.0 / (1.0 + rough)
    return weight * two_rays_db(path, distance_m, frequency_mhz, impedance) + (1.0 - weight) * (
        slope * distance_m + start_db
    )


@kernel
def rising_curve(points_m, losses_db, always_curved, slope):
    """Return k1 (dB/m) and k2 (dB) of the curve loss = a + k1 d + k2 ln d through three losses.

    points_m, losses_db : triples. A straight line through the last two where the first does not lie before
        the second, or where the curve would not bend down and always_curved is False. slope : of the
        diffraction line, which stands in for k1 where the losses do not rise. k1, k2 are never negative.

    Source: Hufford 1995, coefficients for the line-of-sight range. Accuracy: exact.
    """
    d0, d1, d2 = points_m
    a0, a1, a2 = losses_db
    if d0 < d1:
        logs = math.log(d2 / d0)
        bend = (d2 - d0) * math.log(d1 / d0) - (d1 - d0) * logs
        k2 = max(0.0, ((d2 - d0) * (a1 - a0) - (d1 - d0) * (a2 - a0)) / bend)
        if always_curved or k2 > 0.0:
            k1 = (a2 - a0 - k2 * logs) / (d2 - d0)
            if k1 >= 0.0:
                return k1, k2
            k2 = max(a2 - a0, 0.0) / logs
            return (slope, k2) if k2 == 0.0 else (0.0, k2)
    k1 = max(a2 - a1, 0.0) / (d2 - d1)
    return (slope, 0.0) if k1 == 0.0 else (k1, 0.0)


@kernel
def line_of_sight_db(path, frequency_mhz, impedance, slope, start_db):
    """Return the reference loss beyond free space of a path within the smooth-earth horizons, in dB.

    slope, start_db : the diffraction line of diffraction_line().
    Source: Hufford 1995, coefficients for the line-of-sight range. Accuracy: exact as a formula.
    """
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    d2 = smooth_horizons_m(path)
    a2 = slope * d2 + start_db
    d0 = 0.04 * frequency_mhz * path.tx_effective_m * path.rx_effective_m
    if start_db >= 0.0:
        d0 = min(d0, 0.5 * horizons_m)
        d1 = d0 + 0.25 * (horizons_m - d0)
    else:
        d1 = max(-start_db / slope, 0.25 * horizons_m)
    a1 = within_sight_db(path, d1, frequency_mhz, impedance, slope, start_db)
    a0 = a1
    if d0 < d1:
        a0 = within_sight_db(path, d0, frequency_mhz, impedance, slope, start_db)
    k1, k2 = rising_curve((d0, d1, d2), (a0, a1, a2), start_db >= 0.0, slope)
    return a2 + k1 * (path.length_m - d2) + k2 * math.log(path.length_m / d2)
