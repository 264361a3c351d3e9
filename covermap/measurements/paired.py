"""From a comparison log to paired differences: same station, same session, same set."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize, stats

from covermap.measurements.comparison_log import LogReading
from covermap.measurements.percent_scale import EDGE_PERCENT, PercentScale
from covermap.measurements.scales import LEVEL, MER

REPEAT_SD_DB = 0.7  # judgement: spread of repeats where the log has none
SAME_MAST_DEG = 3.0  # judgement: stations whose bearings follow each other so closely share a mast
FEWEST_FOR_BAND = 3  # decoded readings in a band that give its own lowest decodable value

Scales = Mapping[tuple[str, str], PercentScale]


@dataclass(frozen=True)
class Level:
    """A reading in decibels: the truth lies between low_db and high_db, which are equal where it is exact."""

    low_db: float
    high_db: float

    @property
    def is_exact(self) -> bool:
        """Return whether the value itself is known."""
        return self.low_db == self.high_db


@dataclass(frozen=True)
class PairedDifference:
    """Candidate minus reference on one station in one session.

    low_db, high_db : equal where the difference is known; one is infinite where a picture was lost or a
        reading saturated
    reference_db : mean of the reference readings, NaN where it is not exact
    off_aim_deg : the larger angle of the two antennas off the station's bearing, NaN unknown
    left_out : why it is not part of the default estimate; empty if it is
    mast : stations within SAME_MAST_DEG of bearing have one label; empty where no bearing is given
    """

    session: str
    station: str
    band: str
    device: str
    kind: str
    candidate: str
    reference: str
    low_db: float
    high_db: float
    reference_db: float
    off_aim_deg: float
    readings: int
    left_out: str
    mast: str = ""

    @property
    def is_exact(self) -> bool:
        """Return whether the difference itself is known."""
        return self.low_db == self.high_db

    @property
    def says_nothing(self) -> bool:
        """Return whether both antennas lost or saturated, so that nothing is known of the difference."""
        return math.isinf(self.low_db) and math.isinf(self.high_db)


def decodable_floor(readings: Sequence[LogReading]) -> dict[tuple[str, str, str], float]:
    """Return the lowest level that still decoded, by set, kind of scale and band ("" for any band), in dBm or
    on the scale; where a picture was lost the level lay below it."""
    values: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for reading in readings:
        if reading.state == "exact":
            for band in (reading.band, ""):
                key = reading.device, reading.scale.kind, band
                values[key].append(reading.value + reading.scale.offset_db)
    return {key: min(v) for key, v in values.items() if not key[2] or len(v) >= FEWEST_FOR_BAND}


def as_level(reading: LogReading, floor: Mapping[tuple[str, str, str], float], scales: Scales) -> Level:
    """Return a reading in decibels at the antenna's terminals, amplifier included.

    A percent reading needs its calibrated scale; outside the calibrated stretch only a bound is known.
    """
    percent = scales.get((reading.device, reading.scale.kind)) if reading.scale.is_percent else None
    behind_db = (reading.cable_loss_db or 0.0) + reading.attenuator_db
    factor = percent.db_per_point if percent else 1.0

    def level_db(value: float) -> float:
        return value * factor + behind_db

    if reading.state == "lost":
        key = reading.device, reading.scale.kind, reading.band
        lowest = floor.get(key, floor.get((*key[:2], ""), math.inf))
        if percent:
            lowest = max(lowest, percent.lowest)
        return Level(-math.inf, level_db(lowest))
    value = reading.value + reading.scale.offset_db
    if percent and value > percent.highest + EDGE_PERCENT:
        return Level(level_db(percent.highest), math.inf)
    if percent and value < percent.lowest - EDGE_PERCENT:
        return Level(-math.inf, level_db(percent.lowest))
    return Level(level_db(value), math.inf if reading.state == "saturated" else level_db(value))


def repeat_sd_db(groups: Sequence[Sequence[Level]]) -> tuple[float, int]:
    """Return the pooled standard deviation of repeats of one antenna on one station, and its freedom.

    NaN and 0 where nothing was repeated. This is the noise floor of the method.
    """
    squares, freedom = 0.0, 0
    for levels in groups:
        exact = [level.low_db for level in levels if level.is_exact]
        if len(exact) > 1:
            squares += float(np.var(exact) * len(exact))
            freedom += len(exact) - 1
    return (math.sqrt(squares / freedom), freedom) if freedom else (math.nan, 0)


def antenna_level(levels: Sequence[Level], sd_db: float) -> Level:
    """Return one antenna's level on a station from its repeats.

    Some exact and some lost or saturated: the most likely mean of a censored normal law of spread sd_db.
    None exact: the tightest bound.
    """
    exact = np.array([level.low_db for level in levels if level.is_exact])
    bounds = [level for level in levels if not level.is_exact]
    if not exact.size:
        return Level(max(b.low_db for b in bounds), min(b.high_db for b in bounds))
    mean_db = float(exact.mean())
    if bounds:
        low = np.array([b.low_db for b in bounds])
        high = np.array([b.high_db for b in bounds])

        def surprise(mean: float) -> float:
            sides = np.where(np.isinf(low), (high - mean) / sd_db, (mean - low) / sd_db)
            return float(((exact - mean) ** 2).sum() / (2 * sd_db**2) - stats.norm.logcdf(sides).sum())

        # A bound moves the mean of exact readings by a few of their deviations at most.
        reach = 6.0 * sd_db
        mean_db = float(
            optimize.minimize_scalar(surprise, bounds=(mean_db - reach, mean_db + reach), method="bounded").x
        )
    return Level(mean_db, mean_db)


def difference(candidate: Level, reference: Level) -> tuple[float, float]:
    """Return the bounds of candidate minus reference; equal where both are exact."""
    low_db, high_db = candidate.low_db - reference.high_db, candidate.high_db - reference.low_db
    # -inf minus -inf is NaN: both lost, which bounds nothing on either side
    return (low_db if math.isfinite(low_db) else -math.inf, high_db if math.isfinite(high_db) else math.inf)


@dataclass(frozen=True)
class Pairs:
    """Paired differences of a log and the spread of repeats in it.

    ordinal : those of MER, and of percent without dB
    """

    differences: tuple[PairedDifference, ...]
    ordinal: tuple[PairedDifference, ...]
    noise_db: float
    noise_freedom: int


def paired_differences(
    readings: Sequence[LogReading], reference: str, scales: Scales, left_out: Mapping[tuple[str, ...], str]
) -> Pairs:
    """Return candidate minus reference for each session, station, set and scale in which both were read.

    left_out : (session, station, candidate) -> why that pair is not part of the default estimate
    """
    floor = decodable_floor(readings)
    groups: dict[tuple[str, str, str, str], dict[str, list[LogReading]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for reading in readings:
        if reading.attenuator_db == 0.0:
            key = reading.session, reading.station, reading.device, reading.scale.kind
            groups[key][reading.antenna].append(reading)
    in_db = {key: by for key, by in groups.items() if not _is_ordinal(key, by, scales)}
    levels = {
        (*key, antenna): [as_level(r, floor, scales) for r in rows]
        for key, by in in_db.items()
        for antenna, rows in by.items()
    }
    sd_db, freedom = repeat_sd_db(list(levels.values()))
    # 0 where every repeat read the same whole decibel; what follows divides by it
    used_sd_db = sd_db if freedom and sd_db > 0.0 else REPEAT_SD_DB
    masts = masts_by_bearing(readings)
    found, ordinal = [], []
    for key, by_antenna in groups.items():
        if reference not in by_antenna:
            continue
        for antenna, rows in by_antenna.items():
            if antenna == reference:
                continue
            both = rows, by_antenna[reference]
            reason = left_out.get((key[0], key[1], antenna), "")
            if key in in_db:
                one, other = (
                    antenna_level(levels[(*key, name)], used_sd_db) for name in (antenna, reference)
                )
                pair = _pair(key, antenna, reference, both, one, other, reason)
                found.append(replace(pair, mast=masts.get(key[1], "")))
            else:
                one, other = (_ordinal_level(part) for part in both)
                ordinal.append(_pair(key, antenna, reference, both, one, other, reason))
    return Pairs(tuple(found), tuple(ordinal), sd_db, freedom)


def _is_ordinal(key: tuple[str, str, str, str], by_antenna: Mapping, scales: Scales) -> bool:
    first = next(iter(by_antenna.values()))[0]
    if first.scale.kind == MER:
        return True  # how clean a signal is, which no gain can be read from
    return first.scale.is_percent and (key[2], key[3]) not in scales


def masts_by_bearing(readings: Sequence[LogReading]) -> dict[str, str]:
    """Return station -> label of its mast: bearings in a row within SAME_MAST_DEG of the next are one.

    Stations without a bearing are left out.
    """
    bearing_deg: dict[str, float] = {}
    for reading in readings:
        if reading.bearing_deg is not None:
            bearing_deg.setdefault(reading.station, reading.bearing_deg % 360.0)
    order = sorted(bearing_deg, key=lambda station: bearing_deg[station])
    label, before, masts = "", math.nan, {}
    for station in order:
        if not bearing_deg[station] - before <= SAME_MAST_DEG:
            label = f"{bearing_deg[station]:.0f} degrees"
        before = bearing_deg[station]
        masts[station] = label
    first, last = order[:1], order[-1:]
    if order and bearing_deg[first[0]] + 360.0 - bearing_deg[last[0]] <= SAME_MAST_DEG:
        over_north = masts[last[0]]  # across north, first and last are neighbours
        masts = {station: masts[first[0]] if name == over_north else name for station, name in masts.items()}
    return masts


def _ordinal_level(rows: Sequence[LogReading]) -> Level:
    """Return the mean in points; a lost picture counts as less than any other."""
    values = [0.0 if r.state == "lost" else r.value for r in rows]
    return Level(float(np.mean(values)), float(np.mean(values)))


def _pair(key, antenna, reference, both, one: Level, other: Level, reason: str) -> PairedDifference:
    low_db, high_db = difference(one, other)
    return PairedDifference(
        session=key[0],
        station=key[1],
        band=both[0][0].band,
        device=key[2],
        kind=key[3],
        candidate=antenna,
        reference=reference,
        low_db=low_db,
        high_db=high_db,
        reference_db=other.low_db if other.is_exact else math.nan,
        off_aim_deg=max((_off_aim_deg(r) for rows in both for r in rows), default=math.nan),
        readings=sum(len(rows) for rows in both),
        left_out=reason,
    )


def _off_aim_deg(reading: LogReading) -> float:
    """Return the angle between aim and bearing, NaN where the log lacks one."""
    if reading.aim_deg is None or reading.bearing_deg is None:
        return math.nan
    return abs((reading.aim_deg - reading.bearing_deg + 180.0) % 360.0 - 180.0)


def is_level(pair: PairedDifference) -> bool:
    """Return whether a pair was read as level, not as MER or per cent."""
    return pair.kind == LEVEL
