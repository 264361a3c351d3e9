"""How far a prediction can be off at one receiver site: the standard deviations and what they are made of."""

from __future__ import annotations

import math
from dataclasses import dataclass

from covermap.constants import BANDS
from covermap.propagation.compiling import kernel
from covermap.propagation.locations import location_spread_db
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.bands import band_of
from covermap.reception.chain import ReceivingChain
from covermap.reception.entry import entry_db
from covermap.reception.external_noise import noise_location_sd_db
from covermap.reception.mount import clutter_top_m
from covermap.reception.options import ReceptionOptions
from covermap.reception.tiers import Tier

OPEN_PATH = "clear"  # what stands for a path of which is not known what is in its way
PREDICTION_WITH_LAND_COVER_DB = 6.0  # judgement: error of a cell's mean on an open path
PREDICTION_WITHOUT_DB = 8.0  # judgement
LOCATION_WITHOUT_LAND_COVER_DB = 5.5  # ITU-R P.1546-6, digital television, outdoors
SUMMARY_MHZ, SUMMARY_HEIGHT_M = 600.0, 10.0  # where the summary's location spread is stated


def prediction_sd_db(options: ReceptionOptions, path_class: str = OPEN_PATH, band: str = "uhf") -> float:
    """Return the standard deviation of the prediction of a cell's mean by what is in the way, in dB."""
    if options.prediction_error_db != "auto":
        return float(options.prediction_error_db)
    anywhere = PREDICTION_WITH_LAND_COVER_DB, PREDICTION_WITHOUT_DB
    known_db, unknown_db = options.path_spread_db.get((path_class, band), anywhere)
    return float(known_db if options.has_land_cover else unknown_db)


def prediction_by_path(options: ReceptionOptions) -> dict[str, dict[str, float]]:
    """Return prediction_sd_db of every band and class of path. [dB]"""
    return {band: {kind: prediction_sd_db(options, kind, band) for kind in PATH_CLASSES} for band in BANDS}


@kernel
def own_spread_db(prediction_db, has_land_cover, frequency_mhz, cell_m, height_m, clutter_height_m):
    """Return s_i, the standard deviation of one path at one receiver site, in dB.

    prediction_db : of prediction_sd_db. height_m : of the mount. clutter_height_m : of the land-cover
    class, 0 where none; at least 10 m is used. NaN gives NaN.

    Source: root of the sum of squares; location spread of ITU-R P.1812-8 section 4.7 where land cover is
        known, 5.5 dB of ITU-R P.1546-6 elsewhere. Accuracy: of those.
    """
    location_db = LOCATION_WITHOUT_LAND_COVER_DB
    if has_land_cover:
        location_db = location_spread_db(
            frequency_mhz / 1000.0, cell_m, height_m, clutter_top_m(clutter_height_m)
        )
    return math.hypot(prediction_db, location_db)


def own_sd_db(
    tier: Tier,
    frequency_mhz: float,
    options: ReceptionOptions,
    clutter_height_m: float = 0.0,
    path_class: str = OPEN_PATH,
) -> float:
    """Return s_i for a tier's mount at the end of a path: prediction and location. [dB]"""
    return float(
        own_spread_db(
            prediction_sd_db(options, path_class, band_of(frequency_mhz)),
            options.has_land_cover,
            frequency_mhz,
            options.cell_m,
            tier.height_m,
            clutter_height_m,
        )
    )


def noise_sd_db(tier: Tier, frequency_mhz: float, chain: ReceivingChain, options: ReceptionOptions) -> float:
    """Return the part of s_c that counts in full only where noise and not interference limits. [dB]

    External noise by its share w, and how far the installation's own figures can be off.
    """
    outside_db = noise_location_sd_db(frequency_mhz, options.noise_environment, tier.indoors)
    return math.hypot(chain.external_noise_share * outside_db, chain.figures_sd_db)


def common_sd_db(tier: Tier, frequency_mhz: float, chain: ReceivingChain, options: ReceptionOptions) -> float:
    """Return s_c, what a home's services share: building entry, external noise, the installation. [dB]"""
    entry_sd_db = entry_db(tier, frequency_mhz, options.building)[1]
    return math.hypot(entry_sd_db, noise_sd_db(tier, frequency_mhz, chain, options))


@dataclass(frozen=True)
class SigmaSummary:
    """The standard deviation that decides most, for an outdoor antenna at UHF: what reports print.

    total_db : of prediction_db (a cell's mean) and location_db (places within a cell), at the end of an open
        path
    by_path_db : total_db by what stands in the way, path class -> dB
    """

    total_db: float
    prediction_db: float
    location_db: float
    has_land_cover: bool
    by_path_db: dict[str, float]

    def in_words(self) -> str:
        """Return what is said of it to people."""
        around = "land cover known" if self.has_land_cover else "no land cover"
        parts = f"prediction {self.prediction_db:g}, places within a square {self.location_db:.1f}; {around}"
        if len(set(self.by_path_db.values())) == 1:
            return f"sigma {self.total_db:.1f} dB ({parts})"
        one, two, more = (self.by_path_db[kind] for kind in ("one_ridge", "two_ridges", "many_ridges"))
        return (
            f"sigma {self.total_db:.1f} dB on an open path ({parts}), {one:.1f} behind one hill, "
            f"{two:.1f} behind two, {more:.1f} behind more"
        )


def sigma_summary(options: ReceptionOptions) -> SigmaSummary:
    """Return the standard deviation of an outdoor antenna at 10 m among clutter of 10 m, 600 MHz."""
    by_path_db = {}
    for kind in PATH_CLASSES:
        of_path_db = prediction_sd_db(options, kind)
        by_path_db[kind] = own_spread_db(
            of_path_db, options.has_land_cover, SUMMARY_MHZ, options.cell_m, SUMMARY_HEIGHT_M, 0.0
        )
    prediction_db, total_db = prediction_sd_db(options), by_path_db[OPEN_PATH]
    location_db = math.sqrt(max(0.0, total_db**2 - prediction_db**2))
    return SigmaSummary(total_db, prediction_db, location_db, options.has_land_cover, by_path_db)
