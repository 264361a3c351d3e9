"""Delta-Bullington diffraction of all items of one height at one frequency and Earth radius."""

import math

import numpy as np

from covermap.propagation.spherical_earth import LAND, SEA
from covermap.propagation.sweep.rows import (
    DISTANCE_KM,
    EARTH_CLEARANCE_M,
    EARTH_DISTANCE_KM,
    EARTH_NEEDED_M,
    EARTH_NU,
    EARTH_RADIUS_ROOT,
    EARTH_RX_M,
    EARTH_SEA_SHARE,
    EARTH_TX_M,
    whole_blocks,
)
from covermap.propagation.vector_math import (
    LOG2_OF_E,
    LOG10_OF_2,
    exp2,
    log2_positive,
    vector_formula,
    vector_kernel,
)

TENTH_DECADE = 10.0**0.1  # the floor of the height gain, 2 + 20 log K, as a factor on K


@vector_formula
def bullington_loss_db(nu, distance_km):
    """Return the loss of Bullington's edge with the correction for path length, in dB.

    Source: ITU-R P.1812-8, section 4.3, equations (12) to (21). Accuracy: rounding.
    """
    shifted = nu - 0.1
    edge_db = 6.9 + 20.0 * LOG10_OF_2 * log2_positive(math.sqrt(shifted * shifted + 1.0) + shifted)
    edge_db = edge_db if nu > -0.78 else 0.0
    return edge_db + (1.0 - exp2(edge_db * (-LOG2_OF_E / 6.0))) * (10.0 + 0.02 * distance_km)


@vector_kernel
def surface_admittance(ground, frequency_ghz, vertical):
    """Return the normalised admittance K of the ground times the cube root of the Earth radius in km.

    ground : (relative permittivity, conductivity S/m).

    Source: ITU-R P.1812-8, section 4.3, equations (29) to (36). Accuracy: exact.
    """
    permittivity, conductivity = ground
    loss = (18.0 * conductivity / frequency_ghz) ** 2
    admittance = 0.036 * frequency_ghz ** (-1.0 / 3.0) * ((permittivity - 1.0) ** 2 + loss) ** -0.25
    return admittance * math.sqrt(permittivity * permittivity + loss) if vertical else admittance


@vector_formula
def _height_gain(b, floor):
    """Return (q, r) with the height gain -G = 5 log10(q) + r dB, for K up to 2.

    b : normalised height. floor : K 10^0.1. The floor of G is compared before the logarithm is taken; it
    cannot bite above b = 2 unless K is above 2.

    Source: ITU-R P.1812-8, section 4.3, equations (29) to (36). Accuracy: exact.
    """
    high = b > 2.0
    root = math.sqrt(b - 1.1 if high else 1.0)
    gain = max(b + 0.1 * b * b * b, floor)
    squared = gain * gain
    q = b - 1.1 if high else 1.0 / (squared * squared)
    return q, 8.0 - 17.6 * root if high else 0.0


@vector_formula
def first_term_db(distance_km, tx_m, rx_m, radius_root, scaled_admittance, cube_root):
    """Return the first-term loss of a smooth earth over one ground; distance and height gains in one log.

    radius_root : radius in km to the power -1/3. scaled_admittance : of surface_admittance. cube_root : of
    the frequency in GHz. May be negative near line of sight.

    Source: ITU-R P.1812-8, section 4.3, equations (29) to (36), for K up to 2. Accuracy: rounding.
    """
    k = scaled_admittance * radius_root
    k2 = k * k
    k4 = k2 * k2
    beta = (1.0 + 1.6 * k2 + 0.67 * k4) / (1.0 + 4.5 * k2 + 1.53 * k4)
    x = 21.88 * beta * cube_root * radius_root * radius_root * distance_km
    # beta stands in Y and again in B = beta Y
    b_per_m = 0.9575 * beta * beta * cube_root * cube_root * radius_root
    far = x >= 1.6
    x2 = x * x
    distance_q = 1.0 / x2 if far else x2 * x2
    distance_db = 17.6 * x - 11.0 if far else 5.6488 * exp2(1.425 * log2_positive(x))
    tx_q, tx_db = _height_gain(b_per_m * tx_m, k * TENTH_DECADE)
    rx_q, rx_db = _height_gain(b_per_m * rx_m, k * TENTH_DECADE)
    return 5.0 * LOG10_OF_2 * log2_positive(distance_q * tx_q * rx_q) + (distance_db + tx_db + rx_db)


@vector_kernel
def _height_gain_high_admittance_db(b, k):
    """Return G where the floor 2 + 20 log K can also count above b = 2. Source: as _height_gain."""
    if b > 2.0:
        gain_db = 17.6 * math.sqrt(b - 1.1) - 5.0 * math.log10(b - 1.1) - 8.0
    else:
        gain_db = 20.0 * math.log10(b + 0.1 * b * b * b)
    return max(gain_db, 2.0 + 20.0 * math.log10(k))


@vector_kernel
def first_term_high_admittance_db(distance_km, tx_m, rx_m, radius_root, scaled_admittance, cube_root):
    """Return what first_term_db does, for any K; scalar, for the few items with K above 2.

    Source: ITU-R P.1812-8, section 4.3, equations (29) to (36). Accuracy: exact.
    """
    k = scaled_admittance * radius_root
    k2 = k * k
    beta = (1.0 + 1.6 * k2 + 0.67 * k2 * k2) / (1.0 + 4.5 * k2 + 1.53 * k2 * k2)
    x = 21.88 * beta * cube_root * radius_root * radius_root * distance_km
    b_per_m = 0.9575 * beta * beta * cube_root * cube_root * radius_root
    if x >= 1.6:
        distance_db = 17.6 * x - 11.0 - 10.0 * math.log10(x)
    else:
        distance_db = 20.0 * math.log10(x) + 5.6488 * x**1.425
    tx_db = _height_gain_high_admittance_db(b_per_m * tx_m, k)
    return distance_db - tx_db - _height_gain_high_admittance_db(b_per_m * rx_m, k)


@vector_kernel
def _fill_first_term(gathered, earth, any_sea, land_admittance, sea_admittance, cube_root, first_term):
    """Write the first-term loss, mixed by the share of sea; the items before the first sea are land only."""
    land_only = gathered
    if any_sea:
        land_only = 0
        while land_only < gathered and earth[EARTH_SEA_SHARE, land_only] == 0.0:
            land_only += 1
    for i in range(whole_blocks(land_only)):  # the next loop writes over the rest of the last block
        first_term[i] = first_term_db(
            earth[EARTH_DISTANCE_KM, i],
            earth[EARTH_TX_M, i],
            earth[EARTH_RX_M, i],
            earth[EARTH_RADIUS_ROOT, i],
            land_admittance,
            cube_root,
        )
    # Unsigned, or numba would allow for a negative index, and the loads would go one by one.
    end = land_only + whole_blocks(gathered - land_only)
    for i in range(np.uint64(land_only), np.uint64(end)):
        distance_km = earth[EARTH_DISTANCE_KM, i]
        tx_m = earth[EARTH_TX_M, i]
        rx_m = earth[EARTH_RX_M, i]
        radius_root = earth[EARTH_RADIUS_ROOT, i]
        share = earth[EARTH_SEA_SHARE, i]
        land_db = first_term_db(distance_km, tx_m, rx_m, radius_root, land_admittance, cube_root)
        sea_db = first_term_db(distance_km, tx_m, rx_m, radius_root, sea_admittance, cube_root)
        first_term[i] = (1.0 - share) * land_db + share * sea_db


@vector_kernel
def _replace_high_admittance(gathered, earth, land_admittance, sea_admittance, cube_root, first_term):
    """Write the first-term loss again where K is above 2: low frequency, vertical, over the sea."""
    for i in range(gathered):
        radius_root = earth[EARTH_RADIUS_ROOT, i]
        if sea_admittance * radius_root > 2.0:
            distance_km = earth[EARTH_DISTANCE_KM, i]
            tx_m = earth[EARTH_TX_M, i]
            rx_m = earth[EARTH_RX_M, i]
            share = earth[EARTH_SEA_SHARE, i]
            land_db = first_term_high_admittance_db(
                distance_km, tx_m, rx_m, radius_root, land_admittance, cube_root
            )
            sea_db = first_term_high_admittance_db(
                distance_km, tx_m, rx_m, radius_root, sea_admittance, cube_root
            )
            first_term[i] = (1.0 - share) * land_db + share * sea_db


@vector_kernel
def fill_diffraction(
    count,
    items,
    nu,
    frequency_ghz,
    wavelength_m,
    vertical,
    any_sea,
    gathered,
    earth,
    earth_item,
    scratch,
    diffraction_db,
):
    """Write the delta-Bullington loss of each item, in dB.

    nu : of Bullington's edge at 1 m wavelength. gathered, earth, earth_item : of gather_earth; only these
    items can have a spherical-earth part. scratch : work array, shape (items,).

    Source: ITU-R P.1812-8, section 4.3, equations (22) to (26) and (39). Accuracy: rounding.
    """
    per_root = 1.0 / math.sqrt(wavelength_m)
    for i in range(whole_blocks(count)):
        diffraction_db[i] = bullington_loss_db(nu[i] * per_root, items[DISTANCE_KM, i])
    if gathered == 0:
        return
    land_admittance = surface_admittance(LAND, frequency_ghz, vertical)
    sea_admittance = surface_admittance(SEA, frequency_ghz, vertical)
    cube_root = frequency_ghz ** (1.0 / 3.0)
    _fill_first_term(gathered, earth, any_sea, land_admittance, sea_admittance, cube_root, scratch)
    any_high = False
    for i in range(gathered):
        any_high |= sea_admittance * earth[EARTH_RADIUS_ROOT, i] > 2.0
    if any_high:
        _replace_high_admittance(gathered, earth, land_admittance, sea_admittance, cube_root, scratch)
    for i in range(whole_blocks(gathered)):
        # Beyond the horizon clearance is 0 and the factor 1. The loss may be negative there, and the
        # maximum of (39) makes it 0, as the maximum here does.
        factor = max(1.0 - earth[EARTH_CLEARANCE_M, i] * per_root / earth[EARTH_NEEDED_M, i], 0.0)
        spherical_db = factor * max(scratch[i], 0.0)
        smooth_db = bullington_loss_db(earth[EARTH_NU, i] * per_root, earth[EARTH_DISTANCE_KM, i])
        scratch[i] = max(spherical_db - smooth_db, 0.0)
    for i in range(gathered):
        diffraction_db[earth_item[i]] += scratch[i]
