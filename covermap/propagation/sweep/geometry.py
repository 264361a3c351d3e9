"""Bullington's edge and the smooth surfaces of every path of a radial, from hulls grown point by point.

Heights lowered by curvature x^2 (curvature = 500/effective Earth radius in km, x in km) make rays straight:
the horizon of the mast is then a running maximum of slopes, that of an item a tangent to the upper hull.
Each function marches along the radial once, with the one hull it needs; one march with all the hulls was
no faster and had functions too long to read. Nothing here depends on frequency or time percentage: nu is
kept for a wavelength of 1 m.
"""

import math

from covermap.propagation.diffraction import NO_EDGE
from covermap.propagation.sweep.hulls import X_KM, Y_M, highest_vertex, most_obstructing, push, tangent_vertex
from covermap.propagation.sweep.rows import (
    DISTANCE_KM,
    END_M,
    FALL_M,
    FIT_RX_M,
    FIT_TX_M,
    RX_EFFECTIVE_M,
    RX_SMOOTH_M,
    STEP,
    TX_EFFECTIVE_M,
    TX_SMOOTH_M,
)
from covermap.propagation.vector_math import vector_kernel


@vector_kernel
def crossing_nu(tx_level_m, rx_level_m, tx_slope, rx_slope, total_km):
    """Return nu at 1 m wavelength of the edge where the two horizon rays cross.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21). Accuracy: exact.
    """
    at_km = (rx_level_m - tx_level_m + rx_slope * total_km) / (tx_slope + rx_slope)
    line_m = (tx_level_m * (total_km - at_km) + rx_level_m * at_km) / total_km
    above_m = tx_level_m + tx_slope * at_km - line_m
    return above_m * math.sqrt(0.002 * total_km / (at_km * (total_km - at_km)))


@vector_kernel
def fill_bullington_nu(surface_m, tx_level_m, heights_m, step_km, curvature, count, items, hull, rays, row):
    """Write nu at 1 m wavelength of Bullington's edge over a profile with clutter into a row of rays.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21). Accuracy: exact.
    """
    size = 0
    point = 1
    tx_slope = NO_EDGE  # largest so far, of lowered heights
    for item in range(count):
        while point < items[STEP, item]:
            x_km = point * step_km
            lowered_m = surface_m[point] - curvature * x_km * x_km
            tx_slope = max(tx_slope, (lowered_m - tx_level_m) / x_km)
            size = push(hull, size, x_km, lowered_m, point)
            point += 1
        total_km = items[DISTANCE_KM, item]
        # A slope of lowered heights is the bulged path's less curvature times the path's length.
        bulge = curvature * total_km
        for height in range(heights_m.shape[0]):
            rx_level_m = items[END_M, item] + heights_m[height]
            lowered_m = rx_level_m - bulge * total_km
            if tx_slope + bulge < (rx_level_m - tx_level_m) / total_km:
                slope = (lowered_m - tx_level_m) / total_km
                clearance, _ = most_obstructing(
                    hull, size, tx_level_m, slope, total_km, surface_m, curvature, step_km
                )
                rays[height, row, item] = -math.sqrt(clearance * 0.002 * total_km)
            else:
                vertex = tangent_vertex(hull, size, total_km, lowered_m, 0)
                rx_slope = (hull[Y_M, vertex] - lowered_m) / (total_km - hull[X_KM, vertex]) - bulge
                rays[height, row, item] = crossing_nu(
                    tx_level_m, rx_level_m, tx_slope + bulge, rx_slope, total_km
                )


@vector_kernel
def surface_drops_m(hull, size, tx_level_m, rx_level_m, steepest, total_km):
    """Return how far the smooth surface of diffraction goes below the fitted line at either end, in m.

    hull : of the ground. steepest : largest slope from the transmitting antenna to the ground, m/km, above
    the slope to the receiving antenna.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, section 5.6.2. Accuracy: exact.
    """
    slope = (rx_level_m - tx_level_m) / total_km
    vertex = highest_vertex(hull, size, slope)
    highest_m = hull[Y_M, vertex] - tx_level_m - slope * hull[X_KM, vertex]
    vertex = tangent_vertex(hull, size, total_km, rx_level_m, vertex)
    tx_above = steepest - slope
    rx_above = (hull[Y_M, vertex] - rx_level_m) / (total_km - hull[X_KM, vertex]) + slope
    share = highest_m / (tx_above + rx_above)
    return share * tx_above, share * rx_above


@vector_kernel
def fill_smooth_heights(ground_m, tx_level_m, heights_m, step_km, count, items, hull, rays):
    """Write the heights of both antennas above the smooth surfaces: of diffraction, and fitted.

    The surface of diffraction is lowered where ground stands above the straight line between the
    antennas; neither stands above the ground at its ends.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, sections 5.6.1 and 5.6.2.
    Accuracy: exact.
    """
    size = 0
    point = 1
    steepest = NO_EDGE
    for item in range(count):
        while point < items[STEP, item]:
            x_km = point * step_km
            steepest = max(steepest, (ground_m[point] - tx_level_m) / x_km)
            size = push(hull, size, x_km, ground_m[point], point)
            point += 1
        total_km = items[DISTANCE_KM, item]
        end_m = items[END_M, item]
        tx_fit_m = items[FIT_TX_M, item]
        rx_fit_m = items[FIT_RX_M, item]
        for height in range(heights_m.shape[0]):
            rx_level_m = end_m + heights_m[height]
            slope = (rx_level_m - tx_level_m) / total_km
            tx_smooth_m = tx_fit_m
            rx_smooth_m = rx_fit_m
            if steepest > slope:
                tx_drop_m, rx_drop_m = surface_drops_m(hull, size, tx_level_m, rx_level_m, steepest, total_km)
                tx_smooth_m -= tx_drop_m
                rx_smooth_m -= rx_drop_m
            rays[height, TX_SMOOTH_M, item] = tx_level_m - min(tx_smooth_m, ground_m[0])
            rays[height, RX_SMOOTH_M, item] = rx_level_m - min(rx_smooth_m, end_m)
            rays[height, TX_EFFECTIVE_M, item] = tx_level_m - min(tx_fit_m, ground_m[0])
            rays[height, RX_EFFECTIVE_M, item] = rx_level_m - min(rx_fit_m, end_m)
            rays[height, FALL_M, item] = tx_level_m - rx_level_m
