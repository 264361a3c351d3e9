"""Ducting and layer reflection, and the share of time beta0 for which they rule."""

import math

from covermap.propagation.compiling import kernel


@kernel
def inland_factor(longest_inland_km):
    """Return tau, 0 on a path without inland ground, towards 1 on a long one.

    Source: ITU-R P.1812-8, section 3.6. Accuracy: exact.
    """
    return 1.0 - math.exp(-4.12e-4 * longest_inland_km**2.41)


@kernel
def beta0_percent(latitude_deg, longest_land_km, longest_inland_km):
    """Return the share of time with strong refraction in the lowest 100 m, in percent.

    latitude_deg : of the middle of the path; its sign does not matter.

    Source: ITU-R P.1812-8, section 3.6. Accuracy: a fit, without stated error.
    """
    tau = inland_factor(longest_inland_km)
    land_part = 10.0 ** (-longest_land_km / (16.0 - 6.6 * tau))
    mu1 = min((land_part + 10.0 ** (-5.0 * (0.496 + 0.354 * tau))) ** 0.2, 1.0)
    latitude = abs(latitude_deg)
    if latitude > 70.0:
        return 4.17 * mu1 * 10.0 ** (0.3 * math.log10(mu1))
    mu4 = 10.0 ** ((-0.935 + 0.0176 * latitude) * math.log10(mu1))
    return 10.0 ** (-0.015 * latitude + 1.67) * mu1 * mu4


@kernel
def _site_shielding_db(theta_mrad, horizon_km, frequency_ghz):
    """Return the loss of one end's site shielding. Source: ITU-R P.1812-8, section 4.5."""
    above_mrad = theta_mrad - 0.1 * horizon_km
    if above_mrad <= 0.0:
        return 0.0
    bend = 1.0 + 0.361 * above_mrad * math.sqrt(frequency_ghz * horizon_km)
    return 20.0 * math.log10(bend) + 0.264 * above_mrad * frequency_ghz ** (1.0 / 3.0)


@kernel
def _coast_coupling_db(sea_fraction, coast_km, horizon_km, antenna_level_m):
    """Return the (negative) over-sea coupling of one end. Source: ITU-R P.1812-8, section 4.5."""
    # the same limits stand in sweep/terms.py (COAST_SEA_SHARE, COAST_COUNTS_KM)
    if sea_fraction < 0.75 or coast_km > horizon_km or coast_km > 5.0:
        return 0.0
    return -3.0 * math.exp(-0.25 * coast_km * coast_km) * (1.0 + math.tanh(0.07 * (50.0 - antenna_level_m)))


@kernel
def coupling_loss_db(
    tx_mrad, rx_mrad, dlt_km, dlr_km, tx_coast_km, rx_coast_km, levels_m, sea_fraction, frequency_ghz
):
    """Return Af, the fixed coupling loss between the antennas and the layer, in dB.

    levels_m : (transmitter, receiver) antenna above sea level. tx_coast_km, rx_coast_km : along the
    path from each end to the coast.

    Source: ITU-R P.1812-8, section 4.5. Accuracy: a fit, without stated error.
    """
    low_db = 0.0
    if frequency_ghz < 0.5:
        low_db = 45.375 - 137.0 * frequency_ghz + 92.5 * frequency_ghz * frequency_ghz
    shielding_db = _site_shielding_db(tx_mrad, dlt_km, frequency_ghz) + _site_shielding_db(
        rx_mrad, dlr_km, frequency_ghz
    )
    coast_db = _coast_coupling_db(sea_fraction, tx_coast_km, dlt_km, levels_m[0]) + _coast_coupling_db(
        sea_fraction, rx_coast_km, dlr_km, levels_m[1]
    )
    fixed_db = 102.45 + 20.0 * math.log10(frequency_ghz) + 20.0 * math.log10(dlt_km + dlr_km)
    return fixed_db + low_db + shielding_db + coast_db


@kernel
def corrected_beta_percent(
    beta0_pct,
    distance_km,
    longest_inland_km,
    effective_radius_km,
    tx_effective_m,
    rx_effective_m,
    hm_m,
    gap_km,
):
    """Return beta: beta0 corrected for path geometry (mu2) and roughness (mu3), in percent.

    tx_effective_m, rx_effective_m : antennas above the smooth surface. hm_m : roughness.
    gap_km : distance between the horizons (D - dlt - dlr).

    Source: ITU-R P.1812-8, section 4.5. Accuracy: a fit, without stated error.
    """
    alpha = max(-0.6 - 3.5e-9 * distance_km**3.1 * inland_factor(longest_inland_km), -3.4)
    roots = math.sqrt(tx_effective_m) + math.sqrt(rx_effective_m)
    mu2 = min((500.0 / effective_radius_km * distance_km * distance_km / (roots * roots)) ** alpha, 1.0)
    mu3 = 1.0
    if hm_m > 10.0:
        mu3 = math.exp(-4.6e-5 * (hm_m - 10.0) * (43.0 + 6.0 * min(gap_km, 40.0)))
    return beta0_pct * mu2 * mu3


@kernel
def time_variation_db(time_percent, beta_pct, distance_km):
    """Return A(p), the dependence on time percentage, in dB (negative below about beta).

    Source: ITU-R P.1812-8, section 4.5. Accuracy: a fit, without stated error.
    """
    log_beta = math.log10(beta_pct)
    decay = math.exp(-(9.51 - 4.8 * log_beta + 0.198 * log_beta * log_beta) * 1e-6 * distance_km**1.13)
    gamma = 1.076 / (2.0058 - log_beta) ** 1.012 * decay
    ratio = time_percent / beta_pct
    return -12.0 + (1.2 + 3.7e-3 * distance_km) * math.log10(ratio) + 12.0 * ratio**gamma


@kernel
def angular_distance_loss_db(
    tx_mrad, rx_mrad, dlt_km, dlr_km, distance_km, effective_radius_km, frequency_ghz
):
    """Return the loss by the angular distance within the layer, in dB.

    Source: ITU-R P.1812-8, section 4.5. Accuracy: a fit, without stated error.
    """
    angle_mrad = (
        1000.0 * distance_km / effective_radius_km + min(tx_mrad, 0.1 * dlt_km) + min(rx_mrad, 0.1 * dlr_km)
    )
    return 5e-5 * effective_radius_km * frequency_ghz ** (1.0 / 3.0) * angle_mrad
