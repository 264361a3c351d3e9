"""Terrain under the irregular terrain model: horizons, roughness and effective heights of a profile."""

import math

import numpy as np

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.path import (
    ItmPath,
    effective_earth_radius_m,
    rough_horizon,
    surface_refractivity,
)

MOST_HEIGHTS = 245  # Hufford 1995, interdecile range: at most this many heights of a profile are looked at


@kernel
def middle_ground_m(ground_m, last):
    """Return the mean height of the middle four fifths of ground_m[0 .. last], in m.

    Source: Hufford 1995, preparatory calculations for a profile. Accuracy: exact.
    """
    edge = int(0.1 * last)
    total_m = 0.0
    for i in range(edge, last - edge + 1):
        total_m += ground_m[i]
    return total_m / (last - 2 * edge + 1)


@kernel
def profile_horizons(ground_m, last, step_m, tx_height_m, rx_height_m, earth_radius_m):
    """Return distance and elevation of the transmitter's horizon, then of the receiver's (m, rad).

    In sight of each other, each end is the other's horizon. ground_m[0 .. last] at steps of step_m.
    Source: Hufford 1995, preparatory calculations; NBS Technical Note 101, section 6. Accuracy: exact.
    """
    length_m = last * step_m
    tx_m = ground_m[0] + tx_height_m
    rx_m = ground_m[last] + rx_height_m
    sagging = 0.5 / earth_radius_m
    tx_rad = (rx_m - tx_m) / length_m - sagging * length_m
    rx_rad = (tx_m - rx_m) / length_m - sagging * length_m
    tx_horizon_m = length_m
    rx_horizon_m = length_m
    for i in range(1, last):
        ahead_m = i * step_m
        behind_m = length_m - ahead_m
        seen_from_tx = (ground_m[i] - tx_m) / ahead_m - sagging * ahead_m
        if seen_from_tx > tx_rad:
            tx_rad = seen_from_tx
            tx_horizon_m = ahead_m
        seen_from_rx = (ground_m[i] - rx_m) / behind_m - sagging * behind_m
        if seen_from_rx > rx_rad:
            rx_rad = seen_from_rx
            rx_horizon_m = behind_m
    return tx_horizon_m, tx_rad, rx_horizon_m, rx_rad


@kernel
def fitted_ends_m(ground_m, last, from_step, to_step):
    """Return the heights at both ends of ground_m[0 .. last] of a line fitted to a part of it, in m.

    from_step, to_step : the part, in steps from the start, need not be whole. The least-squares line
        counts the part's first and last height half; a part too short is widened by a step.

    Source: Hufford 1995, least-squares fit of a profile. Accuracy: exact.
    """
    first = int(max(from_step, 0.0))
    end = last - int(max(last - to_step, 0.0))
    if end <= first:
        first = max(first - 1, 0)
        end = last - max(last - (end + 1), 0)
    steps = end - first
    middle = 0.5 * (first + end)
    total = 0.5 * (ground_m[first] + ground_m[end])
    moment = 0.25 * steps * (ground_m[end] - ground_m[first])
    for i in range(first + 1, end):
        total += ground_m[i]
        moment += ground_m[i] * (i - middle)
    slope = 12.0 * moment / ((steps * steps + 2.0) * steps)
    mean = total / steps
    return mean - slope * middle, mean + slope * (last - middle)


@kernel
def interdecile_range_m(ground_m, last, step_m, start_m, end_m):
    """Return the interdecile range of heights above the fitted line between two distances, in m.

    Scaled to a path without end. Under 2 steps of ground: 0. ground_m[0 .. last] at steps of step_m.
    Source: Hufford 1995, delta h of a profile. Accuracy: exact.
    """
    start = start_m / step_m
    end = end_m / step_m
    if end - start < 2.0:
        return 0.0
    tenth = min(max(int(0.1 * (end - start + 8.0)), 4), 25)
    count = 10 * tenth - 5
    heights = np.empty(count)
    spacing = (end - start) / (count - 1)
    for j in range(count):
        place = start + j * spacing
        # the step that ends at or after the place; the last one reaches on
        upper = min(max(math.ceil(place), 1), last)
        heights[j] = ground_m[upper] + (ground_m[upper] - ground_m[upper - 1]) * (place - upper)
    first_m, last_m = fitted_ends_m(heights, count - 1, 0.0, count - 1.0)
    for j in range(count):
        heights[j] -= first_m + (last_m - first_m) * j / (count - 1)
    heights.sort()
    range_m = heights[count - tenth] - heights[tenth - 1]
    return range_m / (1.0 - 0.8 * math.exp(-(end_m - start_m) / 50e3))


@kernel
def expected_horizons(ground_m, last, step_m, start_m, end_m, heights_m, delta_h_m, earth_radius_m):
    """Return effective heights and the horizons to expect of two antennas well in sight of each other.

    heights_m : both antennas above ground, a pair. Returns a pair of each: effective heights (m),
        horizon distances (m), horizon elevations (rad).

    Source: Hufford 1995, effective heights of a profile within line of sight. Accuracy: exact.
    """
    length_m = last * step_m
    tx_fit_m, rx_fit_m = fitted_ends_m(ground_m, last, start_m / step_m, end_m / step_m)
    tx_m = heights_m[0] + max(ground_m[0] - tx_fit_m, 0.0)
    rx_m = heights_m[1] + max(ground_m[last] - rx_fit_m, 0.0)
    tx_distance_m, _ = rough_horizon(tx_m, delta_h_m, earth_radius_m)
    rx_distance_m, _ = rough_horizon(rx_m, delta_h_m, earth_radius_m)
    if tx_distance_m + rx_distance_m <= length_m:
        raised = (length_m / (tx_distance_m + rx_distance_m)) ** 2
        tx_m *= raised
        rx_m *= raised
    tx_distance_m, tx_rad = rough_horizon(tx_m, delta_h_m, earth_radius_m)
    rx_distance_m, rx_rad = rough_horizon(rx_m, delta_h_m, earth_radius_m)
    return (tx_m, rx_m), (tx_distance_m, rx_distance_m), (tx_rad, rx_rad)


@kernel
def itm_profile_path(ground_m, last, step_m, tx_height_m, rx_height_m, n0):
    """Return the ItmPath over ground_m[0 .. last], heights above sea level at steps of step_m.

    last : index of the receiver's point, 1 or more; the array may go on behind it. n0 : refractivity at
        sea level, N-units. A NaN in the ground gives a path with NaN in it.

    Source: Hufford 1995, preparatory calculations for a profile. Accuracy: exact.
    """
    length_m = last * step_m
    refractivity = surface_refractivity(n0, middle_ground_m(ground_m, last))
    radius_m = effective_earth_radius_m(refractivity)
    tx_horizon_m, tx_rad, rx_horizon_m, rx_rad = profile_horizons(
        ground_m, last, step_m, tx_height_m, rx_height_m, radius_m
    )
    # Ground close to an antenna says nothing of the roughness of the way: 15 heights of it, at most a tenth
    # of the way to the horizon, are left out at either end.
    start_m = min(15.0 * tx_height_m, 0.1 * tx_horizon_m)
    end_m = length_m - min(15.0 * rx_height_m, 0.1 * rx_horizon_m)
    delta_h_m = interdecile_range_m(ground_m, last, step_m, start_m, end_m)
    # Each is the path's length where both see each other, so the sum tells line of sight.
    if tx_horizon_m + rx_horizon_m > 1.5 * length_m:
        effective_m, horizons_m, angles_rad = expected_horizons(
            ground_m, last, step_m, start_m, end_m, (tx_height_m, rx_height_m), delta_h_m, radius_m
        )
    else:
        tx_fit_m, _ = fitted_ends_m(ground_m, last, start_m / step_m, 0.9 * tx_horizon_m / step_m)
        _, rx_fit_m = fitted_ends_m(ground_m, last, (length_m - 0.9 * rx_horizon_m) / step_m, end_m / step_m)
        effective_m = (
            tx_height_m + max(ground_m[0] - tx_fit_m, 0.0),
            rx_height_m + max(ground_m[last] - rx_fit_m, 0.0),
        )
        horizons_m = (tx_horizon_m, rx_horizon_m)
        angles_rad = (tx_rad, rx_rad)
    return ItmPath(
        length_m, tx_height_m, rx_height_m, effective_m[0], effective_m[1], horizons_m[0], horizons_m[1],
        angles_rad[0], angles_rad[1], delta_h_m, refractivity, radius_m, True,
    )  # fmt: skip
