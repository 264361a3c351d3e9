"""Path-specific loss by ITU-R P.1812-8: the kernel that joins its parts."""

import math

from covermap.propagation.anomalous import (
    angular_distance_loss_db,
    beta0_percent,
    corrected_beta_percent,
    coupling_loss_db,
    time_variation_db,
)
from covermap.propagation.combining import (
    angle_blend,
    distance_blend,
    duct_or_diffraction_db,
    least_line_of_sight_db,
    multipath_db,
    power_sum_loss_db,
    soft_maximum_db,
    time_interpolation,
)
from covermap.propagation.compiling import kernel
from covermap.propagation.diffraction import delta_bullington_db
from covermap.propagation.free_space import field_from_loss_dbuvm, free_space_loss_db
from covermap.propagation.path_geometry import (
    BETA0_RADIUS_KM,
    diffraction_surface_ends_m,
    fitted_surface_ends_m,
    horizons,
    land_and_sea,
    median_radius_km,
    roughness_m,
)
from covermap.propagation.terms import TERM_COUNT
from covermap.propagation.troposcatter import troposcatter_loss_db

P1812_WAVELENGTH_M_GHZ = (
    0.2998  # ITU-R P.1812-8: wavelength 0.2998/f(GHz); its check values need all four digits
)


@kernel
def profile_surface_m(ground_m, clutter_m):
    """Return ground plus clutter, the two ends bare. NaN stays NaN.

    Source: ITU-R P.1812-8, section 3.2.1 (representative clutter height). Accuracy: exact.
    """
    surface_m = ground_m + clutter_m
    surface_m[0] = ground_m[0]
    surface_m[-1] = ground_m[-1]
    return surface_m


@kernel
def p1812_path(
    distance_km,
    ground_m,
    clutter_m,
    zone,
    tx_height_m,
    rx_height_m,
    frequency_ghz,
    time_percent,
    vertical,
    dn,
    n0,
    mid_latitude_deg,
    tx_coast_km,
    rx_coast_km,
    terms,
):
    """Return the basic transmission loss not exceeded for time_percent at half of the places, in dB.

    distance_km : from the transmitter, from 0 rising, float64, shape (n,), n >= 2.
    ground_m : above sea level; clutter_m : height of what stands on it, not used at the ends;
        zone : uint8, 1 sea, 3 coastal land, 4 inland. Same shape. A NaN in any gives NaN.
    tx_height_m, rx_height_m : antennas above ground, above 0.
    time_percent : 1 to 50. vertical : polarization. dn : positive, N-units/km. n0 : N-units.
    mid_latitude_deg : of the middle of the path. tx_coast_km, rx_coast_km : from each end to the coast.
    terms : float64, shape (TERM_COUNT,), filled with the intermediate values in the order of
        TERM_NAMES (all NaN when the answer is).

    Source: ITU-R P.1812-8, Annex 1, sections 3 and 4.1 to 4.6.
    Accuracy: of the formulas, 1e-6 dB against the published validation cases; of the model, 6 to
        10 dB at one place.
    """
    surface_m = profile_surface_m(ground_m, clutter_m)
    # One sum finds a NaN anywhere; a kernel must not raise, and half a path has no loss.
    if math.isnan(surface_m.sum()):
        terms[:] = math.nan
        return math.nan
    last = distance_km.shape[0] - 1
    total_km = distance_km[last]
    wavelength_m = P1812_WAVELENGTH_M_GHZ / frequency_ghz
    ae_km = median_radius_km(dn)
    levels_m = (ground_m[0] + tx_height_m, ground_m[last] + rx_height_m)
    dtm_km, dlm_km, omega = land_and_sea(distance_km, zone)
    beta0 = beta0_percent(mid_latitude_deg, dtm_km, dlm_km)

    # From here on bare ground: horizons, fitted surfaces and roughness do not see clutter. Only the two calls
    # of delta_bullington_db below take the surface with clutter on it.
    theta_t, theta_r, tx_point, rx_point = horizons(
        distance_km, ground_m, levels_m[0], levels_m[1], ae_km, wavelength_m
    )
    theta = 1000.0 * total_km / ae_km + theta_t + theta_r
    dlt_km = distance_km[tx_point]
    dlr_km = total_km - distance_km[rx_point]

    tx_fit_m, rx_fit_m = fitted_surface_ends_m(distance_km, ground_m)
    hstd_m, hsrd_m = diffraction_surface_ends_m(
        distance_km, ground_m, levels_m[0], levels_m[1], tx_fit_m, rx_fit_m
    )
    hst_m = min(tx_fit_m, ground_m[0])
    hsr_m = min(rx_fit_m, ground_m[last])
    hte_m = levels_m[0] - hst_m
    hre_m = levels_m[1] - hsr_m
    hm_m = roughness_m(distance_km, ground_m, hst_m, hsr_m, tx_point, rx_point)
    smooth_m = (levels_m[0] - hstd_m, levels_m[1] - hsrd_m)

    lbfs = free_space_loss_db(total_km, levels_m[0], levels_m[1], frequency_ghz)
    lb0p = lbfs + multipath_db(dlt_km, dlr_km, time_percent)
    lb0beta = lbfs + multipath_db(dlt_km, dlr_km, beta0)

    ld50, _, _, _ = delta_bullington_db(
        distance_km, surface_m, levels_m, smooth_m, ae_km, frequency_ghz, wavelength_m, vertical, omega
    )
    # The same path on the earth of strong refraction, three radii of the real one: Ldp lies between the two
    # by Fi.
    ldbeta, lbulla, lbulls, ldsph = delta_bullington_db(
        distance_km,
        surface_m,
        levels_m,
        smooth_m,
        BETA0_RADIUS_KM,
        frequency_ghz,
        wavelength_m,
        vertical,
        omega,
    )
    fi = time_interpolation(time_percent, beta0)
    ldp = ld50 + fi * (ldbeta - ld50)
    lbd50 = lbfs + ld50
    lbd = lb0p + ldp

    lbs = troposcatter_loss_db(total_km, theta, frequency_ghz, n0, time_percent)

    beta = corrected_beta_percent(
        beta0, total_km, dlm_km, ae_km, hte_m, hre_m, hm_m, total_km - dlt_km - dlr_km
    )
    lba = (
        coupling_loss_db(
            theta_t, theta_r, dlt_km, dlr_km, tx_coast_km, rx_coast_km, levels_m, omega, frequency_ghz
        )
        + angular_distance_loss_db(theta_t, theta_r, dlt_km, dlr_km, total_km, ae_km, frequency_ghz)
        + time_variation_db(time_percent, beta, total_km)
    )

    fj = angle_blend(theta)
    fk = distance_blend(total_km)
    lminb0p = least_line_of_sight_db(lb0p, lb0beta, lbd50, (1.0 - omega) * ldp, fi, time_percent < beta0)
    lminbap = soft_maximum_db(lba, lb0p)
    lbda = duct_or_diffraction_db(lminbap, lbd, fk)
    lbam = lbda + (lminb0p - lbda) * fj
    lbc = power_sum_loss_db(lbs, lbam)
    lb = max(lb0p, lbc)

    # In the order of TERM_NAMES. htc and hrc repeat hts and hrs: the ends of the surface are bare, so the
    # antenna above clutter at its own foot is the antenna above ground.
    values = (
        total_km, dlt_km, dlr_km, theta_t, theta_r, theta, levels_m[0], levels_m[1], levels_m[0], levels_m[1],
        omega, dtm_km, dlm_km, mid_latitude_deg, beta0, ae_km, tx_fit_m, rx_fit_m, hst_m, hsr_m,
        hstd_m, hsrd_m, smooth_m[0], smooth_m[1], hte_m, hre_m, hm_m, fi, fj, fk,
        lbfs, lb0p, lb0beta, lbulla, lbulls, ldsph, ld50, ldbeta, ldp, lbd50,
        lbd, lminb0p, lba, lminbap, lbda, lbam, lbs, lbc, lb, field_from_loss_dbuvm(lb, 0.0, frequency_ghz),
    )  # fmt: skip
    for i in range(TERM_COUNT):
        terms[i] = values[i]
    return lb
