"""Offsets of masts and bands from residuals, judged by leaving out whole neighbourhoods."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.sparse.csgraph import connected_components

from covermap.measurements.mixed_model import MAST_SD_DB, MixedModel, distances_km
from covermap.measurements.residuals import PointResidual
from covermap.wording.language import say
from covermap.wording.words import as_given, decimal, signed

FEWEST_POINTS = 3  # judgement: a mast or band with fewer points keeps no offset of its own
FEWEST_ALTOGETHER = 5
NEIGHBOURS_KM = 0.5  # judgement: points that follow each other so closely are one neighbourhood
MOST_SPREAD_DB = 14.0  # judgement: readings over open paths that spread wider are none of this prediction
MOST_OFFSET_DB = 25.0  # judgement: nor are those of a mast that are all so far off
CHANCE_P = 0.05
MOST_POINTS = 200


@dataclass(frozen=True)
class Offset:
    """What is added to the prediction of one mast in one band.

    sd_db : standard deviation of the offset; points : how many points it stands on
    """

    mast: str
    band: str
    offset_db: float
    sd_db: float
    points: int


@dataclass(frozen=True)
class Judgement:
    """Whether offsets may be used.

    before_db, after_db : root mean square of known residuals, each neighbourhood predicted without its own
        readings
    chance : of offsets as large as these were every mast right; refused : why not, or empty
    """

    before_db: float
    after_db: float
    chance: float
    refused: str


def point_count(points: Sequence[PointResidual]) -> int:
    """Return how many different places stand behind values."""
    return len({p.point for p in points})


def fit_offsets(model: MixedModel) -> list[Offset]:
    """Return an offset for each mast and band with points; 0 where they are too few."""
    offsets = []
    for mast, band in dict.fromkeys((p.mast, p.band) for p in model.points):
        count = point_count([p for p in model.points if (p.mast, p.band) == (mast, band)])
        # its offset is 0 with the prior's doubt: as if it had not been read
        if point_count([p for p in model.points if p.mast == mast]) < FEWEST_POINTS:
            offsets.append(Offset(mast, band, 0.0, MAST_SD_DB, count))
            continue
        found = model.offset(mast, band)
        offsets.append(Offset(mast, band, found.offset_db, found.sd_db, count))
    return offsets


def neighbourhoods(points: Sequence[PointResidual]) -> NDArray[np.int64]:
    """Return a number for the neighbourhood of each point: those within NEIGHBOURS_KM of the next are one."""
    _, label = connected_components(distances_km(points) <= NEIGHBOURS_KM, directed=False)
    return np.asarray(label, dtype=np.int64)


def judge(model: MixedModel) -> Judgement:
    """Return the error before and after, neighbourhoods left out in turn, and whether offsets are refused."""
    before, after = [], []
    label = neighbourhoods(model.points)
    for number in range(int(label.max()) + 1):
        left_out = label == number
        if left_out.all():
            break
        rest = model.without(left_out)
        masts = {p.mast for p in rest.points}
        for index in np.flatnonzero(left_out):
            point = model.points[index]
            # a bound has no error to be squared
            if point.low_db != point.high_db:
                continue
            offset_db = rest.offset(point.mast, point.band).offset_db if point.mast in masts else 0.0
            before.append(point.low_db)
            after.append(point.low_db - offset_db)
    before_db, after_db = (
        math.sqrt(float(np.mean(np.square(part)))) if part else math.nan for part in (before, after)
    )
    chance = _chance(model)
    refused = _nonsense(model) or _refusal(model, int(label.max()) + 1, before_db, after_db, chance)
    return Judgement(before_db, after_db, chance, refused)


def _nonsense(model: MixedModel) -> str:
    """Return why these can hardly be readings of these stations, or nothing."""
    exact = [p.low_db == p.high_db for p in model.points]
    known = [p for p, told in zip(model.points, exact, strict=True) if told]
    squares, freedom, furthest_db = 0.0, 0, 0.0
    for mast in dict.fromkeys(p.mast for p in known):
        value_db = np.array([p.low_db for p in known if p.mast == mast])
        squares += float(((value_db - value_db.mean()) ** 2).sum())
        freedom += value_db.size - 1
        if value_db.size >= FEWEST_POINTS:
            # the median: one mistyped reading must not make a whole mast nonsense
            furthest_db = max(furthest_db, abs(float(np.median(value_db))))
    spread_db = math.sqrt(squares / freedom) if freedom >= FEWEST_ALTOGETHER - 1 else 0.0
    most_db = MOST_SPREAD_DB * math.sqrt(float(np.mean(model.scale[exact] ** 2))) if known else 0.0
    if spread_db <= most_db and furthest_db <= MOST_OFFSET_DB:
        return ""
    value_db = np.array([p.low_db for p in known])
    wide = spread_db > most_db
    key = "calibration.refusal.nonsense_spread" if wide else "calibration.refusal.nonsense_off"
    low, high = signed(float(value_db.min())), signed(float(value_db.max()))
    return say(key, low=low, high=high, db=decimal(spread_db if wide else furthest_db))


def _refusal(model: MixedModel, places: int, before_db: float, after_db: float, chance: float) -> str:
    count = point_count(model.points)
    if count < FEWEST_ALTOGETHER:
        return say("calibration.refusal.few", points=count, needed=FEWEST_ALTOGETHER)
    if not any(p.low_db == p.high_db for p in model.points):
        return say("calibration.refusal.no_number")
    if places < 2:
        return say("calibration.refusal.one_place", metres=decimal(1000.0 * NEIGHBOURS_KM))
    if not after_db < before_db:
        return say("calibration.refusal.worse", after=decimal(after_db, 1), before=decimal(before_db, 1))
    if not chance < CHANCE_P:
        points = points_to_see(MAST_SD_DB, model.typical_db)
        figures = {"chance": decimal(100 * chance), "error": as_given(MAST_SD_DB)}
        return say("calibration.refusal.chance", points=points, **figures)
    return ""


def _chance(model: MixedModel) -> float:
    """Return the chance of such offsets were every mast right: the smaller of all masts together and of the
    furthest mast alone, the latter times the number of masts.

    Places nearby count as fewer: a mast's mean has the standard error and the independent places of the mixed
    model. Source: t and F tests (textbook); Bonferroni's bound for the furthest.
    """
    ratios, freedoms = [], []
    for mast in dict.fromkeys(p.mast for p in model.points):
        mine = [p for p in model.points if p.mast == mast]
        if point_count(mine) < FEWEST_POINTS:
            continue
        mean_db, error_db, places = model.mean_of_mast(mast)
        ratios.append((mean_db / error_db) ** 2)
        # no more places than points, however little they share
        freedoms.append(max(min(places, float(point_count(mine))) - 1.0, 1.0))
    if not ratios:
        return 1.0
    masts = len(ratios)
    together = float(stats.f.sf(sum(ratios) / masts, masts, sum(freedoms)))
    furthest = min(float(stats.f.sf(r, 1, df)) for r, df in zip(ratios, freedoms, strict=True))
    # Why both: one mast out among several is found more often so (docs/decisions/when_offsets_are_used.md).
    return min(together, masts * furthest)


def points_to_see(error_db: float, spread_db: float, power: float = 0.8) -> int:
    """Return how many independent points of one mast show an error of it in this share of sets of readings.

    Source: power of the two-sided t test at CHANCE_P (non-central t law).
    """
    for count in range(FEWEST_ALTOGETHER, MOST_POINTS):
        limit = stats.t.ppf(1.0 - CHANCE_P / 2.0, count - 1)
        away = abs(error_db) * math.sqrt(count) / spread_db
        if stats.nct.sf(limit, count - 1, away) >= power:
            return count
    return MOST_POINTS
