"""Several radials in one call: each swept, and its answers given to the cells they belong to."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.sweep.radial import sweep_radial
from covermap.propagation.sweep.records import Answers, Radial


@kernel
def sweep_radials(radials, ends, asked, work, flat, cells):
    """Sweep radials and write their answers into the cells; return the first item out of order, or -1.

    One call for many radials: Python's part costs once, and the interpreter lock stays free meanwhile.
    radials : a Radial whose arrays have shape (R, points or more). ends : RadialItems
    flat : an Answers of flat arrays, as long as the longest radial's answers. cells : CellLosses, filled
    """
    heights = asked.heights_m.size
    shape = (asked.frequencies_ghz.size, asked.time_percents.size, heights)
    answers = shape[0] * shape[1] * heights
    for radial in range(ends.last_step.size):
        begin, end = ends.first[radial], ends.first[radial + 1]
        points, count = ends.last_step[radial] + 1, end - begin
        own = Answers(
            flat.loss_db[: answers * count].reshape((shape[0], shape[1], heights, count)),
            flat.departure_mrad[: heights * count].reshape((heights, count)),
            flat.path_class[:count],
        )
        one = Radial(
            radials.ground_m[radial, :points], radials.clutter_m[radial, :points],
            radials.zone[radial, :points], radials.mid_latitude_deg[radial, :points], radials.step_km,
            radials.tx_height_m, radials.dn, radials.n0,
        )  # fmt: skip
        unordered = sweep_radial(one, ends.step[begin:end], ends.ground_m[begin:end], asked, work, own)
        if unordered >= 0:
            return begin + unordered
        give_to_cells(own, ends.excess_db[begin:end], ends.cell[begin:end], cells)
    return -1


@kernel
def give_to_cells(own, excess_db, cell_of_item, cells):
    """Write a radial's answers into the cells they belong to.

    own : Answers whose percentages are 50 % of time and the other one
    excess_db : shape (items,), free space over the cell's own distance less over its step's: it takes
        the steps out of the map; terrain keeps the step's (under 0.9 dB, and 0.02 dB from 10 km on)
    cell_of_item : shape (items,), indices into the last axis of the arrays of cells
    """
    frequencies, heights, _ = cells.loss_db.shape
    for frequency in range(frequencies):
        for height in range(heights):
            for item in range(cell_of_item.size):
                median_db = own.loss_db[frequency, 0, height, item]
                spread_db = median_db - own.loss_db[frequency, 1, height, item]
                cell = cell_of_item[item]
                cells.loss_db[frequency, height, cell] = median_db + excess_db[item]
                # Readers take the spread as 0 or more. Not max(): unknown must stay NaN, and NaN < 0 is
                # false.
                cells.spread_db[frequency, height, cell] = 0.0 if spread_db < 0.0 else spread_db
    for item in range(cell_of_item.size):
        cell = cell_of_item[item]
        cells.path_class[cell] = own.path_class[item]
        known = not math.isnan(own.loss_db[0, 0, 0, item])
        cells.departure_deg[cell] = math.degrees(0.001 * own.departure_mrad[0, item]) if known else math.nan
