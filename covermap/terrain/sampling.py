"""Kernels that look up rasters at points, and along lines that are given by knots.

Positions are in cells from the raster's outer corner: column 0.0 is the outer edge of the first column,
0.5 its centre. NaN, and anything outside the raster, is unknown.
"""

import math

import numpy as np

from covermap.propagation.compiling import kernel

EDGE_CELLS = 1e-6  # a point on the outer edge may miss it by the rounding of its projection


@kernel
def is_inside(col, row, cols, rows):
    """Return True when a position lies in a raster of cols x rows cells; False for NaN."""
    return col >= -EDGE_CELLS and row >= -EDGE_CELLS and col <= cols + EDGE_CELLS and row <= rows + EDGE_CELLS


@kernel
def known_mean(first, second, weight):
    """Return the mean of two values, weight (0 to 1) on the second; a value without weight may be NaN."""
    # 0 x NaN is NaN: a void neighbour that does not count must not be multiplied in.
    if weight <= 0.0:
        return first
    if weight >= 1.0:
        return second
    return first + weight * (second - first)


@kernel
def bilinear(array, col, row):
    """Return the bilinear value of array at a position, NaN outside or where a corner that counts is NaN.

    In the outer half cell, beyond the last centres, the value is that of the nearest centres.
    """
    rows, cols = array.shape
    if not is_inside(col, row, cols, rows):
        return math.nan
    x = min(max(col - 0.5, 0.0), cols - 1.0)
    y = min(max(row - 0.5, 0.0), rows - 1.0)
    left = int(x)
    top = int(y)
    right = min(left + 1, cols - 1)
    bottom = min(top + 1, rows - 1)
    x -= left
    y -= top
    upper = known_mean(float(array[top, left]), float(array[top, right]), x)
    lower = known_mean(float(array[bottom, left]), float(array[bottom, right]), x)
    return known_mean(upper, lower, y)


@kernel
def nearest(array, col, row, outside):
    """Return the value of the cell that holds a position, `outside` where there is none."""
    rows, cols = array.shape
    if not is_inside(col, row, cols, rows):
        return outside
    return array[min(max(int(row), 0), rows - 1), min(max(int(col), 0), cols - 1)]


@kernel
def fill_bilinear_at(array, col, row, out):
    """Write the bilinear value at each position into out where out is NaN; all of shape (n,)."""
    for point in range(out.size):
        if math.isnan(out[point]):
            out[point] = bilinear(array, col[point], row[point])


@kernel
def fill_nearest_at(array, col, row, outside, out):
    """Write the value of the cell at each position into out, shape (n,); `outside` where there is none."""
    for point in range(out.size):
        out[point] = nearest(array, col[point], row[point], outside)


@kernel
def segment_cubic(knots, segment):
    """Return the cubic through the four knots around a segment, as coefficients of 1, t, t^2, t^3.

    t is 0 at the segment's first knot and 1 at its second. With fewer than four knots the order falls.
    Newton's forward differences; the error is at most 3/128 of the fourth derivative times the knots'
    spacing to the fourth in the middle of a line, 1/24 at its ends (textbook interpolation error).
    """
    count = knots.size
    base = max(min(segment - 1, count - 4), 0)
    first = knots[base]
    d1 = knots[base + 1] - first
    d2 = 0.0
    d3 = 0.0
    if count > 2:
        d2 = knots[base + 2] - knots[base + 1] - d1
    if count > 3:
        d3 = knots[base + 3] - 2.0 * knots[base + 2] + knots[base + 1] - d2
    # f(u) = first + d1 u + d2 u(u-1)/2 + d3 u(u-1)(u-2)/6, with u = t + shift
    b1 = d1 - d2 / 2.0 + d3 / 3.0
    b2 = d2 / 2.0 - d3 / 2.0
    b3 = d3 / 6.0
    shift = float(segment - base)
    c0 = first + shift * (b1 + shift * (b2 + shift * b3))
    c1 = b1 + shift * (2.0 * b2 + 3.0 * shift * b3)
    c2 = b2 + 3.0 * shift * b3
    return c0, c1, c2, b3


@kernel
def segment_positions(knots, segment, count, steps_per_knot, positions):
    """Write the positions of the first `count` steps of a segment into positions, shape (>= count,).

    Positions, inner heights and the rest are three loops because the first then vectorises: together with
    unsigned indices 8 ns a point in place of 16 (300 x 300 cells, one core of an AMD EPYC, numba 0.68).
    """
    c0, c1, c2, c3 = segment_cubic(knots, segment)
    scale = 1.0 / steps_per_knot
    for step in range(count):
        t = step * scale
        positions[step] = c0 + t * (c1 + t * (c2 + t * c3))


@kernel
def inner_bilinear(array, col, row):
    """Return what bilinear gives where all four corners are there and known; NaN elsewhere.

    Unsigned indices spare the check for negative ones.
    """
    rows, cols = array.shape
    x = col - 0.5
    y = row - 0.5
    if not (x >= 0.0 and y >= 0.0 and x < cols - 1.0 and y < rows - 1.0):
        return math.nan
    left = np.uint32(np.int32(x))
    top = np.uint32(np.int32(y))
    right = left + np.uint32(1)
    bottom = top + np.uint32(1)
    x -= np.int32(x)
    y -= np.int32(y)
    upper = array[top, left] + x * (array[top, right] - array[top, left])
    lower = array[bottom, left] + x * (array[bottom, right] - array[bottom, left])
    return upper + y * (lower - upper)


@kernel
def fill_bilinear_along(array, knot_col, knot_row, steps_per_knot, out):
    """Write bilinear values along lines into out where out is NaN; return how many stay NaN.

    knot_col, knot_row : positions of the knots, shape (lines, K)
    out : shape (lines, n + 1), n <= (K - 1) steps_per_knot; step s lies at knot s / steps_per_knot
    """
    missing = 0
    lines, points = out.shape
    segments = knot_col.shape[1] - 1
    col = np.empty(steps_per_knot + 1)
    row = np.empty(steps_per_knot + 1)
    inner = np.empty(steps_per_knot + 1)
    for line in range(lines):
        for segment in range(segments):
            start = segment * steps_per_knot
            # the last knot is a step of its own, and belongs to the last segment
            count = min(steps_per_knot + (segment == segments - 1), points - start)
            segment_positions(knot_col[line], segment, count, steps_per_knot, col)
            segment_positions(knot_row[line], segment, count, steps_per_knot, row)
            for step in range(count):
                inner[step] = inner_bilinear(array, col[step], row[step])
            for step in range(count):
                if math.isnan(out[line, start + step]):
                    value = inner[step]
                    if math.isnan(value):
                        value = bilinear(array, col[step], row[step])
                        if math.isnan(value):
                            missing += 1
                    out[line, start + step] = value
    return missing


@kernel
def fill_nearest_along(array, values, outside, knot_col, knot_row, steps_per_knot, out):
    """Write values[array] of the cells that lines run through into out, `outside` where there is none.

    array : whole numbers that index values; the rest as fill_bilinear_along
    """
    lines, points = out.shape
    segments = knot_col.shape[1] - 1
    rows, cols = array.shape
    col = np.empty(steps_per_knot + 1)
    row = np.empty(steps_per_knot + 1)
    for line in range(lines):
        for segment in range(segments):
            start = segment * steps_per_knot
            count = min(steps_per_knot + (segment == segments - 1), points - start)
            segment_positions(knot_col[line], segment, count, steps_per_knot, col)
            segment_positions(knot_row[line], segment, count, steps_per_knot, row)
            for step in range(count):
                x = col[step]
                y = row[step]
                if x >= 0.0 and y >= 0.0 and x < cols and y < rows:
                    out[line, start + step] = values[array[np.uint32(np.int32(y)), np.uint32(np.int32(x))]]
                elif is_inside(x, y, cols, rows):
                    down = min(max(int(y), 0), rows - 1)
                    out[line, start + step] = values[array[down, min(max(int(x), 0), cols - 1)]]
                else:
                    out[line, start + step] = outside
