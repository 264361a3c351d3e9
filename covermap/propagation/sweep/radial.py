"""The order of the sweep: geometry, then what does not depend on frequency, then each frequency."""

import math

from covermap.propagation.p1812 import P1812_WAVELENGTH_M_GHZ
from covermap.propagation.path_geometry import median_radius_km
from covermap.propagation.sweep.combination import fill_loss, fill_time_interpolation, scatter_frequency_db
from covermap.propagation.sweep.diffraction import fill_diffraction
from covermap.propagation.sweep.geometry import fill_bullington_nu, fill_smooth_heights
from covermap.propagation.sweep.horizons import fill_horizons
from covermap.propagation.sweep.profile_sums import (
    fill_fitted_surface,
    fill_land_and_sea,
    fill_places,
    fill_surface,
    first_unordered,
)
from covermap.propagation.sweep.rows import (
    DIFFRACTION_MEDIAN_DB,
    DUCT_TIME_DB,
    INTERPOLATION,
    LOSS_DB,
    NU_BARE,
    NU_MEDIAN,
    SCRATCH,
    TX_MRAD,
    copy_row,
    whole_blocks,
)
from covermap.propagation.sweep.smooth_earth import fill_earth
from covermap.propagation.sweep.taut_string import UNKNOWN_CLASS, fill_path_class
from covermap.propagation.sweep.terms import (
    add_coast_coupling,
    fill_beta0,
    fill_distance_terms,
    fill_duct_frequency,
    fill_duct_terms,
    fill_duct_time,
    fill_ray_terms,
)
from covermap.propagation.vector_math import vector_kernel, vector_order


@vector_order
def fill_geometry(radial, any_clutter, tx_level_m, count, nu_row, asked, work):
    """Write the geometry of each item's path at each height into rays.

    Source: ITU-R P.1812-8, section 4.3 and Attachment 1 to Annex 1, sections 5.3 and 5.6. Accuracy: exact.
    """
    ground_m, step_km, heights_m, hulls = radial.ground_m, radial.step_km, asked.heights_m, work.hulls
    fill_fitted_surface(ground_m, step_km, count, work.items)
    fill_smooth_heights(ground_m, tx_level_m, heights_m, step_km, count, work.items, hulls[0], work.rays)
    fill_horizons(
        ground_m, tx_level_m, heights_m, step_km, 500.0 / work.radii_km[0], count, work.items, hulls[0],
        hulls[1], work.chain_slope, work.left_neighbour, work.string, nu_row, work.rays,
    )  # fmt: skip
    # Over bare ground fill_horizons has found the median radius's edge.
    for radius in range(0 if any_clutter else 1, work.radii_km.shape[0]):
        fill_bullington_nu(
            work.surface_m, tx_level_m, heights_m, step_km, 500.0 / work.radii_km[radius], count, work.items,
            hulls[0], work.rays, NU_MEDIAN + radius,
        )  # fmt: skip


@vector_kernel
def blank_unknown(count, item_ground_m, answers):
    """Write NaN and UNKNOWN_CLASS for the items from count on, and for those without ground of their own."""
    frequencies, times, heights, items = answers.loss_db.shape
    for item in range(items):
        if item >= count or math.isnan(item_ground_m[item]):
            answers.path_class[item] = UNKNOWN_CLASS
            for height in range(heights):
                answers.departure_mrad[height, item] = math.nan
                for frequency in range(frequencies):
                    for time in range(times):
                        answers.loss_db[frequency, time, height, item] = math.nan


@vector_order
def fill_place_terms(count, time_percents, items, by_time):
    """Write what depends on the place alone, and Fi of each time percentage."""
    columns = whole_blocks(count)
    fill_beta0(columns, items)
    fill_distance_terms(columns, items)
    for time in range(time_percents.shape[0]):
        fill_time_interpolation(columns, items, time_percents[time], by_time[INTERPOLATION, time])


@vector_order
def fill_height(step_km, tx_level_m, tx_coast_km, any_sea, count, ray, asked, work):
    """Write what one receiving height adds before any frequency: terms, earth and by_time."""
    columns = whole_blocks(count)
    fill_ray_terms(columns, work.items, ray, work.terms)
    fill_duct_terms(columns, work.items, ray, work.radii_km[0], work.terms)
    if any_sea:
        add_coast_coupling(count, work.items, ray, tx_level_m, tx_coast_km, work.terms)
    for time in range(asked.time_percents.shape[0]):
        log_percent = math.log10(asked.time_percents[time])
        fill_duct_time(columns, work.items, work.terms, log_percent, work.by_time[DUCT_TIME_DB, time])
    for radius in range(work.radii_km.shape[0]):
        work.gathered[radius] = fill_earth(
            count, work.items, ray, work.radii_km[radius], step_km, asked.longest_wavelength_m, work.smooth,
            work.earth[radius], work.earth_item[radius],
        )  # fmt: skip


@vector_order
def fill_frequency(frequency_ghz, vertical, n0, any_sea, height, count, ray, asked, work, loss_db):
    """Write the loss at one height and frequency into loss_db, shape (time percentages, heights, items)."""
    columns = whole_blocks(count)
    terms, by_time = work.terms, work.by_time
    wavelength_m = P1812_WAVELENGTH_M_GHZ / frequency_ghz
    fill_duct_frequency(columns, ray, frequency_ghz, work.radii_km[0], terms)
    for radius in range(work.radii_km.shape[0]):  # one call for both radii: two would double the compiling
        fill_diffraction(
            count, work.items, ray[NU_MEDIAN + radius], frequency_ghz, wavelength_m, vertical, any_sea,
            work.gathered[radius], work.earth[radius], work.earth_item[radius], terms[SCRATCH],
            terms[DIFFRACTION_MEDIAN_DB + radius],
        )  # fmt: skip
    frequency_db = 20.0 * math.log10(frequency_ghz)
    for time in range(asked.time_percents.shape[0]):
        percent = asked.time_percents[time]
        scatter_db = scatter_frequency_db(frequency_ghz, n0, percent)
        fill_loss(
            columns, work.items, terms, percent, by_time[INTERPOLATION, time], by_time[DUCT_TIME_DB, time],
            frequency_db, scatter_db, terms[LOSS_DB],
        )  # fmt: skip
        copy_row(count, terms[LOSS_DB], loss_db[time, height])


@vector_kernel
def sweep_radial(radial, item_step, item_ground_m, asked, work, answers):
    """Write loss, departure angle and path class of every item; return the first item out of order, or -1.

    item_step, item_ground_m : as RadialSweep.run. The rest are records of covermap.propagation.sweep.records.

    Source: ITU-R P.1812-8, Annex 1. Accuracy: of RadialSweep.
    """
    ground_m, step_km = radial.ground_m, radial.step_km
    unordered = first_unordered(item_step, ground_m.shape[0] - 1)
    if unordered >= 0:
        return unordered
    first_unknown, any_clutter = fill_surface(ground_m, radial.clutter_m, work.surface_m)
    count = fill_places(item_step, item_ground_m, radial.mid_latitude_deg, step_km, first_unknown, work.items)
    work.radii_km[0] = median_radius_km(radial.dn)
    tx_level_m = ground_m[0] + radial.tx_height_m
    nu_row = NU_BARE if any_clutter else NU_MEDIAN
    tx_coast_km, any_sea = fill_land_and_sea(radial.zone, step_km, count, work.items)
    fill_geometry(radial, any_clutter, tx_level_m, count, nu_row, asked, work)
    fill_place_terms(count, asked.time_percents, work.items, work.by_time)
    for height in range(asked.heights_m.shape[0]):
        ray = work.rays[height]
        copy_row(count, ray[TX_MRAD], answers.departure_mrad[height])
        fill_height(step_km, tx_level_m, tx_coast_km, any_sea, count, ray, asked, work)
        if height == 0:
            fill_path_class(
                radial.n0, nu_row, count, work.items, ray, work.terms, work.gathered[0], work.earth[0],
                work.earth_item[0], answers.path_class,
            )  # fmt: skip
        for frequency in range(asked.frequencies_ghz.shape[0]):
            fill_frequency(
                asked.frequencies_ghz[frequency], asked.vertical[frequency], radial.n0, any_sea, height,
                count, ray, asked, work, answers.loss_db[frequency],
            )  # fmt: skip
    blank_unknown(count, item_ground_m, answers)
    return -1
