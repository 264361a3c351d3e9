"""The reference attenuation of the irregular terrain model: sight, diffraction or scatter by distance."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.diffraction import diffraction_line
from covermap.propagation.itm.line_of_sight import line_of_sight_db
from covermap.propagation.itm.path import smooth_horizons_m
from covermap.propagation.itm.scatter import scatter_line

UNLIKELY_SCATTER_DB = 1000.0  # Hufford 1995: beyond it diffraction alone is used
LINE_OF_SIGHT, DIFFRACTION, SCATTER = 1, 2, 3


@kernel
def itm_free_space_db(length_m, frequency_mhz):
    """Return free-space loss between isotropic antennas, in dB.

    Source: ITU-R P.525, rounded as Hufford 1995 has it. Accuracy: 0.002 dB.
    """
    return 32.45 + 20.0 * math.log10(frequency_mhz) + 20.0 * math.log10(length_m / 1000.0)


@kernel
def beyond_sight_db(path, frequency_mhz, slope, start_db):
    """Return the reference loss beyond free space of a path beyond the horizons (dB) and its mode.

    slope, start_db : the diffraction line. Source: Hufford 1995, coefficients for the scatter range.
    Accuracy: exact as a formula.
    """
    scatter_at_db, scatter_at_m, scatter_slope = scatter_line(path, frequency_mhz)
    diffraction_db = slope * path.length_m + start_db
    if not scatter_at_db < UNLIKELY_SCATTER_DB:  # also NaN: not defined
        return diffraction_db, DIFFRACTION
    wave_m = (path.earth_radius_m * path.earth_radius_m / frequency_mhz) ** (1.0 / 3.0)
    horizons_m = path.tx_horizon_m + path.rx_horizon_m
    meet_m = (scatter_at_db - start_db - scatter_slope * scatter_at_m) / (slope - scatter_slope)
    change_m = max(smooth_horizons_m(path), horizons_m + 1.088 * wave_m * math.log(frequency_mhz), meet_m)
    if path.length_m <= change_m:
        return diffraction_db, DIFFRACTION
    return slope * change_m + start_db + scatter_slope * (path.length_m - change_m), SCATTER


@kernel
def reference_attenuation_db(path, frequency_mhz, impedance):
    """Return the median loss beyond free space (dB, 0 or more) and the mode.

    Modes: 1 line of sight, 2 diffraction, 3 scatter.
    path : an ItmPath; a NaN in it gives NaN. impedance : of ground_impedance, complex.
    Source: Hufford 1995, "The ITS Irregular Terrain Model, version 1.2.2: the Algorithm", reference
    attenuation. Accuracy: of the formulas 0.01 dB against the agency's own runs; of the model 8 to 12 dB
    at one place (from memory).
    """
    slope, start_db = diffraction_line(path, frequency_mhz, abs(impedance))
    # Sight here means within the smooth-earth horizons of the effective heights, whatever hills the profile
    # has.
    if path.length_m < smooth_horizons_m(path):
        loss_db = line_of_sight_db(path, frequency_mhz, impedance, slope, start_db)
        mode = LINE_OF_SIGHT
    else:
        loss_db, mode = beyond_sight_db(path, frequency_mhz, slope, start_db)
    if math.isnan(loss_db):
        return math.nan, mode
    return max(loss_db, 0.0), mode
