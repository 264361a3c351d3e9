"""How the sweep joins the parts of P.1812 into one loss for each item."""

import math

from covermap.propagation.inverse_normal import inverse_complementary_normal
from covermap.propagation.sweep.rows import (
    ANGLE_BLEND,
    BETA0_NORMAL,
    BETA0_PERCENT,
    DIFFRACTION_BETA0_DB,
    DIFFRACTION_MEDIAN_DB,
    DISTANCE_BLEND,
    DUCT_FREQUENCY_DB,
    FREE_SPACE_DB,
    LOG_BETA0_OVER_50,
    MULTIPATH_DB,
    SEA_SHARE,
    TROPOSCATTER_DB,
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

SOFT_MAXIMUM_DB = 2.5  # eta of ITU-R P.1812-8 section 4.6, equation (61)


@vector_kernel
def fill_time_interpolation(columns, items, time_percent, interpolation):
    """Write Fi of each item: 0 at 50 % of time, 1 up to beta0 %.

    Source: ITU-R P.1812-8, section 4.3 (Fi). Accuracy: rounding.
    """
    if time_percent >= 50.0:
        for i in range(columns):
            interpolation[i] = 0.0
        return
    normal = inverse_complementary_normal(time_percent * 0.01)
    for i in range(columns):
        between = normal / items[BETA0_NORMAL, i]
        interpolation[i] = between if time_percent > items[BETA0_PERCENT, i] else 1.0


@vector_kernel
def scatter_frequency_db(frequency_ghz, n0, time_percent):
    """Return the part of the troposcatter loss that depends on frequency, n0 and time percentage, in dB.

    Source: ITU-R P.1812-8, section 4.4. Accuracy: exact.
    """
    frequency_db = 25.0 * math.log10(frequency_ghz) - 2.5 * math.log10(0.5 * frequency_ghz) ** 2
    return frequency_db - 0.15 * n0 - 10.125 * math.log10(50.0 / time_percent) ** 0.7


@vector_kernel
def fill_loss(
    columns, items, terms, time_percent, interpolation, duct_time_db, frequency_db, scatter_db, loss_db
):
    """Write the basic transmission loss not exceeded for time_percent at half of the places, in dB.

    frequency_db : 20 log10 of the frequency in GHz. interpolation, duct_time_db : of this time percentage,
    shape (items,). Two logarithms and two powers an answer.

    Source: ITU-R P.1812-8, sections 4.2, 4.3 and 4.6, equations (60) to (64) and (69).
    Accuracy: rounding.
    """
    log_percent_over_50 = math.log10(time_percent / 50.0)
    for i in range(columns):
        fi = interpolation[i]
        free_space_db = terms[FREE_SPACE_DB, i] + frequency_db
        multipath_db = terms[MULTIPATH_DB, i]
        clear_db = free_space_db + multipath_db * log_percent_over_50
        median_db = terms[DIFFRACTION_MEDIAN_DB, i]
        diffracted_db = median_db + fi * (terms[DIFFRACTION_BETA0_DB, i] - median_db)
        lbd50 = free_space_db + median_db
        lbd = clear_db + diffracted_db
        over_land_db = (1.0 - items[SEA_SHARE, i]) * diffracted_db
        lba = duct_time_db[i] + terms[DUCT_FREQUENCY_DB, i]
        ratio = exp2(-abs(lba - clear_db) * (LOG2_OF_E / SOFT_MAXIMUM_DB))
        soft_db = max(lba, clear_db) + SOFT_MAXIMUM_DB * LN_OF_2 * log2_positive(1.0 + ratio)
        lbda = soft_db + (lbd - soft_db) * items[DISTANCE_BLEND, i] if soft_db <= lbd else lbd
        clear_beta0_db = free_space_db + multipath_db * items[LOG_BETA0_OVER_50, i]
        least_db = (
            lbd50 + (clear_beta0_db + over_land_db - lbd50) * fi
            if time_percent >= items[BETA0_PERCENT, i]
            else clear_db + over_land_db
        )
        lbam = lbda + (least_db - lbda) * terms[ANGLE_BLEND, i]
        lbs = terms[TROPOSCATTER_DB, i] + scatter_db
        shared = exp2(-0.2 * LOG2_OF_10 * abs(lbs - lbam))
        lbc = min(lbs, lbam) - 5.0 * LOG10_OF_2 * log2_positive(1.0 + shared)
        loss_db[i] = max(clear_db, lbc)
