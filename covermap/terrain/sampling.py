"""Kernels that look up rasters at points, and along lines that are given by knots.

Positions are in cells from the raster's outer corner: column 0.0 is the outer edge of the first column,
0.5 its centre. NaN, and anything outside the raster, is unknown.
"""

import math

from covermap.propagation.compiling import kernel

EDGE_CELLS = 1e-6  # a point on the outer edge may miss it by the rounding of its projection


@kernel
def is_inside(col, row, cols, rows):
    """Return True when a position lies in a raster of cols x rows cells; False for NaN."""
    return col >= -EDGE_CELLS and row >= -EDGE_CELLS and col <= cols + EDGE_CELLS and row <= rows + EDGE_CELLS


@kernel
def known_mean(first, second, weight):
    """Return the mean of two values, weight (0 to 1) on the second; a value without weight may be NaN."""
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
def fill_bilinear_along(array, knot_col, knot_row, steps_per_knot, out):
    """Write bilinear values along lines into out where out is NaN; return how many stay NaN.

    knot_col, knot_row : positions of the knots, shape (lines, K)
    out : shape (lines, n + 1), n <= (K - 1) steps_per_knot; step s lies at knot s / steps_per_knot
    """
    missing = 0
    lines, points = out.shape
    segments = knot_col.shape[1] - 1
    scale = 1.0 / steps_per_knot
    for line in range(lines):
        for segment in range(segments):
            start = segment * steps_per_knot
            stop = min(start + steps_per_knot, points)
            if segment == segments - 1:
                stop = points
            a0, a1, a2, a3 = segment_cubic(knot_col[line], segment)
            b0, b1, b2, b3 = segment_cubic(knot_row[line], segment)
            for step in range(start, stop):
                if math.isnan(out[line, step]):
                    t = (step - start) * scale
                    col = a0 + t * (a1 + t * (a2 + t * a3))
                    row = b0 + t * (b1 + t * (b2 + t * b3))
                    value = bilinear(array, col, row)
                    out[line, step] = value
                    if math.isnan(value):
                        missing += 1
    return missing


@kernel
def fill_nearest_along(array, values, outside, knot_col, knot_row, steps_per_knot, out):
    """Write values[array] of the cells that lines run through into out, `outside` where there is none.

    array : whole numbers that index values; the rest as fill_bilinear_along
    """
    lines, points = out.shape
    segments = knot_col.shape[1] - 1
    scale = 1.0 / steps_per_knot
    rows, cols = array.shape
    for line in range(lines):
        for segment in range(segments):
            start = segment * steps_per_knot
            stop = min(start + steps_per_knot, points)
            if segment == segments - 1:
                stop = points
            a0, a1, a2, a3 = segment_cubic(knot_col[line], segment)
            b0, b1, b2, b3 = segment_cubic(knot_row[line], segment)
            for step in range(start, stop):
                t = (step - start) * scale
                col = a0 + t * (a1 + t * (a2 + t * a3))
                row = b0 + t * (b1 + t * (b2 + t * b3))
                if is_inside(col, row, cols, rows):
                    cell = array[min(max(int(row), 0), rows - 1), min(max(int(col), 0), cols - 1)]
                    out[line, step] = values[cell]
                else:
                    out[line, step] = outside
