"""How a transmitter's spread follows what stands in the way of its path."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from covermap.constants import BANDS
from covermap.propagation.compiling import kernel
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.bands import band_of
from covermap.reception.budget import COMMON_DB
from covermap.reception.confidence import APART_INVERSE, HOME_RATIO, OWN_DB, SPREADS, TOTAL_INVERSE
from covermap.reception.options import ReceptionOptions
from covermap.reception.tiers import Tier
from covermap.reception.variability import OPEN_PATH, own_spread_db, prediction_sd_db

EVERY_BYTE = 256


def spread_levels(options: ReceptionOptions) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Return the level of each path class, shape (256,), and each level's prediction spread, (L, bands). [dB]

    Classes are numbered as covermap.propagation.ridges.PATH_CLASSES; any other number is an open path. Those
    of equal spreads are one level: with one figure for all paths there is one.
    """
    by_class = [tuple(prediction_sd_db(options, kind, band) for band in BANDS) for kind in PATH_CLASSES]
    levels = list(dict.fromkeys(by_class))
    level_of = np.full(EVERY_BYTE, levels.index(by_class[PATH_CLASSES.index(OPEN_PATH)]), np.uint8)
    level_of[: len(by_class)] = [levels.index(spreads) for spreads in by_class]
    return level_of, np.array(levels)


def tier_spreads(
    tiers: tuple[Tier, ...],
    frequency_mhz: NDArray[np.float64],
    clutter_m: NDArray[np.float64],
    options: ReceptionOptions,
    figures: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the spreads in each kind of surroundings, shape (K, T, W, L, SPREADS).

    frequency_mhz : (W,). clutter_m : (K,). figures : of tier_figures, (K, T, FIGURES, W)
    The last axis is in the order of the rows from SPREAD_ROWS on of covermap.reception.confidence.
    """
    of_band = [BANDS.index(band_of(mhz)) for mhz in frequency_mhz.tolist()]
    prediction_db = np.ascontiguousarray(spread_levels(options)[1][:, of_band])
    spreads = np.empty((*figures.shape[:2], frequency_mhz.size, prediction_db.shape[0], SPREADS))
    _fill_spreads(
        prediction_db,
        options.has_land_cover,
        float(options.cell_m),
        float(options.home_correlation),
        np.array([float(tier.height_m) for tier in tiers]),
        frequency_mhz,
        clutter_m,
        np.ascontiguousarray(figures[:, :, COMMON_DB]),
        spreads,
    )
    return spreads


@kernel
def _fill_spreads(
    prediction_db, has_land_cover, cell_m, home_correlation, heights_m, frequency_mhz, clutter_m, common_db,
    spreads,
):  # fmt: skip
    """Fill the spreads of every transmitter; prediction_db : (L, W). common_db : (K, T, W)."""
    kinds, tiers, transmitters, levels, _ = spreads.shape
    first = APART_INVERSE
    for kind in range(kinds):
        for tier in range(tiers):
            for item in range(transmitters):
                shared_db = common_db[kind, tier, item]
                for level in range(levels):
                    own_db = own_spread_db(
                        prediction_db[level, item], has_land_cover, frequency_mhz[item], cell_m,
                        heights_m[tier], clutter_m[kind],
                    )  # fmt: skip
                    apart_db = own_db * math.sqrt(1.0 - home_correlation)
                    home_db = math.sqrt(home_correlation * own_db * own_db + shared_db * shared_db)
                    found = spreads[kind, tier, item, level]
                    found[APART_INVERSE - first] = 1.0 / apart_db
                    found[HOME_RATIO - first] = home_db / apart_db
                    found[TOTAL_INVERSE - first] = 1.0 / math.hypot(own_db, shared_db)
                    found[OWN_DB - first] = own_db
