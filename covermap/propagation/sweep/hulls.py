"""Upper hulls of a growing profile, and what a line or an observer beyond its end meets first.

A hull is a work array of shape (HULL_ROWS, points) and a count of its vertices, from left to right. Every
question is a bisection over the vertices, so its price grows with the logarithm of their number.
"""

import math

from covermap.propagation.vector_math import vector_kernel

X_KM, Y_M, SLOPE, POINT = range(4)  # SLOPE, m/km, of the edge to the next vertex; POINT: index in the profile
HULL_ROWS = 4


@vector_kernel
def push(hull, size, x_km, y_m, point):
    """Add a point to the right of all others and return the hull's new number of vertices.

    Source: Andrew's monotone chain. Accuracy: exact; points on an edge are dropped.
    """
    while size >= 2 and y_m - hull[Y_M, size - 1] >= hull[SLOPE, size - 2] * (x_km - hull[X_KM, size - 1]):
        size -= 1
    if size >= 1:
        hull[SLOPE, size - 1] = (y_m - hull[Y_M, size - 1]) / (x_km - hull[X_KM, size - 1])
    hull[X_KM, size] = x_km
    hull[Y_M, size] = y_m
    hull[POINT, size] = point
    return size + 1


@vector_kernel
def tangent_vertex(hull, size, x_km, y_m, first):
    """Return the vertex seen under the largest angle from (x_km, y_m) right of the hull.

    first : vertex from which to look on. Slopes fall along the hull, so the answer is found by bisection.

    Source: geometry. Accuracy: exact.
    """
    low = first
    high = size - 1
    while low < high:
        middle = (low + high) >> 1
        if hull[SLOPE, middle] * (x_km - hull[X_KM, middle + 1]) > y_m - hull[Y_M, middle + 1]:
            low = middle + 1
        else:
            high = middle
    return low


@vector_kernel
def highest_vertex(hull, size, slope):
    """Return the vertex that stands highest above a line of the given slope, m/km.

    Source: geometry. Accuracy: exact.
    """
    low = 0
    high = size - 1
    while low < high:
        middle = (low + high) >> 1
        if hull[SLOPE, middle] > slope:
            low = middle + 1
        else:
            high = middle
    return low


@vector_kernel
def squared_clearance(x_km, below_m, total_km):
    """Return below^2/(x (total - x)): nu^2 over 0.002 total/wavelength of an edge below the line.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21): nu squared. Accuracy: exact.
    """
    return below_m * below_m / (x_km * (total_km - x_km))


@vector_kernel
def _critical_edge(hull, size, tx_level_m, slope, total_km):
    """Return the edge of the hull on which the squared clearance has its minimum.

    Along the hull it falls, then rises; the sign of its derivative at the right end of an edge decides.
    """
    low = 0
    high = size - 2
    while low < high:
        middle = (low + high) >> 1
        x_km = hull[X_KM, middle + 1]
        edge_slope = hull[SLOPE, middle] - slope
        offset_m = hull[Y_M, middle] - tx_level_m - hull[SLOPE, middle] * hull[X_KM, middle]
        derivative = (edge_slope * total_km + 2.0 * offset_m) * x_km - offset_m * total_km
        if (offset_m + edge_slope * x_km) * derivative < 0.0:
            low = middle + 1
        else:
            high = middle
    return low


@vector_kernel
def _points_to_try(hull, edge, tx_level_m, slope, total_km, best, step_km):
    """Return (first, last) point under an edge that can have less squared clearance than best.

    No point stands above its edge, and the edge itself is lower than best only between the roots of a
    quadratic, so few points are left. An empty range when there are none.
    """
    edge_slope = hull[SLOPE, edge] - slope
    offset_m = hull[Y_M, edge] - tx_level_m - slope * hull[X_KM, edge] - edge_slope * hull[X_KM, edge]
    a = edge_slope * edge_slope + best
    b = 2.0 * offset_m * edge_slope - best * total_km
    discriminant = b * b - 4.0 * a * offset_m * offset_m
    if not discriminant > 0.0:
        return 1, 0
    root = math.sqrt(discriminant)
    from_km = max((-b - root) / (2.0 * a), hull[X_KM, edge])
    to_km = min((-b + root) / (2.0 * a), hull[X_KM, edge + 1])
    first = max(int(from_km / step_km), int(hull[POINT, edge]) + 1)
    last = min(int(to_km / step_km) + 1, int(hull[POINT, edge + 1]) - 1)
    return first, last


@vector_kernel
def most_obstructing(hull, size, tx_level_m, slope, total_km, profile_m, curvature, step_km):
    """Return (smallest squared clearance, its point) of a profile below the line from the transmitter.

    slope : of the line in flattened heights, m/km; every point is below it. profile_m : the profile whose
    points, lowered by curvature x^2 (m, x in km), the hull is of.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21): the point of the largest nu. Accuracy: exact.
    """
    best_point = int(hull[POINT, 0])
    best = squared_clearance(hull[X_KM, 0], hull[Y_M, 0] - tx_level_m - slope * hull[X_KM, 0], total_km)
    if size == 1:
        return best, best_point
    edge = _critical_edge(hull, size, tx_level_m, slope, total_km)
    for vertex in range(edge, edge + 2):
        x_km = hull[X_KM, vertex]
        value = squared_clearance(x_km, hull[Y_M, vertex] - tx_level_m - slope * x_km, total_km)
        if value < best or vertex == edge:
            best = value
            best_point = int(hull[POINT, vertex])
    if hull[POINT, edge + 1] - hull[POINT, edge] > 1.0:
        first, last = _points_to_try(hull, edge, tx_level_m, slope, total_km, best, step_km)
        for point in range(first, last + 1):
            x_km = point * step_km
            below_m = profile_m[point] - curvature * x_km * x_km - tx_level_m - slope * x_km
            value = squared_clearance(x_km, below_m, total_km)
            if value < best:
                best = value
                best_point = point
    return best, best_point
