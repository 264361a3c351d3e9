"""What to read next so that a comparison log settles its question: which stations, or another day."""

from __future__ import annotations

import math
from collections.abc import Sequence

from covermap.measurements.band_result import BAND_WORDS, BandResult
from covermap.measurements.censored_mean import FEWEST_STATIONS, MAST_SD_DB, SESSION_SD_DB, BandMean
from covermap.measurements.comparison_log import LogReading
from covermap.measurements.paired import PairedDifference, Pairs

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
            where = f"{result.candidate}, {BAND_WORDS[result.band]}"
            sentences.append(f"To settle {where}: {'; '.join(steps)}.")
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
    for stations, words in (
        ([s for s in in_band if s not in paired], "with both antennas"),
        (list(left), "again, both antennas alike and within ten minutes"),
        (list(bounded), "again where neither is lost nor saturated (another attenuator)"),
        (list(lost), "again with an attenuator less or more"),
    ):
        if stations:
            named = ", ".join(stations[:MOST_NAMED]) + (" and more" if len(stations) > MOST_NAMED else "")
            steps.append(f"read {named} {words}")
    missing = FEWEST_STATIONS - len(told)
    if result.mean is None and missing > 0 and not steps:
        steps.append(
            f"read {missing} more station{'s' if missing > 1 else ''} of the band with both antennas"
        )
    return steps


def _plans(mean: BandMean, mine: Sequence[PairedDifference]) -> list[str]:
    """Return by how much another session, more stations or another mast would narrow the interval.

    Each plan's variance of the mean against today's, from the spreads found; best first.
    """
    bearings = sorted({p.mast for p in mine if p.mast and not p.left_out})
    elsewhere = f" on another bearing than {' and '.join(bearings)}" if bearings else " of another mast"
    now = _variance(mean, mean.sessions, mean.stations, mean.masts)
    more = mean.stations + MORE_STATIONS
    plans = [
        (_variance(mean, mean.sessions + 1, mean.stations, mean.masts), "another day, the same stations"),
        (_variance(mean, mean.sessions, more, mean.masts), f"{MORE_STATIONS} more stations the same day"),
        (_variance(mean, mean.sessions, more, mean.masts + 1), f"{MORE_STATIONS} more stations{elsewhere}"),
    ]
    steps = []
    for variance, words in sorted(plans, key=lambda plan: plan[0]):
        reach_db = mean.reach_db * math.sqrt(variance / now)
        if mean.reach_db - reach_db >= WORTH_DB:
            steps.append(f"{words} would narrow ± {mean.reach_db:.1f} dB to about ± {reach_db:.1f} dB")
    return steps[:2]


def _variance(mean: BandMean, sessions: int, stations: int, masts: int) -> float:
    """Return the variance of a mean over so many sessions, stations and masts, with the spreads found."""
    session_db = mean.session_sd_db
    if math.isnan(session_db):
        session_db = mean.assumed_session_sd_db or SESSION_SD_DB
    mast_db = mean.mast_sd_db if not math.isnan(mean.mast_sd_db) else (MAST_SD_DB if masts > 1 else 0.0)
    return session_db**2 / sessions + mast_db**2 / masts + mean.station_sd_db**2 / stations
