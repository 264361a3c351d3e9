"""Diffraction over a profile: knife edge, Bullington's construction and delta-Bullington."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.propagation.compiling import kernel
from covermap.propagation.spherical_earth import spherical_earth_loss_db

NO_EDGE = -1e30  # stands for minus infinity where a maximum over no points is asked for


@kernel
def knife_edge_loss_db(nu):
    """Return the diffraction loss over one knife edge, in dB.

    nu : Fresnel-Kirchhoff parameter, dimensionless, positive when the edge
        stands above the line of sight. Loss is 0 dB up to nu = -0.78; NaN gives NaN.

    Source: ITU-R P.526-16, section 4.1 (approximation for nu > -0.78).
    Accuracy: within 0.13 dB of the exact Fresnel integrals up to nu = 20.
    """
    if nu <= -0.78:
        return 0.0
    shifted = nu - 0.1
    return 6.9 + 20.0 * math.log10(math.sqrt(shifted * shifted + 1.0) + shifted)


@kernel
def _fill_knife_edge_loss(nu, loss_db):
    """Write the loss of each nu into loss_db, both shape (n,)."""
    for i in range(nu.shape[0]):
        loss_db[i] = knife_edge_loss_db(nu[i])


@kernel
def fresnel_parameter(height_m, distance_1_km, distance_2_km, wavelength_m):
    """Return nu of an edge height_m above the straight line between two points (negative: below).

    distance_1_km, distance_2_km : from the edge to either point, above 0; 0 gives NaN or infinity.

    Source: ITU-R P.526-16, section 4.1; ITU-R P.1812-8, section 4.3.1.
    Accuracy: exact for an edge far lower than it is distant.
    """
    total_km = distance_1_km + distance_2_km
    return height_m * math.sqrt(0.002 * total_km / (wavelength_m * distance_1_km * distance_2_km))


@kernel
def line_height_m(distance_km, total_km, tx_level_m, rx_level_m):
    """Return the height of the straight line between the antennas at distance_km, in m above sea level.

    Source: geometry; as in ITU-R P.1812-8, section 4.3.1. Accuracy: exact.
    """
    return (tx_level_m * (total_km - distance_km) + rx_level_m * distance_km) / total_km


@kernel
def largest_nu(distance_km, surface_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m):
    """Return (largest nu, its index) over the points between the ends of a profile.

    Arguments as bullington_nu. Without a point between the ends: (-1e30, 1).

    Source: ITU-R P.1812-8, section 4.3.1 and Attachment 1 to Annex 1, section 5.3. Accuracy: exact.
    """
    last = distance_km.shape[0] - 1
    total_km = distance_km[last]
    largest = NO_EDGE
    best = 1
    for i in range(1, last):
        before_km = distance_km[i]
        after_km = total_km - before_km
        bulged_m = surface_m[i] + 500.0 / effective_radius_km * before_km * after_km
        above_m = bulged_m - line_height_m(before_km, total_km, tx_level_m, rx_level_m)
        nu = fresnel_parameter(above_m, before_km, after_km, wavelength_m)
        if nu > largest:
            largest = nu
            best = i
    return largest, best


@kernel
def bullington_nu(distance_km, surface_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m):
    """Return nu of Bullington's single edge for a profile.

    distance_km : rising from 0, shape (n,). surface_m : what stands there (its ends are not used),
        m above sea level. tx_level_m, rx_level_m : antennas above sea level.
    Without a point between the ends nu is -1e30.

    Source: ITU-R P.1812-8, section 4.3.1 (equal to ITU-R P.526-16, section 4.5.1).
    Accuracy: the construction is exact; a real profile can differ by many dB.
    """
    last = distance_km.shape[0] - 1
    total_km = distance_km[last]
    curvature = 500.0 / effective_radius_km
    tx_slope = NO_EDGE
    rx_slope = NO_EDGE
    for i in range(1, last):
        after_km = total_km - distance_km[i]
        bulged_m = surface_m[i] + curvature * distance_km[i] * after_km
        tx_slope = max(tx_slope, (bulged_m - tx_level_m) / distance_km[i])
        rx_slope = max(rx_slope, (bulged_m - rx_level_m) / after_km)
    # In sight the horizon rays do not cross over an obstacle: the edge is the point that comes closest to
    # blocking.
    if tx_slope < (rx_level_m - tx_level_m) / total_km:
        return largest_nu(distance_km, surface_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m)[
            0
        ]
    crossing_km = (rx_level_m - tx_level_m + rx_slope * total_km) / (tx_slope + rx_slope)
    above_m = (
        tx_level_m + tx_slope * crossing_km - line_height_m(crossing_km, total_km, tx_level_m, rx_level_m)
    )
    return fresnel_parameter(above_m, crossing_km, total_km - crossing_km, wavelength_m)


@kernel
def bullington_loss_db(distance_km, surface_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m):
    """Return Bullington's loss of a profile with the correction for path length, in dB.

    Arguments as bullington_nu.

    Source: ITU-R P.1812-8, section 4.3.1: Luc + (1 - exp(-Luc/6)) (10 + 0.02 d).
    Accuracy: the formula is exact; one clean edge comes out up to 10 dB above knife_edge_loss_db.
    """
    nu = bullington_nu(distance_km, surface_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m)
    edge_db = knife_edge_loss_db(nu)
    total_km = distance_km[distance_km.shape[0] - 1]
    return edge_db + (1.0 - math.exp(-edge_db / 6.0)) * (10.0 + 0.02 * total_km)


@kernel
def delta_bullington_db(
    distance_km,
    surface_m,
    levels_m,
    smooth_heights_m,
    effective_radius_km,
    frequency_ghz,
    wavelength_m,
    vertical,
    sea_fraction,
):
    """Return (loss, Bullington of the profile, Bullington of the smooth path, spherical earth), all dB.

    surface_m : ground with clutter, m above sea level. levels_m : (transmitter, receiver) antenna
        above sea level. smooth_heights_m : the same antennas above the smooth surface fitted for
        diffraction. vertical : polarization. sea_fraction : 0 to 1.
    wavelength_m : P.1812 takes 0.2998/f(GHz), the published P.526 examples 0.3/f(GHz).

    Source: ITU-R P.1812-8, section 4.3.3 (equal to ITU-R P.526-16, section 4.5.3).
    Accuracy: of the formulas, 1e-7 dB against the published P.1812 values.
    """
    profile_db = bullington_loss_db(
        distance_km, surface_m, levels_m[0], levels_m[1], effective_radius_km, wavelength_m
    )
    smooth_db = bullington_loss_db(
        distance_km,
        # The profile's own points with all heights 0, as section 4.3.3 has it: on a true sphere the edge
        # would stand elsewhere, and the sweep, which looks at the same points, would differ.
        np.zeros(distance_km.shape[0]),
        smooth_heights_m[0],
        smooth_heights_m[1],
        effective_radius_km,
        wavelength_m,
    )
    spherical_db = spherical_earth_loss_db(
        distance_km[distance_km.shape[0] - 1],
        smooth_heights_m[0],
        smooth_heights_m[1],
        effective_radius_km,
        frequency_ghz,
        wavelength_m,
        vertical,
        sea_fraction,
    )
    # Not a knife edge's loss plus something: over one clean edge the path-length correction alone adds some
    # 10 dB (600 MHz, 60 m over 30 + 5 km: 28.5 dB, the edge 18.3), so this is no test of knife_edge_loss_db.
    return profile_db + max(spherical_db - smooth_db, 0.0), profile_db, smooth_db, spherical_db


def knife_edge_loss(nu: ArrayLike) -> float | NDArray[np.float64]:
    """Diffraction loss over one knife edge.

    Parameters
    ----------
    nu : float or array_like of any shape
        Fresnel-Kirchhoff parameter, dimensionless, positive when the edge stands above the line
        of sight; NaN gives NaN.

    Returns
    -------
    float, or ndarray of float64 in the shape of nu
        Loss, 0 up to nu = -0.78. [dB]

    Raises
    ------
    InputError
        If nu is not a number.

    References
    ----------
    ITU-R P.526-16, section 4.1.
    """
    try:
        values = np.asarray(nu, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"nu must be a number or an array of numbers, got {nu!r}.") from error
    flat = np.ascontiguousarray(values).reshape(-1)
    loss_db = np.empty(flat.shape)
    _fill_knife_edge_loss(flat, loss_db)
    return float(loss_db[0]) if values.ndim == 0 else loss_db.reshape(values.shape)
