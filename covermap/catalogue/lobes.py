"""The lobe that reception counts with: told from a gain, or fitted to a pattern."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.constants import DBI_FROM_DBD
from covermap.reception.pattern import lobe_rolloff
from covermap.scenario.records import Pattern

# An antenna with less than this, and no beamwidth given, is taken to receive from all directions alike.
LEAST_LOBE_DBD = 3.0  # judgement
BEAM_AREA_DEG2 = 32_400.0  # directivity times beamwidth squared, of an antenna with one lobe; from memory
FRONT_TO_BACK_DB = {"low_vhf": 10.0, "high_vhf": 12.0, "uhf": 14.0}  # FCC Sixth Report and Order, App. A
HALF_POWER_DB = 3.0103
DEEPEST_DB = 25.0  # what lies lower in a pattern counts as that: no roof keeps a null (judgement)
MAIN_LOBE_DB = 6.0  # down to here a lobe is asked whether it suits
# Farther off a pattern is refused. Of 75 computed ones (docs/decisions/own_patterns.md) the lobe is within
# 1.7 dB in the main lobe; 68 are within 6 dB all round, and the others hear front and back nearly alike.
MOST_OFF_IN_LOBE_DB = 2.0
MOST_OFF_ALL_ROUND_DB = 6.0


class FittedLobe(NamedTuple):
    """The lobe that stands for a pattern, and how far it is off it.

    beamwidth_deg : between the half-power points; NaN all directions alike
    front_to_back_db : how far it falls at most
    off_in_lobe_db : most difference down to 6 dB below the strongest direction
    off_all_round_db : root mean square over all directions; hears_more_db : most that the pattern is above it
    """

    beamwidth_deg: float
    front_to_back_db: float
    off_in_lobe_db: float
    off_all_round_db: float
    hears_more_db: float

    @property
    def suits(self) -> bool:
        """Return whether the lobe can stand for the pattern."""
        return self.off_in_lobe_db <= MOST_OFF_IN_LOBE_DB and self.off_all_round_db <= MOST_OFF_ALL_ROUND_DB


def usual_lobe(
    beamwidth_deg: float, front_to_back_db: float, band: str, gain_dbd: float
) -> tuple[float, float]:
    """Return beamwidth and front-to-back ratio with what is missing (NaN) told from the gain. [degrees, dB]

    Source: 32 400 square degrees over the directivity, of an antenna with one lobe (from memory); front to
        back of planning antennas. Accuracy: a fifth of the width for yagis; stacks are wider one way.
    """
    lobe = gain_dbd >= LEAST_LOBE_DBD
    if math.isnan(beamwidth_deg) and lobe:
        directivity = 10.0 ** ((gain_dbd + DBI_FROM_DBD) / 10.0)
        beamwidth_deg = math.sqrt(BEAM_AREA_DEG2 / directivity)
    if math.isnan(front_to_back_db):
        front_to_back_db = FRONT_TO_BACK_DB[band] if lobe else 0.0
    return beamwidth_deg, front_to_back_db


def fitted_lobe(pattern: Pattern) -> FittedLobe:
    """Return the lobe that stands for a pattern in azimuth, aimed at its strongest direction.

    Its width is that between the half-power points, so that it suits where antennas are aimed. How far it
    falls is fitted to all directions by least squares in dB, patterns deeper than 25 dB taken as that.
    """
    angle_deg = np.arange(-180.0, 180.0, 0.5)
    loss_db = _loss_db(pattern, angle_deg)
    counted_db = np.minimum(loss_db, DEEPEST_DB)
    width_deg = _half_power_width_deg(angle_deg, loss_db)
    parabola_db = float(lobe_rolloff(width_deg)) * angle_deg**2
    # Floors are tried one by one: a parabola cut off at the best floor has no closed form.
    floors_db = np.arange(0.0, DEEPEST_DB + 0.05, 0.1)
    lobes_db = np.minimum(parabola_db, floors_db[:, None])
    squares = np.mean((lobes_db - counted_db) ** 2, axis=1)
    best = int(np.argmin(squares))
    off_db = lobes_db[best] - counted_db
    main = _main_lobe(angle_deg, loss_db)
    return FittedLobe(
        width_deg,
        float(floors_db[best]),
        float(np.abs(off_db[main]).max()),
        math.sqrt(float(squares[best])),
        max(0.0, float(off_db.max())),
    )


def _loss_db(pattern: Pattern, angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far a pattern lies below its strongest direction at angles from that. [dB]"""
    strongest = int(np.argmax(pattern.relative_db))
    azimuth_deg = (float(pattern.angle_deg[strongest]) + angle_deg) % 360.0
    level_db = np.interp(azimuth_deg, pattern.angle_deg, pattern.relative_db, period=360.0)
    return float(pattern.relative_db[strongest]) - level_db


def _half_power_width_deg(angle_deg: NDArray[np.float64], loss_db: NDArray[np.float64]) -> float:
    """Return the angle between the half-power points at both sides; NaN where a side never falls so far."""
    width_deg = 0.0
    for side in (angle_deg >= 0.0, angle_deg <= 0.0):
        away_deg, fall_db = np.abs(angle_deg[side]), loss_db[side]
        order = np.argsort(away_deg)
        fallen = np.flatnonzero(fall_db[order] >= HALF_POWER_DB)
        if fallen.size == 0:
            return math.nan
        pair = order[fallen[0] - 1 : fallen[0] + 1]
        width_deg += float(np.interp(HALF_POWER_DB, fall_db[pair], away_deg[pair]))
    return width_deg


def _main_lobe(angle_deg: NDArray[np.float64], loss_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return the directions from the strongest one out to where a pattern first falls by 6 dB."""
    low = np.abs(angle_deg[loss_db > MAIN_LOBE_DB]), angle_deg[loss_db > MAIN_LOBE_DB]
    right = low[0][low[1] > 0.0].min(initial=180.5)
    left = low[0][low[1] < 0.0].min(initial=180.5)
    return (angle_deg < right) & (angle_deg > -left)
