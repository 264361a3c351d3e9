"""What the sweep knows of each item from running sums along the radial: land, sea and the fitted surface."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.path_geometry import INLAND_ZONE, SEA_ZONE
from covermap.propagation.sweep.rows import (
    DISTANCE_KM,
    END_M,
    FIT_RX_M,
    FIT_TX_M,
    INLAND_KM,
    LAND_KM,
    MID_LATITUDE_DEG,
    RX_COAST_KM,
    SEA_SHARE,
    STEP,
)

NO_COAST_KM = 500.0  # stands for a coast too far away to count; ITU-R P.1812-8 counts up to 5 km


@kernel
def first_unordered(item_step, last_step):
    """Return the first item whose step is under 2, above last_step or below its neighbour's, or -1."""
    # a path of one step has no point between its ends, and so no horizon
    before = 2
    for item in range(item_step.shape[0]):
        if item_step[item] < before or item_step[item] > last_step:
            return item
        before = item_step[item]
    return -1


@kernel
def fill_surface(ground_m, clutter_m, surface_m):
    """Write ground plus clutter into surface_m; return (first point without a known value, any clutter).

    The first unknown point is the number of points when all are known. A mast without ground makes it 0;
    clutter at the mast does not count.
    """
    points = ground_m.shape[0]
    any_clutter = False
    surface_m[0] = ground_m[0]
    if math.isnan(ground_m[0]):
        return 0, any_clutter
    for point in range(1, points):
        surface_m[point] = ground_m[point] + clutter_m[point]
        if math.isnan(surface_m[point]):
            return point, any_clutter
        any_clutter |= clutter_m[point] != 0.0
    return points, any_clutter


@kernel
def fill_places(item_step, item_ground_m, mid_latitude_deg, step_km, first_unknown, items):
    """Write step, distance, end height and latitude of each item; return how many have a known path.

    The path of an item at the first unknown point is known: it ends at the item's own ground instead. An
    item without ground gets 0 m for the march, and NaN by blank_unknown after it.
    """
    count = item_step.shape[0]
    for item in range(count):
        step = item_step[item]
        if step > first_unknown or first_unknown == 0:
            return item
        items[STEP, item] = step
        items[DISTANCE_KM, item] = step * step_km
        items[END_M, item] = 0.0 if math.isnan(item_ground_m[item]) else item_ground_m[item]
        items[MID_LATITUDE_DEG, item] = mid_latitude_deg[step]
    return count


@kernel
def fill_fitted_surface(ground_m, step_km, count, items):
    """Write the ends of the line fitted to the ground of each item's path, m above sea level.

    Source: ITU-R P.1812-8, Attachment 1 to Annex 1, section 5.6.1, equations (85) and (86), with the sums
    up to the point before the item carried along. Accuracy: exact.
    """
    area = 0.0
    moment = 0.0
    point = 1
    for item in range(count):
        step = int(items[STEP, item])
        while point < step:
            x_km = point * step_km
            near_km = x_km - step_km
            near_m = ground_m[point - 1]
            far_m = ground_m[point]
            area += step_km * (far_m + near_m)
            moment += step_km * (far_m * (2.0 * x_km + near_km) + near_m * (x_km + 2.0 * near_km))
            point += 1
        total_km = items[DISTANCE_KM, item]
        # The last section ends at the item's own ground, so it never enters the running sums.
        near_km = total_km - step_km
        near_m = ground_m[step - 1]
        end_m = items[END_M, item]
        path_area = area + step_km * (end_m + near_m)
        path_moment = moment + step_km * (
            end_m * (2.0 * total_km + near_km) + near_m * (total_km + 2.0 * near_km)
        )
        per_square = 1.0 / (total_km * total_km)
        items[FIT_TX_M, item] = (2.0 * path_area * total_km - path_moment) * per_square
        items[FIT_RX_M, item] = (path_moment - path_area * total_km) * per_square


@kernel
def _longest_km(zone, sea_also_ends, step_km, count, items, row):
    """Write the longest section of land (or inland only) of each item's path, km, into a row of items."""
    longest_km = 0.0
    from_km = -1.0  # where the open section began; negative: none open
    point = 0
    for item in range(count):
        step = int(items[STEP, item])
        while point <= step:
            inside = zone[point] != SEA_ZONE if sea_also_ends else zone[point] == INLAND_ZONE
            edge_km = max((point - 0.5) * step_km, 0.0)
            if inside and from_km < 0.0:
                from_km = edge_km
            elif not inside and from_km >= 0.0:
                longest_km = max(longest_km, edge_km - from_km)
                from_km = -1.0
            point += 1
        open_km = items[DISTANCE_KM, item] - from_km if from_km >= 0.0 else 0.0
        items[row, item] = max(longest_km, open_km)


@kernel
def fill_land_and_sea(zone, step_km, count, items):
    """Write the lengths over land and the share of sea of each item's path, and its distance to the coast.

    zone : uint8, 1 sea, 3 coastal land, 4 inland. A section reaches half a step past its last point, but
    for the ends of the path. RX_COAST_KM is the way back from the item to the last sea point, 0 on the
    sea and 500 without one.
    Returns (distance from the mast to the first sea point, km, or 500; whether any path meets the sea).

    Source: ITU-R P.1812-8, section 3.5 and table of zones. Accuracy: of the profile's spacing.
    """
    _longest_km(zone, True, step_km, count, items, LAND_KM)
    _longest_km(zone, False, step_km, count, items, INLAND_KM)
    sea_km = 0.5 * step_km if zone[0] == SEA_ZONE else 0.0
    first_sea = 0 if zone[0] == SEA_ZONE else -1
    last_sea = first_sea
    point = 1
    for item in range(count):
        step = int(items[STEP, item])
        while point <= step:
            if zone[point] == SEA_ZONE:
                sea_km += step_km
                last_sea = point
                if first_sea < 0:
                    first_sea = point
            point += 1
        beyond_km = 0.5 * step_km if zone[step] == SEA_ZONE else 0.0
        items[SEA_SHARE, item] = (sea_km - beyond_km) / items[DISTANCE_KM, item]
        items[RX_COAST_KM, item] = (step - last_sea) * step_km if last_sea >= 0 else NO_COAST_KM
    if first_sea < 0:
        return NO_COAST_KM, False
    return first_sea * step_km, True
