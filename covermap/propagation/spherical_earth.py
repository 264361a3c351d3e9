"""Diffraction over a smooth spherical earth: the first term of the residue series."""

import math

from covermap.propagation.compiling import kernel

LAND = (22.0, 0.003)  # relative permittivity, conductivity S/m; ITU-R P.1812-8 section 4.3.2
SEA = (80.0, 5.0)  # the same


@kernel
def _surface_admittance(permittivity, conductivity_s_m, radius_km, frequency_ghz, vertical):
    """Return the normalised surface admittance K. Source: ITU-R P.1812-8, section 4.3.2.1."""
    # 17.98 = 1/(2 pi epsilon0) for S/m and GHz, rounded: the imaginary part of the relative permittivity.
    loss_term = 18.0 * conductivity_s_m / frequency_ghz
    horizontal = (
        0.036
        * (radius_km * frequency_ghz) ** (-1.0 / 3.0)
        * ((permittivity - 1.0) ** 2 + loss_term * loss_term) ** -0.25
    )
    if vertical:
        return horizontal * math.sqrt(permittivity * permittivity + loss_term * loss_term)
    return horizontal


@kernel
def _distance_term_db(x):
    """Return F(X) for the normalised distance x. Source: ITU-R P.1812-8, section 4.3.2.1."""
    if x >= 1.6:
        return 11.0 + 10.0 * math.log10(x) - 17.6 * x
    return -20.0 * math.log10(x) - 5.6488 * x**1.425


@kernel
def _height_gain_db(b, admittance):
    """Return G(Y), b being beta times Y, never under 2 + 20 log K.

    Source: ITU-R P.1812-8, section 4.3.2.1.
    """
    if b > 2.0:
        gain_db = 17.6 * math.sqrt(b - 1.1) - 5.0 * math.log10(b - 1.1) - 8.0
    else:
        gain_db = 20.0 * math.log10(b + 0.1 * b * b * b)
    return max(gain_db, 2.0 + 20.0 * math.log10(admittance))


@kernel
def _first_term_over_db(
    permittivity, conductivity_s_m, distance_km, tx_height_m, rx_height_m, radius_km, frequency_ghz, vertical
):
    """Return the first-term loss over one kind of ground. Source: ITU-R P.1812-8, section 4.3.2.1."""
    admittance = _surface_admittance(permittivity, conductivity_s_m, radius_km, frequency_ghz, vertical)
    k2 = admittance * admittance
    k4 = k2 * k2
    beta = (1.0 + 1.6 * k2 + 0.67 * k4) / (1.0 + 4.5 * k2 + 1.53 * k4)
    x = 21.88 * beta * (frequency_ghz / (radius_km * radius_km)) ** (1.0 / 3.0) * distance_km
    # beta stands in Y and again in B = beta Y
    b_per_m = beta * 0.9575 * beta * (frequency_ghz * frequency_ghz / radius_km) ** (1.0 / 3.0)
    tx_gain_db = _height_gain_db(b_per_m * tx_height_m, admittance)
    rx_gain_db = _height_gain_db(b_per_m * rx_height_m, admittance)
    return -_distance_term_db(x) - tx_gain_db - rx_gain_db


@kernel
def first_term_loss_db(
    distance_km, tx_height_m, rx_height_m, radius_km, frequency_ghz, vertical, sea_fraction
):
    """Return the first-term diffraction loss over the smooth earth, mixed by the share of sea, in dB.

    tx_height_m, rx_height_m : above the smooth surface, above 0. sea_fraction : 0 to 1.
    May be negative near line of sight.

    Source: ITU-R P.1812-8, section 4.3.2.1.
    Accuracy: the first residue only; good beyond the horizon, not inside it.
    """
    land_db = _first_term_over_db(
        LAND[0], LAND[1], distance_km, tx_height_m, rx_height_m, radius_km, frequency_ghz, vertical
    )
    sea_db = _first_term_over_db(
        SEA[0], SEA[1], distance_km, tx_height_m, rx_height_m, radius_km, frequency_ghz, vertical
    )
    return sea_fraction * sea_db + (1.0 - sea_fraction) * land_db


@kernel
def line_of_sight_limit_km(tx_height_m, rx_height_m, radius_km):
    """Return the distance at which the smooth earth just touches the line of sight, in km.

    Source: ITU-R P.1812-8, section 4.3.2. Accuracy: exact for low antennas.
    """
    return math.sqrt(2.0 * radius_km) * (math.sqrt(0.001 * tx_height_m) + math.sqrt(0.001 * rx_height_m))


@kernel
def smallest_clearance(distance_km, tx_height_m, rx_height_m, radius_km):
    """Return (clearance m, distance to transmitter km, distance to receiver km) at the reflection point.

    Source: ITU-R P.1812-8, section 4.3.2. Accuracy: exact solution of its cubic.
    """
    # c is negative where the receiver stands higher; the cubic does not mind. The root below is at most 2/3
    # (at m = 1/2) and |c| under 1, so acos always has an answer.
    c = (tx_height_m - rx_height_m) / (tx_height_m + rx_height_m)
    m = 250.0 * distance_km * distance_km / (radius_km * (tx_height_m + rx_height_m))
    angle = math.acos(1.5 * c * math.sqrt(3.0 * m / (m + 1.0) ** 3))
    b = 2.0 * math.sqrt((m + 1.0) / (3.0 * m)) * math.cos((math.pi + angle) / 3.0)
    from_tx_km = 0.5 * distance_km * (1.0 + b)
    from_rx_km = distance_km - from_tx_km
    # 500 x^2/a is the bulge in m for x and a in km.
    tx_part = (tx_height_m - 500.0 * from_tx_km * from_tx_km / radius_km) * from_rx_km
    rx_part = (rx_height_m - 500.0 * from_rx_km * from_rx_km / radius_km) * from_tx_km
    return (tx_part + rx_part) / distance_km, from_tx_km, from_rx_km


@kernel
def spherical_earth_loss_db(
    distance_km, tx_height_m, rx_height_m, radius_km, frequency_ghz, wavelength_m, vertical, sea_fraction
):
    """Return the diffraction loss of a smooth spherical earth, in dB, 0 or more within line of sight.

    distance_km : path length. tx_height_m, rx_height_m : above the smooth surface, above 0.
    radius_km : effective earth radius. sea_fraction : 0 to 1. NaN gives NaN.

    Source: ITU-R P.1812-8, section 4.3.2 (equal to ITU-R P.526-16, section 3.2).
    Accuracy: 1e-7 dB against the published P.1812 values.
    """
    if distance_km >= line_of_sight_limit_km(tx_height_m, rx_height_m, radius_km):
        return first_term_loss_db(
            distance_km, tx_height_m, rx_height_m, radius_km, frequency_ghz, vertical, sea_fraction
        )
    clearance_m, from_tx_km, from_rx_km = smallest_clearance(distance_km, tx_height_m, rx_height_m, radius_km)
    needed_m = 17.456 * math.sqrt(from_tx_km * from_rx_km * wavelength_m / distance_km)
    if clearance_m > needed_m:
        return 0.0
    # Within sight the residue series does not hold. It is taken on an earth so small that this path grazes
    # it, and shared out by how much of the clearance is missing: no jump at the horizon, none at full
    # clearance.
    grazing_radius_km = 500.0 * (distance_km / (math.sqrt(tx_height_m) + math.sqrt(rx_height_m))) ** 2
    grazing_db = first_term_loss_db(
        distance_km, tx_height_m, rx_height_m, grazing_radius_km, frequency_ghz, vertical, sea_fraction
    )
    if grazing_db < 0.0:
        return 0.0
    return (1.0 - clearance_m / needed_m) * grazing_db
