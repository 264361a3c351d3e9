"""What a reading's aim and the leaves around it cost, and the doubt they add."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from covermap.grid.exact_path import PointProfile
from covermap.measurements.readings import BARE, IN_LEAF, Reading
from covermap.reception.pattern import lobe_floor_db, lobe_rolloff, off_axis_deg, off_axis_loss_db
from covermap.terrain import Terrain
from covermap.wording.language import say
from covermap.wording.tier_names import spoken_tier_names
from covermap.wording.words import as_given, decimal, row_place

MISAIM_DEG = 10.0  # common practice, no source: 10 degrees off a 30 degree beam cost 1.3 dB
LOBE_DOUBT = 0.5  # judgement: share of the lobe's loss by which real antennas differ from it
LEAF_SD_DB = 4.0  # judgement: how far leaves on the trees around move a reading
WOODS_M = 5.0  # judgement: land cover as high as this and not built up counts as woods
WOOD_WORDS = ("wood", "forest", "tree")


class OffAim(NamedTuple):
    """Angle between aim and mast (NaN unknown), what it cost, and the doubt of that. [deg, dB, dB]"""

    angle_deg: float
    loss_db: float
    sd_db: float


def off_aim(reading: Reading, profile: PointProfile) -> OffAim:
    """Return what a reading lost because its antenna did not look at the mast.

    Without an aim the antenna is taken to look at the mast. Without a mount its lobe is not known: no loss is
    worked out, and aim_and_leaf_words tells of it.
    """
    if math.isnan(reading.aim_deg):
        return OffAim(math.nan, 0.0, 0.0)
    angle_deg = float(off_axis_deg(reading.aim_deg % 360.0, profile.back_azimuth_deg))
    if reading.tier is None:
        return OffAim(angle_deg, 0.0, 0.0)
    antenna = reading.tier.at(reading.station.frequency_mhz)
    floor_db = lobe_floor_db(antenna.beamwidth_deg, antenna.front_to_back_db)
    loss_db = float(off_axis_loss_db(angle_deg, lobe_rolloff(antenna.beamwidth_deg), floor_db, 0.0))
    return OffAim(angle_deg, loss_db, LOBE_DOUBT * loss_db)


def in_woods(reading: Reading, terrain: Terrain) -> bool:
    """Return whether a reading was taken among trees: by its own word, else by the land cover."""
    # who stood there knows better than a square of land cover
    if reading.clutter:
        return any(word in reading.clutter for word in WOOD_WORDS)
    place = np.array([reading.longitude_deg]), np.array([reading.latitude_deg])
    return bool(terrain.clutter_height_m(*place)[0] >= WOODS_M and not terrain.built_up(*place)[0])


def leaf_sd_db(reading: Reading, terrain: Terrain) -> float:
    """Return the doubt that leaves add to a reading: that of trees in leaf around it. [dB]"""
    return LEAF_SD_DB if reading.leaf == IN_LEAF and in_woods(reading, terrain) else 0.0


def aim_and_leaf_words(readings: Sequence[Reading], offs: Sequence[OffAim], terrain: Terrain) -> list[str]:
    """Return sentences on readings taken off their mast or among trees. offs : one a reading"""
    sentences = []
    for reading, off in zip(readings, offs, strict=True):
        if not off.angle_deg > MISAIM_DEG:
            continue
        past = {
            "where": row_place(reading.where),
            "degrees": decimal(off.angle_deg),
            "mast": reading.station.mast,
        }
        if reading.tier is None:
            sentences.append(say("calibration.doubt.off_aim_lost", **past))
        else:
            (tier,) = spoken_tier_names([reading.tier.name], reading.tier.tier)
            sentences.append(say("calibration.doubt.off_aim", db=decimal(off.loss_db), tier=tier, **past))
    among = [r for r in readings if in_woods(r, terrain)]
    leafy, bare = (sum(r.leaf == state for r in among) for state in (IN_LEAF, BARE))
    if leafy:
        sentences.append(say("calibration.doubt.leafy", count=leafy, db=as_given(LEAF_SD_DB)))
    if bare:
        sentences.append(say("calibration.doubt.bare", count=bare))
    if leafy and bare:
        sentences.append(say("calibration.doubt.mixed_leaf"))
    return sentences
