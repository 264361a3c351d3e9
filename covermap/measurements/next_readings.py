"""What to read next so that a comparison log settles its question: which stations, or another day."""

from __future__ import annotations

import math
from collections.abc import Sequence

from covermap.measurements.band_result import BandResult, where_words
from covermap.measurements.censored_mean import FEWEST_STATIONS, MAST_SD_DB, SESSION_SD_DB, BandMean
from covermap.measurements.comparison_log import LogReading
from covermap.measurements.paired import PairedDifference, Pairs
from covermap.wording.language import say
from covermap.wording.words import decimal, join

MOST_NAMED = 6
MORE_STATIONS = 4
WORTH_DB = 0.2  # a plan that narrows the interval by less is not named
SETTLED_DB = 1.0  # judgement: half an interval this narrow about 0 is an answer too


def next_readings(readings: Sequence[LogReading], pairs: Pairs, bands: Sequence[BandResult]) -> list[str]:
    """Return a sentence for each figure that is not settled: the interval holds 0, or there is no mean."""
    sentences = []
    for result in bands:
        mean = result.mean
        if result.ordinal is not None or (mean is not None and _is_settled(mean)):
            continue
        mine = [p for p in pairs.differences if p.band == result.band and p.candidate == result.candidate]
        if mean is None and _is_one_sided(mine):
            continue
        steps = _stations_to_read(readings, mine, result)
        if mean is not None:
            steps += _plans(mean, mine)
        if steps:
            where = where_words(result.candidate, result.band)
            sentences.append(say("bench.next.settle", where=where, steps="; ".join(steps)))
    return sentences


def _is_one_sided(mine: Sequence[PairedDifference]) -> bool:
    """Return whether stations enough show, if only by bounds, which antenna is better, and none the other."""
    told = [p for p in mine if not p.left_out and not p.says_nothing]
    if len({p.station for p in told}) < FEWEST_STATIONS:
        return False
    return all(p.high_db < 0.0 for p in told) or all(p.low_db > 0.0 for p in told)


def _is_settled(mean: BandMean) -> bool:
    return mean.low_db > 0.0 or mean.high_db < 0.0 or mean.reach_db <= SETTLED_DB


def _stations_to_read(
    readings: Sequence[LogReading], mine: Sequence[PairedDifference], result: BandResult
) -> list[str]:
    """Return which stations of the log to read again or at last with both antennas, and why."""
    paired = {p.station for p in mine}
    in_band = dict.fromkeys(r.station for r in readings if r.band == result.band)
    told = {p.station for p in mine if not p.left_out and not p.says_nothing}
    lost = dict.fromkeys(p.station for p in mine if p.says_nothing and p.station not in told)
    bounded = dict.fromkeys(
        p.station for p in mine if not p.left_out and not p.is_exact and not p.says_nothing
    )
    left = dict.fromkeys(p.station for p in mine if p.left_out and p.station not in told)
    steps = []
    for stations, key in (
        ([s for s in in_band if s not in paired], "unpaired"),
        (list(left), "alike"),
        (list(bounded), "bounded"),
        (list(lost), "lost"),
    ):
        if stations:
            named = ", ".join(stations[:MOST_NAMED])
            named = say("bench.next.and_more", named=named) if len(stations) > MOST_NAMED else named
            steps.append(say(f"bench.next.{key}", named=named))
    missing = FEWEST_STATIONS - len(told)
    if result.mean is None and missing > 0 and not steps:
        steps.append(say("bench.next.more_stations", count=missing))
    return steps


def _plans(mean: BandMean, mine: Sequence[PairedDifference]) -> list[str]:
    """Return by how much another session, more stations or another mast would narrow the interval.

    Each plan's variance of the mean against today's, from the spreads found; best first.
    """
    bearings = sorted({p.mast for p in mine if p.mast and not p.left_out})
    other = "bench.next.elsewhere" if bearings else "bench.next.other_mast"
    elsewhere = say(other, count=MORE_STATIONS, bearings=join(bearings))
    same_day = say("bench.next.same_day", count=MORE_STATIONS)
    now = _variance(mean, mean.sessions, mean.stations, mean.masts)
    more = mean.stations + MORE_STATIONS
    plans = [
        (_variance(mean, mean.sessions + 1, mean.stations, mean.masts), say("bench.next.other_day")),
        (_variance(mean, mean.sessions, more, mean.masts), same_day),
        (_variance(mean, mean.sessions, more, mean.masts + 1), elsewhere),
    ]
    steps = []
    for variance, words in sorted(plans, key=lambda plan: plan[0]):
        reach_db = mean.reach_db * math.sqrt(variance / now)
        if mean.reach_db - reach_db >= WORTH_DB:
            now_db, then_db = decimal(mean.reach_db, 1), decimal(reach_db, 1)
            steps.append(say("bench.next.narrows", plan=words, now=now_db, then=then_db))
    return steps[:2]


def _variance(mean: BandMean, sessions: int, stations: int, masts: int) -> float:
    """Return the variance of a mean over so many sessions, stations and masts, with the spreads found."""
    session_db = mean.session_sd_db
    if math.isnan(session_db):
        session_db = mean.assumed_session_sd_db or SESSION_SD_DB
    mast_db = mean.mast_sd_db if not math.isnan(mean.mast_sd_db) else (MAST_SD_DB if masts > 1 else 0.0)
    return session_db**2 / sessions + mast_db**2 / masts + mean.station_sd_db**2 / stations
