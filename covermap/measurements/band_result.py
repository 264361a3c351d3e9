"""One figure of a comparison log: a candidate against the reference in one band, and its words."""

from __future__ import annotations

from dataclasses import dataclass

from covermap.measurements.censored_mean import FEWEST_STATIONS, BandMean
from covermap.measurements.scales import MER

BAND_WORDS = {"low_vhf": "low VHF", "high_vhf": "high VHF", "uhf": "UHF"}


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
        band = BAND_WORDS[self.band]
        if self.ordinal is not None:
            return _ordinal_words(band, *self.ordinal, is_mer=self.kind == MER)
        if self.mean is None and self.stations >= FEWEST_STATIONS:
            return f"no figure at {band} (lost or saturated on nearly all {self.stations} stations)"
        if self.mean is None:
            return f"not enough at {band} ({self.stations} stations, at least {FEWEST_STATIONS})"
        low, high = round(self.mean.low_db), round(self.mean.high_db)
        if self.mean.low_db > 0.0:
            # max: an interval from 0.2 dB rounds to 0 and is still better
            return f"better at {band}, likely {_span(max(low, 0), high)}"
        if self.mean.high_db < 0.0:
            return f"worse at {band}, likely {_span(max(-high, 0), -low)}"
        return f"no difference shown at {band} ({low:+d} to {high:+d} dB)".replace("+0", "0").replace(
            "-0", "0"
        )


def _ordinal_words(band: str, better: int, worse: int, chance: float, *, is_mer: bool) -> str:
    if better + worse < FEWEST_STATIONS:
        return f"not enough at {band} ({better + worse} stations, at least {FEWEST_STATIONS})"
    shown = f"{better} of {better + worse} stations higher"
    if chance >= 0.05:
        return f"no difference shown at {band} ({shown})"
    word = "better" if better > worse else "worse"
    unknown = "MER says how clean a signal is, not how strong" if is_mer else "how many dB is not known"
    return f"{word} at {band} ({shown}; {unknown})"


def _span(low: int, high: int) -> str:
    return f"about {high} dB" if low == high else f"{low} to {high} dB"
