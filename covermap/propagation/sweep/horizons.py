"""Horizons of every path of a radial, and the roughness between them, from hulls grown point by point."""

import math

from covermap.propagation.diffraction import NO_EDGE
from covermap.propagation.sweep.geometry import crossing_nu
from covermap.propagation.sweep.hulls import POINT, SLOPE, X_KM, Y_M, most_obstructing, push, tangent_vertex
from covermap.propagation.sweep.rows import (
    DISTANCE_KM,
    END_M,
    IN_THE_WAY,
    ROUGHNESS_M,
    RX_EFFECTIVE_M,
    RX_HORIZON_KM,
    RX_MRAD,
    STEP,
    THETA_MRAD,
    TX_EFFECTIVE_M,
    TX_HORIZON_KM,
    TX_MRAD,
)
from covermap.propagation.sweep.taut_string import clear_or_grazing, ridge_class, settle_string
from covermap.propagation.vector_math import vector_kernel


@vector_kernel
def slope_mrad(slope_m_km):
    """Return the angle of a slope in m/km, in mrad. Accuracy: rounding; under 30 m/km by a short series."""
    slope = 0.001 * slope_m_km
    if abs(slope) < 0.03:
        z = slope * slope
        series = 1.0 + z * (-1.0 / 3.0 + z * (0.2 + z * (-1.0 / 7.0 + z / 9.0)))
        return 1000.0 * slope * series
    return 1000.0 * math.atan(slope)


@vector_kernel
def highest_between_horizons(chain_slope, left_neighbour, from_point, to_point, slope):
    """Return the point from from_point to to_point that stands highest above a line of the given slope.

    chain_slope, left_neighbour : of each point, its hull edge to the left and where that begins, from the
    time when the point was the last of a hull begun at from_point. Following them from to_point walks the
    hull of all between. At 3000 points the geometry of a path takes a ninth of the time it takes with a
    scan of the points between (100 against 930 ns).

    Source: geometry; for ITU-R P.1812-8, equation (93). Accuracy: exact.
    """
    point = to_point
    while point > from_point and chain_slope[point] < slope:
        point = left_neighbour[point]
    return point


@vector_kernel
def _write_in_sight(
    ground_m, tx_level_m, slope, total_km, curvature, step_km, hull, size, nu_row, ray, item
):  # fmt: skip
    """Write the ray of a path in line of sight; return the point that is the horizon of both ends."""
    bulge = curvature * total_km
    clearance, point = most_obstructing(
        hull, size, tx_level_m, slope - bulge, total_km, ground_m, curvature, step_km
    )
    ray[nu_row, item] = -math.sqrt(clearance * 0.002 * total_km)
    ray[IN_THE_WAY, item] = clear_or_grazing(clearance, total_km)
    ray[TX_MRAD, item] = slope_mrad(slope - bulge)
    ray[RX_MRAD, item] = slope_mrad(-slope - bulge)
    ray[TX_HORIZON_KM, item] = point * step_km
    ray[RX_HORIZON_KM, item] = total_km - point * step_km
    return point


@vector_kernel
def _write_beyond_horizon(
    tx_level_m, rx_level_m, tx_slope, total_km, curvature, step_km, hull, size, nu_row, ray, item
):  # fmt: skip
    """Write the receiver's side of a path beyond the horizon; return the vertex that is its horizon.

    tx_slope : to the mast's horizon, m/km, of lowered heights.
    """
    bulge = curvature * total_km
    lowered_m = rx_level_m - bulge * total_km
    vertex = tangent_vertex(hull, size, total_km, lowered_m, 0)
    rx_slope = (hull[Y_M, vertex] - lowered_m) / (total_km - hull[X_KM, vertex])
    point = int(hull[POINT, vertex])
    ray[nu_row, item] = crossing_nu(tx_level_m, rx_level_m, tx_slope + bulge, rx_slope - bulge, total_km)
    ray[RX_MRAD, item] = slope_mrad(rx_slope - 2.0 * bulge)
    ray[RX_HORIZON_KM, item] = total_km - point * step_km
    return vertex


@vector_kernel
def fill_horizons(
    ground_m, tx_level_m, heights_m, step_km, curvature, count, items, hull, since_horizon, chain_slope,
    left_neighbour, string, nu_row, rays,
):  # fmt: skip
    """Write horizon angles and distances, roughness and nu of Bullington's edge (into nu_row) of each path.

    Over ground without clutter. At the lowest height also what is in the way, scatter apart; string is a work
    array for it. In line of sight both angles are towards the other end and both horizons the point with the
    largest nu. The heights over the fitted surface must stand in rays already.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21); Attachment 1 to Annex 1, section 5.3 and
    equation (93). Accuracy: exact.
    """
    size = 0
    since_size = 0
    point = 1
    tx_slope = NO_EDGE
    tx_mrad = 0.0
    tx_point = 1
    tx_vertex = 0
    settled = 0
    for item in range(count):
        while point < items[STEP, item]:
            x_km = point * step_km
            lowered_m = ground_m[point] - curvature * x_km * x_km
            slope = (lowered_m - tx_level_m) / x_km
            if slope > tx_slope:
                tx_slope = slope
                tx_mrad = slope_mrad(slope)
                tx_point = point
                since_size = 0  # so that the chain from a receiver's horizon ends at the mast's
            size = push(hull, size, x_km, lowered_m, point)
            if tx_point == point:
                tx_vertex = size - 1
            settled = max(tx_vertex, min(settled, size - 1))
            since_size = push(since_horizon, since_size, x_km, ground_m[point], point)
            if since_size >= 2:
                left_neighbour[point] = int(since_horizon[POINT, since_size - 2])
                chain_slope[point] = since_horizon[SLOPE, since_size - 2]
            point += 1
        total_km = items[DISTANCE_KM, item]
        bulge = curvature * total_km
        for height in range(heights_m.shape[0]):
            ray = rays[height]
            rx_level_m = items[END_M, item] + heights_m[height]
            rise_m = rx_level_m - tx_level_m
            fitted_slope = (ray[TX_EFFECTIVE_M, item] - ray[RX_EFFECTIVE_M, item] + rise_m) / total_km
            if tx_slope + bulge > rise_m / total_km:
                vertex = _write_beyond_horizon(
                    tx_level_m, rx_level_m, tx_slope, total_km, curvature, step_km, hull, size, nu_row, ray,
                    item,
                )  # fmt: skip
                highest = int(hull[POINT, vertex])
                if height == 0:
                    vertex = max(vertex, tx_vertex)
                    settled = settle_string(
                        ground_m, tx_level_m, hull, tx_vertex, settled, vertex, curvature, step_km, string
                    )
                    ray[IN_THE_WAY, item] = ridge_class(
                        ground_m, rx_level_m - bulge * total_km, items[END_M, item], int(items[STEP, item]),
                        hull, vertex, curvature, step_km, string,
                    )  # fmt: skip
                ray[TX_MRAD, item] = tx_mrad
                ray[TX_HORIZON_KM, item] = tx_point * step_km
                highest = highest_between_horizons(
                    chain_slope, left_neighbour, tx_point, highest, fitted_slope
                )
            else:
                highest = _write_in_sight(
                    ground_m, tx_level_m, rise_m / total_km, total_km, curvature, step_km, hull, size,
                    nu_row, ray, item,
                )  # fmt: skip
            ray[THETA_MRAD, item] = ray[TX_MRAD, item] + ray[RX_MRAD, item] + 2.0 * bulge
            fitted_m = tx_level_m - ray[TX_EFFECTIVE_M, item] + fitted_slope * (highest * step_km)
            ray[ROUGHNESS_M, item] = ground_m[highest] - fitted_m
