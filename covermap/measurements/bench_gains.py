"""What a comparison log says of an antenna at any place: by band and by channel, sites and days pooled."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from covermap.catalogue import Span
from covermap.constants import BANDS
from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.band_result import BandResult, kind_words, where_words
from covermap.measurements.censored_mean import (
    CONFIDENCE,
    FEWEST_STATIONS,
    REMOUNTED_SD_DB,
    BandMean,
    band_mean,
)
from covermap.measurements.paired import PairedDifference
from covermap.measurements.scales import LEVEL, MER
from covermap.wording.language import say

# Of what stations of one site differ by, so much is taken to be the antenna's own from channel to channel;
# the rest is the paths'. Several sites that share channels tell.
OWN_SHARE = 0.5  # judgement
ONE_PLACE = "one place"


@dataclass(frozen=True)
class BenchGain:
    """A candidate against the reference, in a band or on one channel of it, at any place.

    frequency_mhz : NaN for the whole band. difference_db : mean and its 95 % interval
    channels_mhz : of the stations that were read. sites, days : where and when, days as 2026-09-01
    """

    candidate: str
    reference: str
    band: str
    frequency_mhz: float
    difference_db: Span
    channels_mhz: tuple[float, ...]
    stations: int
    sessions: int
    sites: tuple[str, ...]
    days: tuple[str, ...]


def bench_gains(test: AntennaTest) -> tuple[list[BenchGain], list[str]]:
    """Return a figure for each candidate, band and channel that is fit to be one, and why others are not.

    Levels, or per cent that attenuator steps made decibels, of one set and scale; with several the one read
    on most stations. The mean is over stations, sessions and sites (see band_mean): what another mounting,
    day and place would change is in its interval. A channel's figure is drawn towards that of its band by how
    little its own stations say.
    """
    gains: list[BenchGain] = []
    refused: list[str] = []
    for candidate in dict.fromkeys(result.candidate for result in test.bands):
        for band in BANDS:
            results = [one for one in test.bands if (one.candidate, one.band) == (candidate, band)]
            in_db = [one for one in results if one.ordinal is None]
            if not in_db:
                refused += [_why_unfit(one) for one in results]
                continue
            # A figure before none, decibels of a meter before those of a bar, then the most stations.
            chosen = min(in_db, key=lambda one: (one.mean is None, one.kind != LEVEL, -one.stations))
            refused += [_why_not_chosen(one, chosen) for one in in_db if one is not chosen]
            found = _of_band(test, chosen)
            gains += found
            refused += [] if found else [_why_unfit(chosen)]
    return gains, refused


def _why_unfit(result: BandResult) -> str:
    where = where_words(result.candidate, result.band)
    if result.kind == MER:
        return say("bench.gain.mer", where=where)
    if result.ordinal is not None:
        return say("bench.gain.percent", where=where)
    if result.stations >= FEWEST_STATIONS:
        return say("bench.gain.lost", where=where, stations=result.stations)
    return say("bench.gain.few", where=where, stations=result.stations, needed=FEWEST_STATIONS)


def _why_not_chosen(result: BandResult, chosen: BandResult) -> str:
    left = {"kind": kind_words(result.kind), "device": result.device}
    taken = {"chosen_kind": kind_words(chosen.kind), "chosen": chosen.device, "stations": chosen.stations}
    return say("bench.gain.not_chosen", where=where_words(result.candidate, result.band), **left, **taken)


def _of_band(test: AntennaTest, result: BandResult) -> list[BenchGain]:
    """Return the figure of a band over all its sites and days, and of each of its channels."""
    key = result.candidate, result.band, result.device, result.kind
    pairs = [
        pair for pair in test.pairs.differences
        if (pair.candidate, pair.band, pair.device, pair.kind) == key
        and not pair.left_out and not pair.says_nothing
    ]  # fmt: skip
    site_of: dict[str, str] = {}
    day_of: dict[str, str] = {}
    mhz_of: dict[tuple[str, str], float] = {}
    for reading in test.log.readings:
        site_of.setdefault(reading.session, reading.site or ONE_PLACE)
        if reading.moment is not None:
            day_of.setdefault(reading.session, reading.moment.date().isoformat())
        mhz_of.setdefault((reading.session, reading.station), reading.frequency_mhz)
    sites = [site_of[pair.session] for pair in pairs]
    mhz = [mhz_of[pair.session, pair.station] for pair in pairs]
    mean = band_mean(
        [pair.low_db for pair in pairs],
        [pair.high_db for pair in pairs],
        [pair.station for pair in pairs],
        [pair.session for pair in pairs],
        [pair.mast for pair in pairs],
        REMOUNTED_SD_DB,  # a catalogue's figure must hold where the antenna is put up
        sites=sites,
        channels=[f"{one:.3f}" for one in mhz],
    )
    if mean is None:
        return []
    sessions = dict.fromkeys(pair.session for pair in pairs)
    days = sorted({day_of[session] for session in sessions if session in day_of})

    def figure(frequency_mhz: float, difference_db: Span, stations: int) -> BenchGain:
        channels = tuple(sorted(set(mhz))) if math.isnan(frequency_mhz) else (frequency_mhz,)
        return BenchGain(
            result.candidate, result.reference, result.band, frequency_mhz, difference_db, channels,
            stations, mean.sessions, tuple(dict.fromkeys(sites)), tuple(days),
        )  # fmt: skip

    whole = figure(math.nan, Span(mean.low_db, mean.mean_db, mean.high_db), mean.stations)
    of_channels = _by_channel(pairs, sites, mhz, mean)
    # one channel alone is the band: a row of its own would say the same twice
    return [whole, *(figure(*one) for one in of_channels)] if len(of_channels) > 1 else [whole]


def _by_channel(
    pairs: Sequence[PairedDifference], sites: Sequence[str], mhz: Sequence[float], mean: BandMean
) -> list[tuple[float, Span, int]]:
    """Return frequency, difference and stations of each channel with a known difference.

    Source: the mean of a group drawn towards that of all, by the share of its variance that is its own
        (empirical Bayes, textbook). Accuracy: as the variances.
    """
    if math.isnan(mean.channel_sd_db):
        own_db2 = OWN_SHARE * mean.station_sd_db**2
        path_db2 = mean.station_sd_db**2 - own_db2
    else:
        own_db2, path_db2 = mean.channel_sd_db**2, mean.station_sd_db**2
    groups: dict[float, dict[tuple[str, str], list[float]]] = defaultdict(lambda: defaultdict(list))
    for pair, site, channel_mhz in zip(pairs, sites, mhz, strict=True):
        if pair.is_exact:
            groups[channel_mhz][site, pair.station].append(pair.low_db)
    quantile = float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, mean.freedom))
    found = []
    for channel_mhz, by_station in sorted(groups.items()):
        own_db = float(np.mean([np.mean(values) for values in by_station.values()]))
        # Between 0 (the channel says nothing of its own) and 1 (many stations on it).
        share = own_db2 / (own_db2 + path_db2 / len(by_station)) if own_db2 > 0.0 else 0.0
        middle_db = mean.mean_db + share * (own_db - mean.mean_db)
        reach_db = quantile * math.hypot(mean.standard_error_db, math.sqrt(own_db2 * (1.0 - share)))
        span = Span(middle_db - reach_db, middle_db, middle_db + reach_db)
        found.append((channel_mhz, span, len(by_station)))
    return found
