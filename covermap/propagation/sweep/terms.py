"""Terms of the sweep beside diffraction: free space, multipath, troposcatter and ducting.

Loops over items without branches and with polynomials for log and exp, so that LLVM vectorises them.
Written with log2 and exp2 throughout: log10(x) = LOG10_OF_2 log2(x), exp(x) = exp2(LOG2_OF_E x).
"""

import math

from covermap.propagation.sweep.rows import (
    ANGLE_BLEND,
    BETA0_NORMAL,
    BETA0_PERCENT,
    DISTANCE_BLEND,
    DISTANCE_DB,
    DISTANCE_KM,
    DISTANCE_POWER_1_13,
    DISTANCE_POWER_3_1,
    DUCT_DB,
    DUCT_FREQUENCY_DB,
    FALL_M,
    FREE_SPACE_DB,
    GAMMA,
    INLAND_FACTOR,
    INLAND_KM,
    LAND_KM,
    LOG_BETA,
    LOG_BETA0_OVER_50,
    MID_LATITUDE_DEG,
    MULTIPATH_DB,
    ROUGHNESS_M,
    RX_COAST_KM,
    RX_EFFECTIVE_M,
    RX_HORIZON_KM,
    RX_MRAD,
    SEA_SHARE,
    THETA_MRAD,
    TROPOSCATTER_DB,
    TX_EFFECTIVE_M,
    TX_HORIZON_KM,
    TX_MRAD,
)
from covermap.propagation.vector_math import (
    LN_OF_2,
    LOG2_OF_10,
    LOG2_OF_E,
    LOG10_OF_2,
    exp2,
    log2_positive,
    vector_kernel,
)

LOG2_OF_4_17 = math.log2(4.17)  # ITU-R P.1812-8 section 3.6, equation (4): beyond 70 degrees of latitude
LOG2_OF_50 = math.log2(50.0)
LOG2_OF_100 = math.log2(100.0)
COAST_COUNTS_KM = 5.0  # ITU-R P.1812-8 section 4.5, equation (49)
COAST_SEA_SHARE = 0.75  # the same


@vector_kernel
def fill_beta0(columns, items):
    """Write tau, beta0 and the normal variable that beta0 belongs to, for each item.

    Source: ITU-R P.1812-8, section 3.6, equations (2) to (4); Attachment 2, equation (97).
    Accuracy: rounding (1e-13 relative).
    """
    for i in range(columns):
        inland_power = exp2(2.41 * log2_positive(max(items[INLAND_KM, i], 1e-9)))  # log2 wants more than 0
        items[INLAND_FACTOR, i] = 1.0 - exp2(-4.12e-4 * LOG2_OF_E * inland_power)
    for i in range(columns):
        tau = items[INLAND_FACTOR, i]
        land_part = exp2(-LOG2_OF_10 * items[LAND_KM, i] / (16.0 - 6.6 * tau))
        inland_part = exp2(-5.0 * LOG2_OF_10 * (0.496 + 0.354 * tau))
        # mu1 is at most 1: 0 for its logarithm
        log2_mu1 = min(0.2 * log2_positive(land_part + inland_part), 0.0)
        latitude = abs(items[MID_LATITUDE_DEG, i])
        low = latitude <= 70.0
        log2_scale = LOG2_OF_10 * (1.67 - 0.015 * latitude) if low else LOG2_OF_4_17
        mu4_exponent = 0.0176 * latitude - 0.935 if low else 0.3
        beta0 = exp2(log2_scale + log2_mu1 * (1.0 + mu4_exponent))
        log2_beta0 = log2_positive(beta0)
        items[BETA0_PERCENT, i] = beta0
        items[LOG_BETA0_OVER_50, i] = LOG10_OF_2 * (log2_beta0 - LOG2_OF_50)
        # beta0 is at most 10^1.67 = 46.8 %, so the lower half of the approximation (inverse_normal.py) is
        # enough.
        t = math.sqrt(-2.0 * LN_OF_2 * (log2_beta0 - LOG2_OF_100))
        numerator = (0.010328 * t + 0.802853) * t + 2.515516698
        denominator = ((0.001308 * t + 0.189269) * t + 1.432788) * t + 1.0
        items[BETA0_NORMAL, i] = t - numerator / denominator


@vector_kernel
def fill_distance_terms(columns, items):
    """Write what depends on the distance alone: Fk, 20 log d, d^3.1 and 1e-6 d^1.13.

    Source: ITU-R P.1812-8, sections 4.4 to 4.6, equation (59) with 1 - (1 + tanh z)/2 = 1/(1 + exp 2z).
    Accuracy: rounding (1e-13 relative).
    """
    for i in range(columns):
        distance_km = items[DISTANCE_KM, i]
        log2_distance = log2_positive(distance_km)
        items[DISTANCE_BLEND, i] = 1.0 / (1.0 + exp2((distance_km - 20.0) * (0.15 * LOG2_OF_E)))
        items[DISTANCE_DB, i] = 20.0 * LOG10_OF_2 * log2_distance
        items[DISTANCE_POWER_3_1, i] = exp2(3.1 * log2_distance)
        items[DISTANCE_POWER_1_13, i] = 1e-6 * exp2(1.13 * log2_distance)


@vector_kernel
def fill_ray_terms(columns, items, ray, terms):
    """Write free space at 1 GHz, multipath, Fj and troposcatter for each item at one height.

    Source: ITU-R P.1812-8, sections 4.2, 4.4 and 4.6, equation (58).
    Accuracy: rounding.
    """
    for i in range(columns):
        distance_km = items[DISTANCE_KM, i]
        fall_km = ray[FALL_M, i] * 0.001
        theta_mrad = ray[THETA_MRAD, i]
        horizons_km = ray[TX_HORIZON_KM, i] + ray[RX_HORIZON_KM, i]
        squared_km = distance_km * distance_km + fall_km * fall_km
        terms[FREE_SPACE_DB, i] = 92.4 + 10.0 * LOG10_OF_2 * log2_positive(squared_km)
        terms[MULTIPATH_DB, i] = 2.6 * (1.0 - exp2(-0.1 * LOG2_OF_E * horizons_km))
        terms[ANGLE_BLEND, i] = 1.0 / (1.0 + exp2(16.0 * LOG2_OF_E * (theta_mrad - 0.3)))
        terms[TROPOSCATTER_DB, i] = 190.1 + items[DISTANCE_DB, i] + 0.573 * theta_mrad


@vector_kernel
def fill_duct_terms(columns, items, ray, effective_radius_km, terms):
    """Write log10 of beta, the exponent of A(p), and the coupling without frequency, at one height.

    Source: ITU-R P.1812-8, section 4.5. Accuracy: rounding.
    """
    for i in range(columns):
        distance_km = items[DISTANCE_KM, i]
        horizons_km = ray[TX_HORIZON_KM, i] + ray[RX_HORIZON_KM, i]
        roots = math.sqrt(ray[TX_EFFECTIVE_M, i]) + math.sqrt(ray[RX_EFFECTIVE_M, i])
        alpha = max(-0.6 - 3.5e-9 * items[DISTANCE_POWER_3_1, i] * items[INLAND_FACTOR, i], -3.4)
        curved = 500.0 / effective_radius_km * distance_km * distance_km / (roots * roots)
        log2_mu2 = min(alpha * log2_positive(curved), 0.0)
        gap_km = min(distance_km - horizons_km, 40.0)
        log2_mu3 = -4.6e-5 * LOG2_OF_E * max(ray[ROUGHNESS_M, i] - 10.0, 0.0) * (43.0 + 6.0 * gap_km)
        log_beta = LOG10_OF_2 * (log2_positive(items[BETA0_PERCENT, i]) + log2_mu2 + log2_mu3)
        fade = (9.51 - 4.8 * log_beta + 0.198 * log_beta * log_beta) * items[DISTANCE_POWER_1_13, i]
        terms[LOG_BETA, i] = log_beta
        terms[GAMMA, i] = 1.076 * exp2(-1.012 * log2_positive(2.0058 - log_beta) - LOG2_OF_E * fade)
        terms[DUCT_DB, i] = 102.45 + 20.0 * LOG10_OF_2 * log2_positive(horizons_km)


@vector_kernel
def _coast_db(coast_km, horizon_km, level_m):
    """Return the coupling of one end over the sea, 0 or negative.

    Source: ITU-R P.1812-8, section 4.5, equation (49). Accuracy: exact.
    """
    if coast_km > horizon_km or coast_km > COAST_COUNTS_KM:
        return 0.0
    return -3.0 * math.exp(-0.25 * coast_km * coast_km) * (1.0 + math.tanh(0.07 * (50.0 - level_m)))


@vector_kernel
def add_coast_coupling(count, items, ray, tx_level_m, tx_coast_km, terms):
    """Add the coupling over the sea near either end to the ducting of paths three quarters at sea.

    Source: ITU-R P.1812-8, section 4.5, equation (49). Accuracy: exact.
    """
    for i in range(count):
        if items[SEA_SHARE, i] >= COAST_SEA_SHARE:
            rx_level_m = tx_level_m - ray[FALL_M, i]
            terms[DUCT_DB, i] += _coast_db(tx_coast_km, ray[TX_HORIZON_KM, i], tx_level_m) + _coast_db(
                items[RX_COAST_KM, i], ray[RX_HORIZON_KM, i], rx_level_m
            )


@vector_kernel
def fill_duct_time(columns, items, terms, log_percent, duct_time_db):
    """Write the coupling without frequency plus A(p) for one time percentage, log_percent = log10(p).

    Source: ITU-R P.1812-8, section 4.5, equation (53). Accuracy: rounding.
    """
    for i in range(columns):
        log_ratio = log_percent - terms[LOG_BETA, i]
        slope = 1.2 + 3.7e-3 * items[DISTANCE_KM, i]
        rise = 12.0 * exp2(terms[GAMMA, i] * LOG2_OF_10 * log_ratio)
        duct_time_db[i] = terms[DUCT_DB, i] - 12.0 + slope * log_ratio + rise


@vector_kernel
def fill_duct_frequency(columns, ray, frequency_ghz, effective_radius_km, terms):
    """Write the part of ducting that depends on frequency: coupling, site shielding, angular distance.

    Source: ITU-R P.1812-8, section 4.5. Accuracy: rounding.
    """
    root = math.sqrt(frequency_ghz)
    cube_root = frequency_ghz ** (1.0 / 3.0)
    common_db = 20.0 * math.log10(frequency_ghz)
    if frequency_ghz < 0.5:
        common_db += 45.375 - 137.0 * frequency_ghz + 92.5 * frequency_ghz * frequency_ghz
    per_mrad = 5e-5 * effective_radius_km * cube_root
    for i in range(columns):
        tx_km = ray[TX_HORIZON_KM, i]
        rx_km = ray[RX_HORIZON_KM, i]
        tx_mrad = max(ray[TX_MRAD, i] - 0.1 * tx_km, 0.0)
        rx_mrad = max(ray[RX_MRAD, i] - 0.1 * rx_km, 0.0)
        bend = (1.0 + 0.361 * root * tx_mrad * math.sqrt(tx_km)) * (
            1.0 + 0.361 * root * rx_mrad * math.sqrt(rx_km)
        )
        shielding_db = 20.0 * LOG10_OF_2 * log2_positive(bend) + 0.264 * cube_root * (tx_mrad + rx_mrad)
        # min(theta, 0.1 d) of the formula is theta less the part above 0.1 d, which is at hand.
        angular_db = per_mrad * (ray[THETA_MRAD, i] - tx_mrad - rx_mrad)
        terms[DUCT_FREQUENCY_DB, i] = common_db + shielding_db + angular_db
