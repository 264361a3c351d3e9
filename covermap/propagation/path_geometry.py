"""Geometry of a path: horizons, the smooth surface fitted to it, and lengths over land and sea."""

import math

from covermap.constants import EARTH_RADIUS_KM
from covermap.propagation.compiling import kernel
from covermap.propagation.diffraction import NO_EDGE, largest_nu, line_height_m

SEA_ZONE = 1  # radio zones of ITU-R P.1812-8: 1 sea, 3 coastal land, 4 inland
COASTAL_ZONE = 3
INLAND_ZONE = 4
BETA0_RADIUS_KM = 3.0 * EARTH_RADIUS_KM  # ITU-R P.1812-8 section 4.1: exceeded for beta0 % of the time


@kernel
def median_radius_km(dn):
    """Return the median effective earth radius, in km.

    dn : fall of the refractive index in the lowest km, N-units/km, positive, under 157.

    Source: ITU-R P.1812-8, section 4.1: 6371 x 157/(157 - DN). Accuracy: exact.
    """
    return EARTH_RADIUS_KM * 157.0 / (157.0 - dn)


@kernel
def elevation_slope(rise_m, distance_km, effective_radius_km):
    """Return the tangent of elevation_mrad's angle, dimensionless. Source and accuracy: the same."""
    return rise_m / (1000.0 * distance_km) - distance_km / (2.0 * effective_radius_km)


@kernel
def elevation_mrad(rise_m, distance_km, effective_radius_km):
    """Return the elevation angle of a point rise_m higher at distance_km, in mrad above the horizontal.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, horizon angles. Accuracy: exact on a parabolic bulge.
    """
    return 1000.0 * math.atan(elevation_slope(rise_m, distance_km, effective_radius_km))


@kernel
def horizon(distance_km, ground_m, antenna_level_m, from_transmitter, effective_radius_km):
    """Return (greatest elevation angle mrad, its index) over the points between the ends.

    distance_km, ground_m : shape (n,). antenna_level_m : antenna at that end, above sea level.
    from_transmitter : False looks from the receiver. The point nearest the transmitter wins a tie.
    Without a point between the ends: straight down, and index 1.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, horizon angles. Accuracy: exact.
    """
    last = distance_km.shape[0] - 1
    # Tangents are compared and one arc tangent is taken at the end: atan keeps their order.
    steepest = NO_EDGE
    best = 1
    for i in range(1, last):
        away_km = distance_km[i] if from_transmitter else distance_km[last] - distance_km[i]
        slope = elevation_slope(ground_m[i] - antenna_level_m, away_km, effective_radius_km)
        if slope > steepest:
            steepest = slope
            best = i
    return 1000.0 * math.atan(steepest), best


@kernel
def horizons(distance_km, ground_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m):
    """Return (theta_t mrad, theta_r mrad, index of the transmitter's horizon, of the receiver's).

    Over ground without clutter. In line of sight both angles are towards the other end and both
    indices the point with the largest nu.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, section 5.3. Accuracy: exact.
    """
    total_km = distance_km[distance_km.shape[0] - 1]
    direct_mrad = elevation_mrad(rx_level_m - tx_level_m, total_km, effective_radius_km)
    tx_mrad, tx_point = horizon(distance_km, ground_m, tx_level_m, True, effective_radius_km)
    # A point exactly on the line is sight, as in the sweep (fill_horizons): both must fall to the same side.
    if tx_mrad > direct_mrad:
        rx_mrad, rx_point = horizon(distance_km, ground_m, rx_level_m, False, effective_radius_km)
        return tx_mrad, rx_mrad, tx_point, rx_point
    rx_mrad = elevation_mrad(tx_level_m - rx_level_m, total_km, effective_radius_km)
    _, point = largest_nu(distance_km, ground_m, tx_level_m, rx_level_m, effective_radius_km, wavelength_m)
    return direct_mrad, rx_mrad, point, point


@kernel
def fitted_surface_ends_m(distance_km, ground_m):
    """Return (height at the transmitter, at the receiver) of the line fitted to the ground, m.

    Least squares over the whole profile, without clutter.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, section 5.6.1, equations (85) and (86).
    Accuracy: exact.
    """
    last = distance_km.shape[0] - 1
    total_km = distance_km[last]
    # Sums over whole sections, near and far height weighted by where they stand: exact for uneven spacing,
    # which sums over points would not be.
    area = 0.0
    moment = 0.0
    for i in range(1, last + 1):
        near_km = distance_km[i - 1]
        far_km = distance_km[i]
        near_m = ground_m[i - 1]
        far_m = ground_m[i]
        area += (far_km - near_km) * (far_m + near_m)
        moment += (far_km - near_km) * (far_m * (2.0 * far_km + near_km) + near_m * (far_km + 2.0 * near_km))
    tx_m = (2.0 * area * total_km - moment) / (total_km * total_km)
    rx_m = (moment - area * total_km) / (total_km * total_km)
    return tx_m, rx_m


@kernel
def diffraction_surface_ends_m(distance_km, ground_m, tx_level_m, rx_level_m, tx_fit_m, rx_fit_m):
    """Return (height at the transmitter, at the receiver) of the smooth surface for diffraction, m.

    The fitted line, lowered where ground rises above the straight line between the antennas, and
    never above the ground at the ends.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, section 5.6.2. Accuracy: exact.
    """
    last = distance_km.shape[0] - 1
    total_km = distance_km[last]
    highest_m = NO_EDGE
    tx_slope = NO_EDGE
    rx_slope = NO_EDGE
    for i in range(1, last):
        above_m = ground_m[i] - line_height_m(distance_km[i], total_km, tx_level_m, rx_level_m)
        highest_m = max(highest_m, above_m)
        tx_slope = max(tx_slope, above_m / distance_km[i])
        rx_slope = max(rx_slope, above_m / (total_km - distance_km[i]))
    tx_m = tx_fit_m
    rx_m = rx_fit_m
    # The slopes say at which end the ground that stands out lies; that end is lowered more.
    if highest_m > 0.0:
        tx_m -= highest_m * tx_slope / (tx_slope + rx_slope)
        rx_m -= highest_m * rx_slope / (tx_slope + rx_slope)
    # So each antenna stands above the surface by its own height at least: roots and logarithms of these
    # heights follow.
    return min(tx_m, ground_m[0]), min(rx_m, ground_m[last])


@kernel
def roughness_m(distance_km, ground_m, tx_smooth_m, rx_smooth_m, tx_point, rx_point):
    """Return how far ground rises above the smooth surface between the horizons (hm), in m.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, section 5.6.3. Accuracy: exact.
    """
    slope = (rx_smooth_m - tx_smooth_m) / distance_km[distance_km.shape[0] - 1]
    highest_m = NO_EDGE
    for i in range(tx_point, rx_point + 1):
        highest_m = max(highest_m, ground_m[i] - (tx_smooth_m + slope * distance_km[i]))
    return highest_m


@kernel
def land_and_sea(distance_km, zone):
    """Return (longest section of land km, longest inland section km, share of sea).

    zone : uint8, shape (n,), 1 sea, 3 coastal land, 4 inland. A section reaches half way to the
    neighbouring point of another kind.

    Source: ITU-R P.1812-8, section 3.5, table of zones. Accuracy: of the profile's spacing.
    """
    last = distance_km.shape[0] - 1
    longest_land_km = 0.0
    longest_inland_km = 0.0
    sea_km = 0.0
    land_from_km = -1.0
    inland_from_km = -1.0
    for i in range(last + 1):
        begin_km = distance_km[i] if i == 0 else 0.5 * (distance_km[i] + distance_km[i - 1])
        end_km = distance_km[i] if i == last else 0.5 * (distance_km[i] + distance_km[i + 1])
        if zone[i] == SEA_ZONE:
            sea_km += end_km - begin_km
            land_from_km = -1.0
        else:
            if land_from_km < 0.0:
                land_from_km = begin_km
            longest_land_km = max(longest_land_km, end_km - land_from_km)
        if zone[i] == INLAND_ZONE:
            if inland_from_km < 0.0:
                inland_from_km = begin_km
            longest_inland_km = max(longest_inland_km, end_km - inland_from_km)
        else:
            inland_from_km = -1.0
    return longest_land_km, longest_inland_km, sea_km / (distance_km[last] - distance_km[0])
