"""Offsets from residuals: shrunk, per mast and then per band, judged by leaving points out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from covermap.measurements.residuals import PointResidual

MAST_SD_DB = 4.0  # judgement: how far masts differ from their prediction as a whole
BAND_SD_DB = 2.0  # judgement: how far the bands of one mast differ
FEWEST_POINTS = 3  # judgement: a mast or band with fewer points keeps no offset of its own
FEWEST_FOR_SPREAD = 5  # degrees of freedom from which the readings' own spread is used
FEWEST_ALTOGETHER = 5
CHANCE_P = 0.05
MOST_POINTS = 200
STEP_DB = 0.05
FURTHEST_DB = 60.0


@dataclass(frozen=True)
class Shrunk:
    """An offset and its standard deviation. [dB]"""

    offset_db: float
    sd_db: float


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


def shrunk_offset(low_db: ArrayLike, high_db: ArrayLike, sd_db: ArrayLike, prior_sd_db: float) -> Shrunk:
    """Most likely offset of residuals around which a normal law of prior_sd_db stands at 0.

    Parameters
    ----------
    low_db, high_db : bounds of each residual; equal where known, one infinite where censored. [dB]
    sd_db : spread of each residual around the offset. [dB]
    prior_sd_db : spread of offsets between masts; infinity for no shrinking. [dB]

    Notes
    -----
    Known residuals of one spread s give w x mean with w = (n/s^2) / (n/s^2 + 1/prior^2).
    Source: normal-normal shrinkage (textbook); a censored residual enters with the chance of its bound.
    """
    low, high = np.asarray(low_db, dtype=float), np.asarray(high_db, dtype=float)
    sd = np.broadcast_to(np.asarray(sd_db, dtype=float), low.shape)

    if np.array_equal(low, high):
        precision = float((1.0 / sd**2).sum()) + prior_sd_db**-2
        return Shrunk(float((low / sd**2).sum()) / precision, 1.0 / math.sqrt(precision))

    def cost(offset: float) -> float:
        return -log_likelihood(offset, low, high, sd) + 0.5 * (offset / prior_sd_db) ** 2

    found = optimize.minimize_scalar(
        cost, bounds=(-FURTHEST_DB, FURTHEST_DB), method="bounded", options={"xatol": 1e-6}
    )
    best = float(found.x)
    curvature = (cost(best + STEP_DB) - 2.0 * cost(best) + cost(best - STEP_DB)) / STEP_DB**2
    return Shrunk(best, 1.0 / math.sqrt(max(curvature, 1e-9)))


def log_likelihood(offset_db: float, low: np.ndarray, high: np.ndarray, sd: np.ndarray) -> float:
    """Return the log likelihood of an offset, up to a constant: density, or chance of a bound."""
    exact = low == high
    total = -0.5 * float((((low[exact] - offset_db) / sd[exact]) ** 2).sum())
    below, above = np.isinf(low) & ~exact, np.isinf(high) & ~exact
    total += float(stats.norm.logcdf((high[below] - offset_db) / sd[below]).sum())
    total += float(stats.norm.logsf((low[above] - offset_db) / sd[above]).sum())
    both = ~exact & ~below & ~above
    inside = stats.norm.cdf((high[both] - offset_db) / sd[both]) - stats.norm.cdf(
        (low[both] - offset_db) / sd[both]
    )
    return total + float(np.log(np.maximum(inside, 1e-300)).sum())


def _arrays(points: Sequence[PointResidual], spread_db: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    low = np.array([p.low_db for p in points])
    high = np.array([p.high_db for p in points])
    return low, high, np.hypot(spread_db, np.array([p.sd_db for p in points]))


def _groups(points: Sequence[PointResidual]) -> dict[str, list[PointResidual]]:
    masts = dict.fromkeys(p.mast for p in points)
    return {mast: [p for p in points if p.mast == mast] for mast in masts}


def point_count(points: Sequence[PointResidual]) -> int:
    """Return how many different places stand behind values."""
    return len({p.point for p in points})


def fitted_spread_db(points: Sequence[PointResidual], default_db: float) -> float:
    """Return the spread of known residuals around their mast's mean; the default while too few tell."""
    squares, freedom = 0.0, 0
    for group in _groups(points).values():
        known = np.array([p.low_db for p in group if p.low_db == p.high_db])
        if known.size > 1:
            squares += float(((known - known.mean()) ** 2).sum())
            freedom += known.size - 1
    return math.sqrt(squares / freedom) if freedom >= FEWEST_FOR_SPREAD else default_db


def fit_offsets(points: Sequence[PointResidual], spread_db: float) -> list[Offset]:
    """Return an offset for each mast and band with points: the mast's, then what its bands differ."""
    offsets = []
    for mast, group in _groups(points).items():
        whole = _shrunk(group, spread_db, MAST_SD_DB)
        bands = list(dict.fromkeys(p.band for p in group))
        for band in bands:
            mine = [p for p in group if p.band == band]
            offset = whole
            if len(bands) > 1:
                moved = [
                    replace(p, low_db=p.low_db - whole.offset_db, high_db=p.high_db - whole.offset_db)
                    for p in mine
                ]
                own = _shrunk(moved, spread_db, BAND_SD_DB)
                offset = Shrunk(whole.offset_db + own.offset_db, math.hypot(whole.sd_db, own.sd_db))
            offsets.append(Offset(mast, band, offset.offset_db, offset.sd_db, point_count(mine)))
    return offsets


def _shrunk(points: Sequence[PointResidual], spread_db: float, prior_sd_db: float) -> Shrunk:
    if point_count(points) < FEWEST_POINTS:
        return Shrunk(0.0, prior_sd_db)
    return shrunk_offset(*_arrays(points, spread_db), prior_sd_db)


@dataclass(frozen=True)
class Judgement:
    """Whether offsets may be used.

    before_db, after_db : root mean square of known residuals, each point predicted without its own readings
    chance : of offsets as large as these were every mast right; refused : why not, or empty
    """

    before_db: float
    after_db: float
    chance: float
    refused: str


def judge(points: Sequence[PointResidual], spread_db: float) -> Judgement:
    """Return the leave-one-out error before and after, and whether the offsets are refused."""
    before, after = [], []
    places = list(dict.fromkeys(p.point for p in points))
    for place in places:
        rest = [p for p in points if p.point != place]
        offsets = {(o.mast, o.band): o.offset_db for o in fit_offsets(rest, spread_db)}
        masts = {o.mast: o.offset_db for o in fit_offsets([replace(p, band="") for p in rest], spread_db)}
        for value in (p for p in points if p.point == place and p.low_db == p.high_db):
            offset = offsets.get((value.mast, value.band), masts.get(value.mast, 0.0))
            before.append(value.low_db)
            after.append(value.low_db - offset)
    before_db, after_db = (
        math.sqrt(float(np.mean(np.square(part)))) if part else math.nan for part in (before, after)
    )
    chance = _chance(points, spread_db)
    return Judgement(
        before_db, after_db, chance, _refusal(len(places), before_db, after_db, chance, spread_db)
    )


def _refusal(places: int, before_db: float, after_db: float, chance: float, spread_db: float) -> str:
    if places < FEWEST_ALTOGETHER:
        return f"{places} points are too few; measure at {FEWEST_ALTOGETHER} or more"
    if math.isnan(before_db):
        return "no reading gives a number of decibels, so the error cannot be told"
    if not after_db < before_db:
        return (
            f"points left out are predicted worse with the offsets ({after_db:.1f} dB) than "
            f"without ({before_db:.1f})"
        )
    if not chance < CHANCE_P:
        return (
            f"offsets of this size come about by chance in {100 * chance:.0f} of 100 sets of readings; with "
            f"this spread {points_to_see(MAST_SD_DB, spread_db)} points of a mast show an error of "
            f"{MAST_SD_DB:g} dB in 8 of 10 sets"
        )
    return ""


def _chance(points: Sequence[PointResidual], spread_db: float) -> float:
    """Return the chance of such offsets were every mast right: the smaller of all masts together and of the
    furthest mast alone, the latter times the number of masts.

    Source: likelihood ratios as F values; Bonferroni's bound for the furthest. Together they are a little
    over 5 in 100 at CHANCE_P (docs/decisions/when_offsets_are_used.md).
    """
    ratios = []
    for group in _groups(points).values():
        if point_count(group) < FEWEST_POINTS:
            continue
        low, high, sd = _arrays(_one_a_point(group), spread_db)
        best = shrunk_offset(low, high, sd, math.inf).offset_db
        gain = log_likelihood(best, low, high, sd) - log_likelihood(0.0, low, high, sd)
        ratios.append(2.0 * max(gain, 0.0))
    if not ratios:
        return 1.0
    masts = len(ratios)
    freedom = max(point_count(points) - masts, 1)
    together = float(stats.f.sf(sum(ratios) / masts, masts, freedom))
    return min(together, masts * float(stats.f.sf(max(ratios), 1, freedom)))


def points_to_see(error_db: float, spread_db: float, power: float = 0.8) -> int:
    """Return how many points of one mast show an error of it in this share of sets of readings.

    Source: power of the two-sided t test at CHANCE_P (non-central t law).
    """
    for count in range(FEWEST_ALTOGETHER, MOST_POINTS):
        limit = stats.t.ppf(1.0 - CHANCE_P / 2.0, count - 1)
        away = abs(error_db) * math.sqrt(count) / spread_db
        if stats.nct.sf(limit, count - 1, away) >= power:
            return count
    return MOST_POINTS


def _one_a_point(group: Sequence[PointResidual]) -> list[PointResidual]:
    """Return one value a place, whatever its bands: those of one roof share their surroundings."""
    places: dict[str, list[PointResidual]] = {}
    for value in group:
        places.setdefault(value.point, []).append(value)
    merged = []
    for values in places.values():
        exact = [v for v in values if v.low_db == v.high_db]
        mean = float(np.mean([v.low_db for v in exact])) if exact else math.nan
        merged.append(replace(values[0], low_db=mean, high_db=mean) if exact else values[0])
    return merged
