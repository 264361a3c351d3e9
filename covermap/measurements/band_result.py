"""One figure of a comparison log: a candidate against the reference in one band, and its words."""

from __future__ import annotations

from dataclasses import dataclass

from covermap.measurements.censored_mean import FEWEST_STATIONS, BandMean
from covermap.measurements.scales import MER
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.words import signed


@dataclass(frozen=True)
class BandResult:
    """One figure: a candidate against the reference, in one band, on one scale of one set.

    mean : None where it is not enough; ordinal : better and worse stations and the chance of such a split
        were the antennas equal (sign test), for MER and for percent scales without decibels
    unknown : pairs in which both antennas were lost or saturated
    """

    candidate: str
    reference: str
    band: str
    device: str
    kind: str
    mean: BandMean | None
    stations: int
    left_out: int
    unknown: int
    ordinal: tuple[int, int, float] | None = None

    @property
    def verdict(self) -> str:
        """Return the figure in words, without the site."""
        band = band_words(self.band)
        few = {"band": band, "stations": self.stations, "needed": FEWEST_STATIONS}
        if self.ordinal is not None:
            return _ordinal_words(band, *self.ordinal, is_mer=self.kind == MER)
        if self.mean is None and self.stations >= FEWEST_STATIONS:
            return say("bench.verdict.no_figure", **few)
        if self.mean is None:
            return say("bench.verdict.too_few", **few)
        low, high = round(self.mean.low_db), round(self.mean.high_db)
        if self.mean.low_db > 0.0:
            # max: an interval from 0.2 dB rounds to 0 and is still better
            return say("bench.verdict.better", band=band, span=_span(max(low, 0), high))
        if self.mean.high_db < 0.0:
            return say("bench.verdict.worse", band=band, span=_span(max(-high, 0), -low))
        what = say("bench.verdict.range", low=signed(low), high=signed(high))
        return say("bench.verdict.same", band=band, what=what)


def where_words(candidate: str, band: str) -> str:
    """Return what a figure is of: 'new yagi, high VHF'."""
    return f"{candidate}, {band_words(band)}"


def kind_words(kind: str) -> str:
    """Return what was read: 'percent strength'."""
    return say(f"bench.kind.{kind.lower().replace(' ', '_')}")


def _ordinal_words(band: str, better: int, worse: int, chance: float, *, is_mer: bool) -> str:
    if better + worse < FEWEST_STATIONS:
        return say("bench.verdict.too_few", band=band, stations=better + worse, needed=FEWEST_STATIONS)
    shown = say("bench.verdict.higher", better=better, all=better + worse)
    if chance >= 0.05:
        return say("bench.verdict.same", band=band, what=shown)
    unknown = say("bench.verdict.mer" if is_mer else "bench.verdict.no_db")
    key = "bench.verdict.better_shown" if better > worse else "bench.verdict.worse_shown"
    return say(key, band=band, shown=shown, unknown=unknown)


def _span(low: int, high: int) -> str:
    return say("bench.about", db=high) if low == high else say("bench.span", low=low, high=high)
