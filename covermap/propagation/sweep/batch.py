"""Several radials in one call: each swept, and its answers given to the cells they belong to."""

import math

from covermap.propagation.compiling import kernel
from covermap.propagation.sweep.radial import sweep_radial


@kernel
def sweep_radials(
    ground_m, clutter_m, zone, step_km, mid_latitude_deg, tx_height_m, last_step, first_item, item_step,
    item_ground_m, dn, n0, heights_m, frequencies_ghz, longest_wavelength_m, vertical, time_percents,
    radii_km, gathered, surface_m, hulls, chain_slope, left_neighbour, string, items, rays, terms, smooth,
    earth, by_time, earth_item, departure_work, class_work, loss_work, excess_db, item_cell, loss_out,
    spread_out, departure_out, class_out,
):  # fmt: skip
    """Sweep radials and write their answers into the cells; return the first item out of order, or -1.

    One call for many radials: Python's part costs once, and the interpreter lock stays free meanwhile.
    ground_m, clutter_m, zone, mid_latitude_deg : shape (R, points or more); last_step : shape (R,)
    first_item : shape (R + 1,), where each radial's items begin in item_step, item_ground_m, excess_db and
        item_cell
    heights_m to earth_item : as sweep_radial
    departure_work, class_work, loss_work : flat, for a radial's answers
    excess_db, item_cell and the outputs : as give_to_cells
    """
    heights = heights_m.size
    answers = frequencies_ghz.size * time_percents.size * heights
    for radial in range(last_step.size):
        begin, end = first_item[radial], first_item[radial + 1]
        points, count = last_step[radial] + 1, end - begin
        loss_db = loss_work[: answers * count].reshape(
            (frequencies_ghz.size, time_percents.size, heights, count)
        )
        departure_mrad = departure_work[: heights * count].reshape((heights, count))
        unordered = sweep_radial(
            ground_m[radial, :points], clutter_m[radial, :points], zone[radial, :points], step_km,
            mid_latitude_deg[radial, :points], tx_height_m, item_step[begin:end], item_ground_m[begin:end],
            dn, n0, heights_m, frequencies_ghz, longest_wavelength_m, vertical, time_percents, radii_km,
            gathered, surface_m, hulls, chain_slope, left_neighbour, string, items, rays, terms, smooth,
            earth, by_time, earth_item, departure_mrad, class_work[:count], loss_db,
        )  # fmt: skip
        if unordered >= 0:
            return begin + unordered
        give_to_cells(
            loss_db, departure_mrad, class_work[:count], excess_db[begin:end], item_cell[begin:end], loss_out,
            spread_out, departure_out, class_out,
        )  # fmt: skip
    return -1


@kernel
def give_to_cells(
    loss_db, departure_mrad, path_class, excess_db, cells, loss_out, spread_out, departure_out, class_out
):
    """Write a radial's answers into the cells they belong to.

    loss_db : shape (F, P, H, items or more), P is 50 % of time and the other percentage
    departure_mrad : shape (H, items or more); path_class : shape (items or more,)
    excess_db : shape (items,), free space over the cell's own distance less over its step's: it takes
        the steps out of the map; terrain keeps the step's (under 0.9 dB, and 0.02 dB from 10 km on)
    cells : shape (items,), indices into the last axis of the outputs (F, H, N) and (N,)
    """
    frequencies, heights, _ = loss_out.shape
    for frequency in range(frequencies):
        for height in range(heights):
            for item in range(cells.size):
                median_db = loss_db[frequency, 0, height, item]
                spread_db = median_db - loss_db[frequency, 1, height, item]
                cell = cells[item]
                loss_out[frequency, height, cell] = median_db + excess_db[item]
                spread_out[frequency, height, cell] = 0.0 if spread_db < 0.0 else spread_db
    for item in range(cells.size):
        class_out[cells[item]] = path_class[item]
        known = not math.isnan(loss_db[0, 0, 0, item])
        departure_out[cells[item]] = math.degrees(0.001 * departure_mrad[0, item]) if known else math.nan
