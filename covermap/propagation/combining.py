"""How P.1812 joins free space, diffraction, ducting and troposcatter into one loss."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.inverse_normal import inverse_complementary_normal


@kernel
def time_interpolation(time_percent, beta0_pct):
    """Return Fi: 0 at 50 % of the time, 1 at beta0 % and below.

    Source: ITU-R P.1812-8, section 4.3.4. Accuracy: of inverse_complementary_normal.
    """
    if time_percent >= 50.0:
        return 0.0
    if time_percent <= beta0_pct:
        return 1.0
    return inverse_complementary_normal(time_percent / 100.0) / inverse_complementary_normal(
        beta0_pct / 100.0
    )


@kernel
def multipath_db(dlt_km, dlr_km, percent):
    """Return the (negative) correction for multipath and focusing at percent of the time, in dB.

    Source: ITU-R P.1812-8, section 4.2. Accuracy: a fit, without stated error.
    """
    return 2.6 * (1.0 - math.exp(-0.1 * (dlt_km + dlr_km))) * math.log10(percent / 50.0)


@kernel
def angle_blend(theta_mrad):
    """Return Fj: near 1 below 0.3 mrad of angular distance, near 0 above.

    Source: ITU-R P.1812-8, section 4.6. Accuracy: exact.
    """
    return 1.0 - 0.5 * (1.0 + math.tanh(3.0 * 0.8 * (theta_mrad - 0.3) / 0.3))


@kernel
def distance_blend(distance_km):
    """Return Fk: near 1 on short paths, near 0 well beyond 20 km.

    Source: ITU-R P.1812-8, section 4.6. Accuracy: exact.
    """
    return 1.0 - 0.5 * (1.0 + math.tanh(3.0 * 0.5 * (distance_km - 20.0) / 20.0))


@kernel
def least_line_of_sight_db(
    no_diffraction_db, no_diffraction_beta_db, diffracted_50_db, over_land_db, fi, below
):
    """Return Lminb0p, the notional least loss of line of sight and over-sea diffraction, in dB.

    no_diffraction_db, no_diffraction_beta_db : Lb0p and Lb0beta. diffracted_50_db : Lbd50.
    over_land_db : (1 - omega) Ldp. below : the time percentage is under beta0.

    Source: ITU-R P.1812-8, section 4.6. Accuracy: exact.
    """
    if below:
        return no_diffraction_db + over_land_db
    return diffracted_50_db + (no_diffraction_beta_db + over_land_db - diffracted_50_db) * fi


@kernel
def soft_maximum_db(ducting_db, no_diffraction_db):
    """Return Lminbap: 2.5 ln(exp(Lba/2.5) + exp(Lb0p/2.5)), in dB, without overflow.

    Source: ITU-R P.1812-8, section 4.6. Accuracy: exact.
    """
    larger_db = max(ducting_db, no_diffraction_db)
    return larger_db + 2.5 * math.log(
        math.exp((ducting_db - larger_db) / 2.5) + math.exp((no_diffraction_db - larger_db) / 2.5)
    )


@kernel
def duct_or_diffraction_db(soft_maximum, diffracted_db, fk):
    """Return Lbda, in dB. Source: ITU-R P.1812-8, section 4.6. Accuracy: exact."""
    if soft_maximum > diffracted_db:
        return diffracted_db
    return soft_maximum + (diffracted_db - soft_maximum) * fk


@kernel
def power_sum_loss_db(first_db, second_db):
    """Return -5 log(10^(-0.2 a) + 10^(-0.2 b)), in dB, without underflow.

    Source: ITU-R P.1812-8, section 4.6 (Lbc). Accuracy: exact.
    """
    smaller_db = min(first_db, second_db)
    return smaller_db - 5.0 * math.log10(
        10.0 ** (-0.2 * (first_db - smaller_db)) + 10.0 ** (-0.2 * (second_db - smaller_db))
    )
