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
def fill_geometry(
    ground_m, surface_m, any_clutter, radii_km, tx_level_m, heights_m, step_km, count, items,
    hulls, chain_slope, left_neighbour, string, nu_row, rays,
):  # fmt: skip
    """Write the geometry of each item's path at each height into rays.

    Source: ITU-R P.1812-8, section 4.3 and Attachment 1 to Annex 1, sections 5.3 and 5.6. Accuracy: exact.
    """
    fill_fitted_surface(ground_m, step_km, count, items)
    fill_smooth_heights(ground_m, tx_level_m, heights_m, step_km, count, items, hulls[0], rays)
    fill_horizons(
        ground_m, tx_level_m, heights_m, step_km, 500.0 / radii_km[0], count, items, hulls[0], hulls[1],
        chain_slope, left_neighbour, string, nu_row, rays,
    )  # fmt: skip
    # Over bare ground fill_horizons has found the median radius's edge.
    for radius in range(0 if any_clutter else 1, radii_km.shape[0]):
        fill_bullington_nu(
            surface_m, tx_level_m, heights_m, step_km, 500.0 / radii_km[radius], count, items, hulls[0], rays,
            NU_MEDIAN + radius,
        )  # fmt: skip


@vector_kernel
def blank_unknown(count, item_ground_m, departure_mrad, path_class, loss_db):
    """Write NaN and UNKNOWN_CLASS for the items from count on, and for those without ground of their own."""
    frequencies, times, heights, items = loss_db.shape
    for item in range(items):
        if item >= count or math.isnan(item_ground_m[item]):
            path_class[item] = UNKNOWN_CLASS
            for height in range(heights):
                departure_mrad[height, item] = math.nan
                for frequency in range(frequencies):
                    for time in range(times):
                        loss_db[frequency, time, height, item] = math.nan


@vector_order
def fill_place_terms(count, items, time_percents, by_time):
    """Write what depends on the place alone, and Fi of each time percentage."""
    columns = whole_blocks(count)
    fill_beta0(columns, items)
    fill_distance_terms(columns, items)
    for time in range(time_percents.shape[0]):
        fill_time_interpolation(columns, items, time_percents[time], by_time[INTERPOLATION, time])


@vector_order
def fill_height(
    step_km, tx_level_m, tx_coast_km, any_sea, longest_wavelength_m, time_percents, radii_km,
    count, items, ray, terms, smooth, earth, by_time, earth_item, gathered,
):  # fmt: skip
    """Write what one receiving height adds before any frequency: terms, earth and by_time."""
    columns = whole_blocks(count)
    fill_ray_terms(columns, items, ray, terms)
    fill_duct_terms(columns, items, ray, radii_km[0], terms)
    if any_sea:
        add_coast_coupling(count, items, ray, tx_level_m, tx_coast_km, terms)
    for time in range(time_percents.shape[0]):
        log_percent = math.log10(time_percents[time])
        fill_duct_time(columns, items, terms, log_percent, by_time[DUCT_TIME_DB, time])
    for radius in range(radii_km.shape[0]):
        gathered[radius] = fill_earth(
            count, items, ray, radii_km[radius], step_km, longest_wavelength_m, smooth, earth[radius],
            earth_item[radius],
        )  # fmt: skip


@vector_order
def fill_frequency(
    frequency_ghz, vertical, n0, any_sea, time_percents, radii_km, height,
    count, items, ray, terms, earth, by_time, earth_item, gathered, loss_db,
):  # fmt: skip
    """Write the loss at one height and frequency into loss_db, shape (time percentages, heights, items)."""
    columns = whole_blocks(count)
    wavelength_m = P1812_WAVELENGTH_M_GHZ / frequency_ghz
    fill_duct_frequency(columns, ray, frequency_ghz, radii_km[0], terms)
    for radius in range(radii_km.shape[0]):  # one call for both radii: two would double the compiling
        fill_diffraction(
            count, items, ray[NU_MEDIAN + radius], frequency_ghz, wavelength_m, vertical, any_sea,
            gathered[radius], earth[radius], earth_item[radius], terms[SCRATCH],
            terms[DIFFRACTION_MEDIAN_DB + radius],
        )  # fmt: skip
    frequency_db = 20.0 * math.log10(frequency_ghz)
    for time in range(time_percents.shape[0]):
        percent = time_percents[time]
        scatter_db = scatter_frequency_db(frequency_ghz, n0, percent)
        fill_loss(
            columns, items, terms, percent, by_time[INTERPOLATION, time], by_time[DUCT_TIME_DB, time],
            frequency_db, scatter_db, terms[LOSS_DB],
        )  # fmt: skip
        copy_row(count, terms[LOSS_DB], loss_db[time, height])


@vector_kernel
def sweep_radial(
    ground_m, clutter_m, zone, step_km, mid_latitude_deg, tx_height_m, item_step, item_ground_m, dn, n0,
    heights_m, frequencies_ghz, longest_wavelength_m, vertical, time_percents, radii_km,
    gathered, surface_m, hulls, chain_slope, left_neighbour, string, items, rays, terms, smooth, earth,
    by_time, earth_item, departure_mrad, path_class, loss_db,
):  # fmt: skip
    """Write loss, departure angle and path class of every item; return the first item out of order, or -1.

    radii_km : Earth radii; the first is written here, the second, for beta0, may be left out. The rest as
    RadialSweep.run and sweep_rows describe it.

    Source: ITU-R P.1812-8, Annex 1. Accuracy: of RadialSweep.
    """
    unordered = first_unordered(item_step, ground_m.shape[0] - 1)
    if unordered >= 0:
        return unordered
    first_unknown, any_clutter = fill_surface(ground_m, clutter_m, surface_m)
    count = fill_places(item_step, item_ground_m, mid_latitude_deg, step_km, first_unknown, items)
    radii_km[0] = median_radius_km(dn)
    tx_level_m = ground_m[0] + tx_height_m
    nu_row = NU_BARE if any_clutter else NU_MEDIAN
    tx_coast_km, any_sea = fill_land_and_sea(zone, step_km, count, items)
    fill_geometry(
        ground_m, surface_m, any_clutter, radii_km, tx_level_m, heights_m, step_km, count, items,
        hulls, chain_slope, left_neighbour, string, nu_row, rays,
    )  # fmt: skip
    fill_place_terms(count, items, time_percents, by_time)
    for height in range(heights_m.shape[0]):
        ray = rays[height]
        copy_row(count, ray[TX_MRAD], departure_mrad[height])
        fill_height(
            step_km, tx_level_m, tx_coast_km, any_sea, longest_wavelength_m, time_percents, radii_km,
            count, items, ray, terms, smooth, earth, by_time, earth_item, gathered,
        )  # fmt: skip
        if height == 0:
            fill_path_class(
                n0, nu_row, count, items, ray, terms, gathered[0], earth[0], earth_item[0], path_class
            )
        for frequency in range(frequencies_ghz.shape[0]):
            fill_frequency(
                frequencies_ghz[frequency], vertical[frequency], n0, any_sea, time_percents, radii_km, height,
                count, items, ray, terms, earth, by_time, earth_item, gathered, loss_db[frequency],
            )  # fmt: skip
    blank_unknown(count, item_ground_m, departure_mrad, path_class, loss_db)
    return -1
