"""Kernels of what the paths to a home would lose or gain by other surroundings; they know no terrain."""

import math

import numpy as np

from covermap.constants import CLEAR_OF_CLUTTER_KM
from covermap.propagation.compiling import kernel
from covermap.propagation.p1812 import p1812_path
from covermap.propagation.terms import TERM_COUNT

NEAR_KM, FAR_EVERY = 1.5, 5  # beyond, every fifth step will do for a difference: docs/decisions/cover_here.md
HERE_KM = 0.5  # what is "here": the last stretch of the path, a few squares; judgement
FAR_FROM_COAST_KM = 500.0  # ITU-R P.1812-8: what stands for "no coast near"
SEA = 1


@kernel
def fill_changes(
    steps,
    ground_m,
    clutter_m,
    zone,
    length_km,
    here_m,
    tops_m,
    tx_height_m,
    heights_m,
    frequency_ghz,
    vertical,
    dn,
    n0,
    mid_latitude_deg,
    change_db,
):
    """Fill change_db (T, S, H, n) along n profiles; see cover_change_db. Of far points every fifth is kept.

    Source: ITU-R P.1812-8; which points are here, and kept, is our own rule. Accuracy: as p1812_path; of a
    difference 0.6 dB (standard deviation) by what is left out.
    """
    most = ground_m.shape[1]
    distance_km, ground, clutter, changed = np.empty(most), np.empty(most), np.empty(most), np.empty(most)
    zones = np.empty(most, np.uint8)
    terms = np.empty(TERM_COUNT)
    for path in range(steps.size):
        last, total_km = steps[path], length_km[path]
        points, unknown = 0, False
        tx_coast_km, rx_coast_km = FAR_FROM_COAST_KM, FAR_FROM_COAST_KM
        for step in range(last + 1):
            along_km = total_km * step / last
            end_km = total_km - along_km
            # Both runs leave the same points out, so most of what that costs cancels in their difference.
            if end_km > NEAR_KM and step % FAR_EVERY != 0:
                continue
            distance_km[points] = along_km
            ground[points] = ground_m[path, step]
            unknown = unknown or math.isnan(ground[points])
            zones[points] = zone[path, step]
            clutter[points] = clutter_m[path, step]
            if min(along_km, end_km) < CLEAR_OF_CLUTTER_KM - 1e-9:
                clutter[points] = 0.0
            if zones[points] == SEA:
                tx_coast_km, rx_coast_km = min(tx_coast_km, along_km), end_km
            points += 1
        if unknown:
            continue
        for height in range(heights_m.size):
            for station in range(frequency_ghz.size):
                plain_db = p1812_path(
                    distance_km[:points], ground[:points], clutter[:points], zones[:points], tx_height_m,
                    heights_m[height], frequency_ghz[station], 50.0, vertical[station], dn, n0,
                    mid_latitude_deg[path], tx_coast_km, rx_coast_km, terms,
                )  # fmt: skip
                for top in range(tops_m.shape[0]):
                    if math.isnan(tops_m[top, path]):
                        continue
                    fill_here(distance_km[:points], zones, clutter, here_m[path], tops_m[top, path], changed)
                    other_db = p1812_path(
                        distance_km[:points], ground[:points], changed[:points], zones[:points], tx_height_m,
                        heights_m[height], frequency_ghz[station], 50.0, vertical[station], dn, n0,
                        mid_latitude_deg[path], tx_coast_km, rx_coast_km, terms,
                    )  # fmt: skip
                    change_db[top, station, height, path] = other_db - plain_db


@kernel
def fill_here(distance_km, zone, clutter_m, here_m, top_m, changed_m):
    """Write clutter heights with other tops on the last 500 m into changed_m; see cover_change_db.

    Source: our own rule. NaN gives NaN.
    """
    total_km = distance_km[distance_km.size - 1]
    for point in range(distance_km.size):
        changed_m[point] = clutter_m[point]
        end_km = total_km - distance_km[point]
        if end_km > HERE_KM or end_km < CLEAR_OF_CLUTTER_KM - 1e-9 or zone[point] == SEA:
            continue
        if top_m > here_m:
            changed_m[point] = max(clutter_m[point], top_m)
        else:
            changed_m[point] = min(clutter_m[point], top_m)
