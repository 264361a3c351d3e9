"""What stands in the way of every path of a radial: ridges on the taut string, kept with the hull.

The string from the mast's antenna over the ground is the upper hull of the points before the item, from the
mast's horizon to the vertex that the item sees under the largest angle. What is known of the string up to
a vertex (RIDGES, LOWEST_M, HIGHEST_M) does not change while the vertex stands on the hull, so it is worked
out when a path first touches the vertex, and kept: an item costs no scan of its profile.

Classes and the rule of counting are those of covermap.propagation.ridges, at CLASS_MHZ whatever frequencies
are swept, so that a block does not depend on what else stands on a mast.
"""

import math

from covermap.propagation.p1812 import P1812_WAVELENGTH_M_GHZ
from covermap.propagation.ridges import DIP_M, FLAT_M, FRESNEL_SHARE, PATH_CLASSES
from covermap.propagation.sweep.combination import scatter_frequency_db
from covermap.propagation.sweep.diffraction import fill_diffraction
from covermap.propagation.sweep.hulls import POINT, SLOPE, X_KM, Y_M
from covermap.propagation.sweep.rows import (
    DIFFRACTION_MEDIAN_DB,
    FREE_SPACE_DB,
    IN_THE_WAY,
    SCRATCH,
    TROPOSCATTER_DB,
)
from covermap.propagation.vector_math import vector_kernel

CLASS_MHZ = 600.0  # the frequency at which paths are put into classes
CLASS_WAVELENGTH_M = P1812_WAVELENGTH_M_GHZ / (CLASS_MHZ / 1000.0)
CLEAR, GRAZING, ONE_RIDGE, TWO_RIDGES, MANY_RIDGES, EARTH_BULGE, SCATTER = range(len(PATH_CLASSES))
UNKNOWN_CLASS = 255

(
    RIDGES,  # before the one that a vertex belongs to
    LOWEST_M,  # ground looked at for that one
    HIGHEST_M,
) = range(3)
STRING_ROWS = 3


@vector_kernel
def clear_or_grazing(squared_clearance, total_km):
    """Return CLEAR or GRAZING for a path in line of sight.

    squared_clearance : smallest below^2/(x (total - x)), m^2/km^2, of sweep_hulls.most_obstructing

    Source: first Fresnel zone of ITU-R P.526-16, section 2; the share of it is ridges.FRESNEL_SHARE.
    """
    share = math.sqrt(squared_clearance * total_km * CLASS_MHZ) / 550.0
    return CLEAR if share >= FRESNEL_SHARE else GRAZING


@vector_kernel
def _parts(ground_m, from_km, from_m, slope, curvature, step_km, first, last):
    """Return whether ground from first to last point falls far enough under the string to part two ridges.

    The string runs at slope, m/km, through (from_km, from_m) in lowered heights; first - 1 and last + 1 touch
    it. Looked at from the middle outwards, where a dip is deepest.
    """
    if last < first:
        return False
    zone_m = 275.0 * math.sqrt((last - first + 2) * step_km / CLASS_MHZ)  # P.526-16 section 2, half way
    deep_m = max(DIP_M, FRESNEL_SHARE * zone_m)
    after = (first + last + 1) >> 1
    before = after - 1
    while after <= last or before >= first:
        if after <= last:
            x_km = after * step_km
            if from_m + slope * (x_km - from_km) - ground_m[after] + curvature * x_km * x_km > deep_m:
                return True
            after += 1
        if before >= first:
            x_km = before * step_km
            if from_m + slope * (x_km - from_km) - ground_m[before] + curvature * x_km * x_km > deep_m:
                return True
            before -= 1
    return False


@vector_kernel
def _along_string(ground_m, from_km, from_m, slope, curvature, step_km, first, last, lowest_m, highest_m):
    """Return (lowest, highest) ground from first on that stays near the string, and whether last does.

    One point that does not is counted too. No further than needed to know that the ground is not flat.
    """
    onward = 1 if last >= first else -1
    point = first
    while highest_m - lowest_m < FLAT_M:
        lowest_m = min(lowest_m, ground_m[point])
        highest_m = max(highest_m, ground_m[point])
        x_km = point * step_km
        dip_m = from_m + slope * (x_km - from_km) - ground_m[point] + curvature * x_km * x_km
        if dip_m > DIP_M:
            return lowest_m, highest_m, False
        if point == last:
            break
        point += onward
    return lowest_m, highest_m, True


@vector_kernel
def _between(ground_m, first, last, lowest_m, highest_m):
    """Return (lowest, highest) ground from first to last point, as far as needed to know it is not flat."""
    for point in range(first, last + 1):
        lowest_m = min(lowest_m, ground_m[point])
        highest_m = max(highest_m, ground_m[point])
        if highest_m - lowest_m >= FLAT_M:
            break
    return lowest_m, highest_m


@vector_kernel
def settle_string(ground_m, tx_level_m, hull, mast_vertex, settled, vertex, curvature, step_km, string):
    """Work out the string's vertices from settled to vertex, and return the number then settled.

    mast_vertex : of the mast's horizon, where the string first touches ground. The work on a vertex is done
    once while it stands on the hull; it looks at points no farther than needed to decide.

    Source: counting rule of covermap.propagation.ridges (our own, no source). Accuracy: exact.
    """
    for at in range(settled, vertex + 1):
        x_km = hull[X_KM, at]
        y_m = hull[Y_M, at]
        point = int(hull[POINT, at])
        ridges = 0.0
        own = True  # begins a ridge of its own
        before = 0
        slope = (y_m - tx_level_m) / x_km
        if at > mast_vertex:
            before = int(hull[POINT, at - 1])
            slope = hull[SLOPE, at - 1]
            ridges = string[RIDGES, at - 1]
            own = _parts(ground_m, x_km, y_m, slope, curvature, step_km, before + 1, point - 1)
            if own:
                lowest_m, highest_m, _ = _along_string(
                    ground_m, x_km, y_m, slope, curvature, step_km, before + 1, point,
                    string[LOWEST_M, at - 1], string[HIGHEST_M, at - 1],
                )  # fmt: skip
                ridges += 1.0 if highest_m - lowest_m >= FLAT_M else 0.0
        if own:
            lowest_m, highest_m, _ = _along_string(
                ground_m, x_km, y_m, slope, curvature, step_km, point - 1, before, ground_m[point],
                ground_m[point],
            )  # fmt: skip
        else:
            lowest_m, highest_m = _between(
                ground_m, before, point, string[LOWEST_M, at - 1], string[HIGHEST_M, at - 1]
            )
        string[RIDGES, at] = ridges
        string[LOWEST_M, at] = lowest_m
        string[HIGHEST_M, at] = highest_m
    return max(settled, vertex + 1)


@vector_kernel
def ridge_class(ground_m, rx_lowered_m, end_m, step, hull, vertex, curvature, step_km, string):
    """Return the class of a path beyond the horizon whose string leaves the ground at vertex, but SCATTER.

    rx_lowered_m : the receiving antenna in lowered heights; end_m : ground under it; step : of the item

    Source: covermap.propagation.ridges (our own, no source). Accuracy: exact.
    """
    ridges = string[RIDGES, vertex]
    lowest_m = string[LOWEST_M, vertex]
    highest_m = string[HIGHEST_M, vertex]
    if ridges < 3.0:
        x_km = hull[X_KM, vertex]
        y_m = hull[Y_M, vertex]
        total_km = step * step_km
        slope = (rx_lowered_m - y_m) / (total_km - x_km)
        point = int(hull[POINT, vertex])
        to_the_end = True
        if point < step - 1:
            lowest_m, highest_m, to_the_end = _along_string(
                ground_m, x_km, y_m, slope, curvature, step_km, point + 1, step - 1, lowest_m, highest_m
            )
        if to_the_end:
            lowest_m = min(lowest_m, end_m)
            highest_m = max(highest_m, end_m)
        ridges += 1.0 if highest_m - lowest_m >= FLAT_M else 0.0
    if ridges == 0.0:
        return EARTH_BULGE
    return ONE_RIDGE if ridges == 1.0 else (TWO_RIDGES if ridges == 2.0 else MANY_RIDGES)


@vector_kernel
def fill_path_class(n0, nu_row, count, items, ray, terms, gathered, earth, earth_item, path_class):
    """Write the class of each item's path: IN_THE_WAY, or SCATTER where that loses less at CLASS_MHZ.

    nu_row : row of ray with nu of Bullington's edge over bare ground, median Earth radius

    Source: ITU-R P.1812-8, sections 4.3 and 4.4, over land, horizontal, half of the time. Accuracy: exact.
    """
    frequency_ghz = CLASS_MHZ / 1000.0
    fill_diffraction(
        count, items, ray[nu_row], frequency_ghz, CLASS_WAVELENGTH_M, False, False, gathered, earth,
        earth_item, terms[SCRATCH], terms[DIFFRACTION_MEDIAN_DB],
    )  # fmt: skip
    more_db = scatter_frequency_db(frequency_ghz, n0, 50.0) - 20.0 * math.log10(frequency_ghz)
    for item in range(count):
        found = ray[IN_THE_WAY, item]
        scatter_db = terms[TROPOSCATTER_DB, item] + more_db
        wins = scatter_db < terms[FREE_SPACE_DB, item] + terms[DIFFRACTION_MEDIAN_DB, item]
        path_class[item] = SCATTER if wins and found >= ONE_RIDGE else int(found)
