"""How far a prediction can be off at one home: the standard deviations and what they are made of."""

from __future__ import annotations

import math
from dataclasses import dataclass

from covermap.propagation.compiling import kernel
from covermap.propagation.locations import location_spread_db
from covermap.reception.external_noise import noise_location_sd_db
from covermap.reception.mount import clutter_top_m
from covermap.reception.options import ReceptionOptions
from covermap.reception.tiers import Tier

PREDICTION_WITH_LAND_COVER_DB = 6.0  # judgement: error of a cell's mean
PREDICTION_WITHOUT_DB = 8.0  # judgement
LOCATION_WITHOUT_LAND_COVER_DB = 5.5  # ITU-R P.1546-6, digital television, outdoors
SUMMARY_MHZ, SUMMARY_HEIGHT_M = 600.0, 10.0  # where the summary's location spread is stated


def prediction_sd_db(options: ReceptionOptions) -> float:
    """Return the standard deviation of the prediction of a cell's mean, in dB."""
    if options.prediction_error_db != "auto":
        return float(options.prediction_error_db)
    return PREDICTION_WITH_LAND_COVER_DB if options.has_land_cover else PREDICTION_WITHOUT_DB


@kernel
def own_spread_db(prediction_db, has_land_cover, frequency_mhz, cell_m, height_m, clutter_height_m):
    """Return s_i, the standard deviation of one path at one home, in dB.

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
    tier: Tier, frequency_mhz: float, options: ReceptionOptions, clutter_height_m: float = 0.0
) -> float:
    """Return s_i for a tier's mount: prediction and location. [dB]"""
    return float(
        own_spread_db(
            prediction_sd_db(options),
            options.has_land_cover,
            frequency_mhz,
            options.cell_m,
            tier.height_m,
            clutter_height_m,
        )
    )


def common_sd_db(
    tier: Tier, frequency_mhz: float, external_noise_share: float, options: ReceptionOptions
) -> float:
    """Return s_c, what a home's services share: building entry, and external noise by its share w. [dB]"""
    noise_db = noise_location_sd_db(frequency_mhz, options.noise_environment, tier.indoors)
    return math.hypot(tier.entry_loss_sd_db, external_noise_share * noise_db)


@dataclass(frozen=True)
class SigmaSummary:
    """The standard deviation that decides most, for an outdoor antenna at UHF: what reports print.

    total_db : of prediction_db (a cell's mean) and location_db (places within a cell)
    """

    total_db: float
    prediction_db: float
    location_db: float
    has_land_cover: bool

    def in_words(self) -> str:
        """Return one sentence for people."""
        surroundings = "land cover known" if self.has_land_cover else "no land cover"
        return (
            f"sigma {self.total_db:.1f} dB (prediction {self.prediction_db:g}, "
            f"places within a square {self.location_db:.1f}; {surroundings})"
        )


def sigma_summary(options: ReceptionOptions) -> SigmaSummary:
    """Return the standard deviation of an outdoor antenna at 10 m among clutter of 10 m, 600 MHz."""
    prediction_db = prediction_sd_db(options)
    total_db = own_spread_db(
        prediction_db, options.has_land_cover, SUMMARY_MHZ, options.cell_m, SUMMARY_HEIGHT_M, 0.0
    )
    location_db = math.sqrt(max(0.0, total_db**2 - prediction_db**2))
    return SigmaSummary(total_db, prediction_db, location_db, options.has_land_cover)
