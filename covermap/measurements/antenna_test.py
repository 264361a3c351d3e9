"""A comparison log's answer: how much one antenna is better than another, per band, at this site."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from scipy import stats

from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.measurements.band_result import BandResult, kind_words, where_words
from covermap.measurements.censored_mean import (
    FEWEST_STATIONS,
    REMOUNTED_SD_DB,
    SESSION_SD_DB,
    band_mean,
)
from covermap.measurements.comparison_log import ComparisonLog, read_comparison_log, require_readings
from covermap.measurements.log_doubts import chance_words, choose_reference, doubts, explained_by
from covermap.measurements.next_readings import next_readings
from covermap.measurements.paired import PairedDifference, Pairs, paired_differences
from covermap.measurements.percent_scale import PercentScale, percent_scales
from covermap.wording.language import say
from covermap.wording.words import as_given, decimal


@dataclass(frozen=True)
class AntennaTest:
    """What a comparison log says.

    bands : one figure a candidate, band, set and scale
    scales : percent bars that attenuator steps calibrate
    noise_db : standard deviation of repeats of one antenna on one station, NaN where nothing was repeated
    next_steps : what to read next, a sentence a figure that is not settled
    warnings : doubts, a sentence each; unreadable : rows left out, with the reason
    """

    log: ComparisonLog
    reference: str
    pairs: Pairs
    bands: tuple[BandResult, ...]
    notes: tuple[str, ...]
    next_steps: tuple[str, ...]
    warnings: tuple[str, ...]
    scales: tuple[PercentScale, ...]

    @property
    def unreadable(self) -> tuple[str, ...]:
        """Return a sentence for each row that was left out."""
        return self.log.unreadable

    @property
    def noise_db(self) -> float:
        """Return the noise floor of the method. [dB]"""
        return self.pairs.noise_db

    @property
    def verdict(self) -> str:
        """Return the answer in words, one sentence a candidate, set and scale."""
        keys = dict.fromkeys((b.candidate, b.device, b.kind) for b in self.bands)
        return " ".join(self._sentence(*key) for key in keys)

    def _sentence(self, candidate: str, device: str, kind: str) -> str:
        parts = [
            b.verdict for b in self.bands if (b.candidate, b.device, b.kind) == (candidate, device, kind)
        ]
        several = len({(b.device, b.kind) for b in self.bands}) > 1
        by = say("bench.verdict.by", kind=kind_words(kind), device=device) if several else ""
        where = say("bench.verdict.at", count=len({reading.site for reading in self.log.readings}))
        names = {"candidate": candidate, "reference": self.reference}
        return say("bench.verdict.of", by=by, figures="; ".join(parts), where=where, **names)


def antenna_test(
    log: str | Path | ComparisonLog,
    channel_plan: str = "us_6mhz",
    *,
    remounted: bool = False,
    reference: str | None = None,
) -> AntennaTest:
    """Compare the antennas of a log, per band.

    Parameters
    ----------
    log : path or ComparisonLog
        A CSV with a row a reading; docs/fieldwork.md lists the columns.
    channel_plan : str
        Turns rf_channel into a band.
    remounted : bool
        Whether the answer must hold for antennas mounted anew: another session then changes 1.0 dB instead
        of 0.6. A note of the log that says "remounted" does the same.
    reference : str, optional
        The antenna that others are compared with; else the one that the log marks.

    Returns
    -------
    AntennaTest
        .bands (mean difference with 95 % interval, spread between stations, n stations), .verdict, .warnings,
        .unreadable, .noise_db.

    Raises
    ------
    InputError
        If the file cannot be read, no row is readable, it holds one antenna only, or not the reference.

    Notes
    -----
    The unit is one station in one session. The interval holds what another session would change, and what
    the stations of one mast (one bearing) share. MER is never a gain: it only says which is better. Lost
    pictures are censored below, saturated readings above; they are never dropped. Different sets and scales
    are never put into one figure.
    """
    if not isinstance(log, ComparisonLog):
        log = read_comparison_log(log, channel_plan)
    require_readings(log)
    reference, sentences = choose_reference(log, reference)
    scales, notes = percent_scales(log.readings)
    reasons, more = doubts(log.readings, reference)
    pairs = paired_differences(log.readings, reference, scales, reasons)
    if not pairs.differences and not pairs.ordinal:
        raise InputError(
            f"{log.file}: no station was read with {reference} and another antenna in one "
            f"session with one set "
            "and scale, so nothing can be compared. Look at session_id, device_id and scale.\n"
            + "\n".join(more[:3])
        )
    bands = _bands(_at_sites(pairs, log), REMOUNTED_SD_DB if remounted or log.remounted else SESSION_SD_DB)
    warnings = [*log.warnings, *sentences, *more, *_figure_warnings(pairs, bands)]
    notes = [*notes, _noise_words(pairs), *_plan_words(log)]
    steps = tuple(next_readings(log.readings, pairs, bands))
    told = tuple(dict.fromkeys(warnings))
    return AntennaTest(log, reference, pairs, tuple(bands), tuple(notes), steps, told, tuple(scales.values()))


def _at_sites(pairs: Pairs, log: ComparisonLog) -> Pairs:
    """Return pairs in which a station read at two sites is two stations: its paths differ."""
    if len(log.sites) < 2:
        return pairs
    site_of = {reading.session: reading.site for reading in log.readings}
    differences, ordinal = (
        tuple(
            replace(
                pair,
                station=say("bench.verdict.station_at", station=pair.station, site=site_of[pair.session]),
            )
            for pair in part
        )
        for part in (pairs.differences, pairs.ordinal)
    )
    return replace(pairs, differences=differences, ordinal=ordinal)


def _bands(pairs: Pairs, session_sd_db: float) -> list[BandResult]:
    """Return a figure for each candidate, set, scale and band, bands in order of frequency."""
    results = []
    everything = [*pairs.differences, *pairs.ordinal]
    # dict.fromkeys: each once, in the order of the log
    keys = dict.fromkeys((p.candidate, p.reference, p.device, p.kind) for p in everything)
    for key in keys:
        for band in BANDS:
            in_db, by_order = (
                [p for p in part if (p.candidate, p.reference, p.device, p.kind) == key and p.band == band]
                for part in (pairs.differences, pairs.ordinal)
            )
            if in_db or by_order:
                results.append(_figure(key, band, in_db, by_order, session_sd_db))
    return results


def _figure(
    key: tuple[str, str, str, str],
    band: str,
    in_db: Sequence[PairedDifference],
    by_order: Sequence[PairedDifference],
    session_sd_db: float,
) -> BandResult:
    candidate, reference, device, kind = key
    used = [p for p in (in_db or by_order) if not p.left_out]
    # Both lost, or both saturated, bounds nothing; with one lost the bound goes into the Tobit likelihood.
    told = [p for p in used if not p.says_nothing]
    mean = None
    if in_db and told:
        mean = band_mean(
            [p.low_db for p in told],
            [p.high_db for p in told],
            [p.station for p in told],
            [p.session for p in told],
            [p.mast for p in told],
            session_sd_db,
        )
    return BandResult(
        candidate, reference, band, device, kind, mean,
        stations=len({p.station for p in told}),
        left_out=len(in_db or by_order) - len(used),
        unknown=len(used) - len(told),
        ordinal=None if in_db else _sign_test(told),
    )  # fmt: skip


def _sign_test(pairs: Sequence[PairedDifference]) -> tuple[int, int, float]:
    """Return stations where the candidate was better, where worse, and the two-sided chance of the split."""
    by_station: dict[str, float] = {}
    for pair in pairs:
        # A station counts once, however many sessions it was read in: the test is of the paths, not of the
        # rows.
        by_station[pair.station] = by_station.get(pair.station, 0.0) + pair.low_db
    better = sum(value > 0.0 for value in by_station.values())
    worse = sum(value < 0.0 for value in by_station.values())
    chance = float(stats.binomtest(better, better + worse).pvalue) if better + worse else 1.0
    return better, worse, chance


def _figure_warnings(pairs: Pairs, bands: Sequence[BandResult]) -> list[str]:
    sentences = []
    for result in bands:
        where = where_words(result.candidate, result.band)
        if result.stations < FEWEST_STATIONS:
            few = {"stations": result.stations, "needed": FEWEST_STATIONS}
            sentences.append(say("bench.doubt.few_stations", where=where, **few))
        if result.unknown:
            sentences.append(say("bench.doubt.unknown_pairs", where=where, count=result.unknown))
        if result.mean is not None and math.isnan(result.mean.session_sd_db):
            assumed = as_given(result.mean.assumed_session_sd_db)
            sentences.append(say("bench.doubt.one_session", where=where, db=assumed))
    keys = dict.fromkeys((p.candidate, p.device, p.kind) for p in pairs.differences)
    for key in keys:
        mine = [p for p in pairs.differences if (p.candidate, p.device, p.kind) == key]
        sentences += [f"{key[0]}: {sentence}" for sentence in explained_by(mine)]
        sentences += _band_words(key[0], mine)
    return sentences


def _band_words(candidate: str, pairs: Sequence[PairedDifference]) -> list[str]:
    """Return a sentence where the bands differ, so that one figure over all bands would mislead."""
    groups = [[p.low_db for p in pairs if p.band == band and p.is_exact and not p.left_out] for band in BANDS]
    groups = [group for group in groups if len(group) >= 3]
    if len(groups) < 2:
        return []
    chance = float(stats.f_oneway(*groups).pvalue)
    if not chance < 0.05:
        return []
    return [say("bench.doubt.bands_differ", candidate=candidate, chance=chance_words(chance))]


def _noise_words(pairs: Pairs) -> str:
    if not pairs.noise_freedom:
        return say("bench.note.no_noise")
    return say("bench.note.noise", db=decimal(pairs.noise_db, 1), freedom=pairs.noise_freedom)


def _plan_words(log: ComparisonLog) -> list[str]:
    return [say("bench.note.plan", plan=log.channel_plan)]
