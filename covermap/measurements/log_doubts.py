"""What is doubtful in a comparison log, and which pairs stay out of the default estimate for it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from scipy import stats

from covermap.errors import InputError
from covermap.measurements.band_result import kind_words
from covermap.measurements.comparison_log import ComparisonLog, LogReading
from covermap.measurements.paired import PairedDifference
from covermap.measurements.scales import LEVEL
from covermap.scenario.suggestions import nearest
from covermap.wording.language import say
from covermap.wording.words import as_given, decimal, join, row_place, signed

LONGEST_MINUTES = 10.0  # common practice, no source: both antennas on a station within ten minutes
MISAIM_DEG = 10.0  # common practice, no source: 10 degrees off a 30 degree beam cost 1.3 dB
OVERLOAD_DBM = -8.0  # at the tuner, several channels (A/74, from memory)
DIFFERENT_HEIGHT_M = 0.5
FEWEST_FOR_TREND = 6
DOUBTFUL_P = 0.05
LEAST_TREND_DB = 0.5  # over the range of the readings: half a step of a whole-decibel scale

Reasons = dict[tuple[str, ...], str]


def choose_reference(log: ComparisonLog, asked: str | None = None) -> tuple[str, list[str]]:
    """Return the antenna all others are compared with, and sentences on a doubtful choice.

    asked : by name; None takes the one that rows mark. Raises InputError if the log does not hold it.
    """
    readings = log.readings
    if asked is not None:
        names = list(dict.fromkeys(r.antenna for r in readings))
        if asked not in names:
            raise InputError(
                f"{log.file}, column antenna_id: found {', '.join(names)}, not the reference {asked!r}."
                f"{nearest(asked, names)} Name one of them."
            )
        return asked, []
    marked = [r.antenna for r in readings if r.is_reference]
    if not marked:
        first = readings[0].antenna
        return first, [say("bench.doubt.first_is_reference", first=first)]
    names = list(dict.fromkeys(marked))
    most = max(names, key=marked.count)
    if len(names) == 1:
        return most, []
    return most, [say("bench.doubt.several_references", names=join(names), most=most)]


def doubts(readings: Sequence[LogReading], reference: str) -> tuple[Reasons, list[str]]:
    """Return which (session, station, candidate) stay out with the reason, and a sentence for each doubt."""
    reasons: Reasons = {}
    sentences: list[str] = []
    pairs: dict[tuple[str, str], dict[str, list[LogReading]]] = defaultdict(lambda: defaultdict(list))
    for reading in readings:
        if reading.attenuator_db == 0.0:
            pairs[reading.session, reading.station][reading.antenna].append(reading)
    for (session, station), by_antenna in pairs.items():
        base = by_antenna.get(reference)
        others = {name: rows for name, rows in by_antenna.items() if name != reference}
        if not base:
            names = {"named": ", ".join(others), "reference": reference}
            sentences.append(say("bench.doubt.no_reference", where=f"{session}, {station}", **names))
            continue
        if not others:
            sentences.append(
                say("bench.doubt.only_reference", where=f"{session}, {station}", reference=reference)
            )
        for candidate, rows in others.items():
            both = {"candidate": candidate, "reference": reference}
            where = say("bench.doubt.against", where=f"{session}, {station}", **both)
            reason, more = _pair_doubts(where, rows, base)
            sentences += more
            if reason:
                reasons[session, station, candidate] = reason
                sentences.append(say("bench.doubt.left_out", where=where, reason=reason))
    return reasons, sentences + _session_doubts(readings) + _overload_doubts(readings)


def _pair_doubts(where: str, rows: list[LogReading], base: list[LogReading]) -> tuple[str, list[str]]:
    """Return why a pair stays out (or nothing), and doubts that leave it in."""
    sentences: list[str] = []
    days = {r.moment.date() for r in (*rows, *base) if r.moment}
    moments = [r.moment for r in (*rows, *base) if r.moment]
    gains = {r.amp_gain_db for r in rows}, {r.amp_gain_db for r in base}
    heights = [r.height_m for r in (*rows, *base)]
    known_heights = [h for h in heights if h is not None]
    if not {(r.device, r.scale.kind) for r in rows} & {(r.device, r.scale.kind) for r in base}:
        return say("bench.reason.scale"), sentences
    if len(days) > 1:
        return say("bench.reason.day"), sentences
    if gains[0] != gains[1]:
        shown = join([as_given(sorted(gain)[0]) for gain in gains])
        return say("bench.reason.amplified", gains=shown), sentences
    if known_heights and max(known_heights) - min(known_heights) > DIFFERENT_HEIGHT_M:
        low, high = as_given(min(known_heights)), as_given(max(known_heights))
        return say("bench.reason.heights", low=low, high=high), sentences
    if None in heights:
        sentences.append(say("bench.doubt.no_height", where=where))
    if {r.polarization for r in rows if r.polarization} ^ {r.polarization for r in base if r.polarization}:
        sentences.append(say("bench.doubt.polarization", where=where))
    cables = {r.cable_loss_db for r in (*rows, *base)}
    if len(cables) > 1 and None in cables:
        return say("bench.reason.cable"), sentences
    if len(cables) > 1:
        sentences.append(say("bench.doubt.cable", where=where))
    if moments and (max(moments) - min(moments)).total_seconds() > 60.0 * LONGEST_MINUTES:
        minutes = (max(moments) - min(moments)).total_seconds() / 60.0
        took = {"minutes": decimal(minutes), "most": as_given(LONGEST_MINUTES)}
        sentences.append(say("bench.doubt.slow", where=where, **took))
    if not _is_balanced(rows, base):
        sentences.append(say("bench.doubt.order", where=where))
    sentences += _aim_doubts(where, [*rows, *base])
    return "", sentences


def _is_balanced(rows: list[LogReading], base: list[LogReading]) -> bool:
    """Return whether two readings of one antenna stand around those of the other."""
    if len(rows) < 2 or len(base) < 2:
        return False
    both = [*rows, *base]
    if any(r.moment is None for r in both):
        return True  # without times the order is not known
    order = [r.antenna for r in sorted(both, key=lambda r: r.moment)]  # type: ignore[arg-type,return-value]
    # A-B-B-A reads the same backwards: a steady drift adds to both alike
    return order == order[::-1]


def _aim_doubts(where: str, rows: list[LogReading]) -> list[str]:
    known = [r for r in rows if r.aim_deg is not None and r.bearing_deg is not None]
    # the short way round, so that 359 against 1 degree is 2
    off = [abs((r.aim_deg - r.bearing_deg + 180.0) % 360.0 - 180.0) for r in known]  # type: ignore[operator]
    if off and max(off) > MISAIM_DEG:
        worst = known[int(np.argmax(off))]
        return [say("bench.doubt.aim", where=where, antenna=worst.antenna, degrees=decimal(max(off)))]
    return []


def _session_doubts(readings: Sequence[LogReading]) -> list[str]:
    sentences = []
    for session in dict.fromkeys(r.session for r in readings):
        rows = [r for r in readings if r.session == session]
        kinds = list(dict.fromkeys((r.device, r.scale.kind) for r in rows))
        if len(kinds) > 1:
            shown = join(
                [say("bench.doubt.kind_of", kind=kind_words(kind), device=device) for device, kind in kinds]
            )
            sentences.append(say("bench.doubt.scales", session=session, shown=shown))
        sites = list(dict.fromkeys(r.site for r in rows if r.site))
        if len(sites) > 1:
            sentences.append(say("bench.doubt.sites", session=session, sites=join(sites)))
    if all(r.moment is None for r in readings):
        sentences.append(say("bench.doubt.no_time"))
    sites = list(dict.fromkeys(r.site for r in readings if r.site))
    if len(sites) > 1:
        sentences.append(say("bench.doubt.mixture", count=len(sites), sites=", ".join(sites)))
    return sentences


def _overload_doubts(readings: Sequence[LogReading]) -> list[str]:
    hot = [
        r for r in readings
        if r.scale.kind == LEVEL and r.state == "exact" and r.value + r.scale.offset_db > OVERLOAD_DBM
    ]  # fmt: skip
    saturated = [r for r in readings if r.state == "saturated"]
    sentences = []
    if hot:
        most = as_given(OVERLOAD_DBM)
        key = "bench.doubt.hot_more" if len(hot) > 1 else "bench.doubt.hot"
        sentences.append(say(key, where=row_place(hot[0].where), count=len(hot) - 1, most=most))
    if saturated:
        first = row_place(saturated[0].where)
        sentences.append(say("bench.doubt.saturated", where=first, count=len(saturated)))
    return sentences


def explained_by(pairs: Sequence[PairedDifference]) -> list[str]:
    """Return sentences where aim or level explains the difference between the antennas within a band.

    Source: least squares on all known pairs of one figure, around the means of their bands, so that a
    difference between bands is no trend; told when p < 0.05 and it makes half a decibel over the readings.
    """
    exact = [p for p in pairs if p.is_exact and not p.left_out]
    sentences = []
    for key, values in (
        ("bench.doubt.trend_aim", [p.off_aim_deg for p in exact]),
        ("bench.doubt.trend_level", [p.reference_db for p in exact]),
    ):
        known = [(v, p.low_db, p.band) for v, p in zip(values, exact, strict=True) if not math.isnan(v)]
        if len(known) < FEWEST_FOR_TREND or len({v for v, _, _ in known}) < 3:
            continue
        slope, chance = _trend_within_bands(known)
        reach = max(value for value, _, _ in known) - min(value for value, _, _ in known)
        if chance < DOUBTFUL_P and abs(slope) * reach >= LEAST_TREND_DB:
            sentences.append(say(key, slope=signed(slope, 2), chance=chance_words(chance)))
    return sentences


def _trend_within_bands(known: Sequence[tuple[float, float, str]]) -> tuple[float, float]:
    """Return slope and two-sided chance of (value, difference, band), each around its band's mean."""
    bands = np.array([band for _, _, band in known])
    x, y = (np.array([row[side] for row in known], dtype=float) for side in (0, 1))
    for band in np.unique(bands):
        here = bands == band
        # Around each band's own mean: a band that is better and also stronger would look like a trend with
        # the level.
        x[here] -= x[here].mean()
        y[here] -= y[here].mean()
    # one for the slope, one for the mean of each band
    freedom = x.size - np.unique(bands).size - 1
    if freedom < 1 or not (x**2).sum() > 0.0:
        return math.nan, 1.0
    slope = float(x @ y / (x @ x))
    error = math.sqrt(float(((y - slope * x) ** 2).sum()) / freedom / float(x @ x))
    chance = 2.0 * float(stats.t.sf(abs(slope) / error, freedom)) if error > 0.0 else 0.0
    return slope, chance


def chance_words(chance: float) -> str:
    """Return a p value as people read it."""
    return f"p < {decimal(0.01, 2)}" if chance < 0.01 else f"p = {decimal(chance, 2)}"
