"""An antenna, what stands between it and a set, and the catalogue of both, as plain records."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from covermap.errors import InputError
from covermap.reception.bands import band_of
from covermap.reception.tiers import Tier

KINDS = ("indoor", "combination", "uhf", "high_vhf", "low_vhf")
BEYOND = 0.05  # of a frequency: so far beyond its first and last row an antenna is taken to serve (judgement)
# Where low and high are judged or measured, 19 of 20 pieces of that kind lie between them.
DEVIATIONS_LOW_TO_HIGH = 2.0 * 1.96


class Span(NamedTuple):
    """A figure and how far it can be off: 19 of 20 lie from low to high."""

    low: float
    typical: float
    high: float

    @property
    def sd(self) -> float:
        """Return the standard deviation that a normal quantity with this span has."""
        return (self.high - self.low) / DEVIATIONS_LOW_TO_HIGH

    def plus(self, other: Span) -> Span:
        """Return the sum with another figure that errs independently."""
        typical = self.typical + other.typical
        below = math.hypot(self.typical - self.low, other.typical - other.low)
        above = math.hypot(self.high - self.typical, other.high - other.typical)
        return Span(typical - below, typical, typical + above)


@dataclass(frozen=True)
class AntennaGain:
    """What an antenna does in one band, or at one frequency of it.

    band : low_vhf, high_vhf or uhf. frequency_mhz : NaN for the whole band
    gain_dbd : delivered into the cable
    beamwidth_deg : between the half-power points; NaN receives from all directions alike
    front_to_back_db : how far a signal from behind is weakened
    source : how the numbers came about
    relative_to, difference_db : the antenna it was measured against and how far above it, "" and None without
    """

    band: str
    frequency_mhz: float
    gain_dbd: Span
    beamwidth_deg: float
    front_to_back_db: float
    source: str
    relative_to: str = ""
    difference_db: Span | None = None


@dataclass(frozen=True)
class RelativeGain:
    """A measured difference to another antenna, whose gain there makes it one.

    reference : antenna id, which the catalogue may not have. Other figures as AntennaGain
    """

    reference: str
    band: str
    frequency_mhz: float
    difference_db: Span
    beamwidth_deg: float
    front_to_back_db: float
    source: str


@dataclass(frozen=True)
class Device:
    """What stands between an antenna and a set: an amplifier, a cable, a splitter.

    kind : one of covermap.catalogue.device_rows.KINDS
    gain_db, noise_figure_db : of an amplifier; None otherwise
    loss_vhf_db, loss_uhf_db : from input to one output; None for amplifiers and cables
    through_db : from input to the next tap on the line; None for all but taps
    cable_db_per_100_m : (a, b) of a sqrt(f) + b f, f in MHz; None for all but cables
    max_input_dbm, max_output_dbm : greatest total power at the ports; None unknown
    ways : outputs of a splitter or tap, inputs of a combiner; 1 otherwise
    lowest_mhz, highest_mhz : what an amplifier passes; NaN all there is
    price : in the catalogue's own currency, NaN unknown (a cable's for one metre)
    """

    device_id: str
    name: str
    kind: str
    ways: int
    gain_db: Span | None
    noise_figure_db: Span | None
    loss_vhf_db: Span | None
    loss_uhf_db: Span | None
    through_db: Span | None
    cable_db_per_100_m: tuple[float, float] | None
    max_input_dbm: Span | None
    max_output_dbm: Span | None
    price: float
    source: str
    lowest_mhz: float = math.nan
    highest_mhz: float = math.nan

    def passes(self, frequency_mhz: float) -> bool:
        """Return whether an amplifier is made for a frequency."""
        # Comparisons with NaN are false: an end that is not known does not limit.
        return not (frequency_mhz < self.lowest_mhz or frequency_mhz > self.highest_mhz)

    def loss_db(self, frequency_mhz: float, length_m: float = 100.0) -> Span:
        """Return what a passive device takes at a frequency; of a cable of a length.

        Raises InputError for an amplifier.
        """
        if self.cable_db_per_100_m is not None:
            root, linear = self.cable_db_per_100_m
            loss_db = (root * math.sqrt(frequency_mhz) + linear * frequency_mhz) * length_m / 100.0
            return Span(loss_db, loss_db, loss_db)
        found = self.loss_uhf_db if band_of(frequency_mhz) == "uhf" else self.loss_vhf_db
        if found is None:
            raise InputError(
                f"{self.name} ({self.device_id}) is of the kind {self.kind}, which has no loss at "
                f"{frequency_mhz:g} MHz. Choose a passive device that serves it."
            )
        return found


@dataclass(frozen=True)
class Antenna:
    """One antenna of a catalogue.

    kind : one of KINDS. mounts : where it may be put up, of covermap.catalogue.MOUNTS
    gains : in order of band and frequency; within a band that has frequencies they count, a band's own
        row where there are none near
    boom_m, price : NaN unknown; the price in the catalogue's own currency
    amplifier : built in, None without. impedance_loss_db : what its match to the cable takes from the gains
    cross_polar_db : rejection of a signal of the other polarization; NaN: the mount's
    relative : differences to antennas whose gain the catalogue does not know; they serve no band
    """

    antenna_id: str
    name: str
    kind: str
    mounts: tuple[str, ...]
    gains: tuple[AntennaGain, ...]
    boom_m: float
    price: float
    amplifier: Device | None
    impedance_loss_db: float
    cross_polar_db: float
    source: str
    relative: tuple[RelativeGain, ...] = ()

    def gain_at(self, frequency_mhz: float) -> AntennaGain | None:
        """Return its figures at a frequency; None where it does not serve it.

        Between two frequencies of a band linear; up to 5 % beyond the first or last one that one's.
        """
        band = band_of(frequency_mhz)
        rows = [gain for gain in self.gains if gain.band == band]
        points = [gain for gain in rows if not math.isnan(gain.frequency_mhz)]
        # Beyond the frequencies the band's own row may still hold; without one the antenna serves no more.
        if points and _is_near(points, frequency_mhz):
            return _between(points, frequency_mhz)
        return next((gain for gain in rows if math.isnan(gain.frequency_mhz)), None)

    def in_band(self, band: str) -> Span | None:
        """Return its gain in a band: of the band's own row, else the mean over frequencies; None without."""
        rows = [gain for gain in self.gains if gain.band == band]
        whole = [gain for gain in rows if math.isnan(gain.frequency_mhz)] or rows
        if not whole:
            return None
        columns = zip(*(gain.gain_dbd for gain in whole), strict=True)
        return Span(*(sum(values) / len(whole) for values in columns))

    def serves(self, band: str) -> bool:
        """Return whether it has a gain anywhere in a band."""
        return any(gain.band == band for gain in self.gains)


@dataclass(frozen=True)
class AntennaCatalogue:
    """Antennas and devices by their ids, in the order of their tables, and what was noticed on reading."""

    antennas: dict[str, Antenna]
    devices: dict[str, Device]
    warnings: tuple[str, ...] = ()

    def of_tier(self, tier: Tier) -> tuple[Antenna, ...]:
        """Return the antennas that a tier stands for, of those it names that the catalogue has."""
        return tuple(self.antennas[name] for name in tier.antennas if name in self.antennas)


def _is_near(points: list[AntennaGain], frequency_mhz: float) -> bool:
    first, last = points[0].frequency_mhz, points[-1].frequency_mhz
    return first * (1.0 - BEYOND) <= frequency_mhz <= last * (1.0 + BEYOND)


def _between(points: list[AntennaGain], frequency_mhz: float) -> AntennaGain:
    """Return the figures at a frequency from those of one band's frequencies."""
    mhz = [point.frequency_mhz for point in points]

    def at(values: Iterable[float]) -> float:
        # np.interp keeps the end's value beyond the ends: up to 5 %, see _is_near().
        return float(np.interp(frequency_mhz, mhz, list(values)))

    # Source and what it was measured against cannot be interpolated.
    nearest = min(points, key=lambda point: abs(point.frequency_mhz - frequency_mhz))
    return AntennaGain(
        nearest.band,
        frequency_mhz,
        Span(*(at(values) for values in zip(*(point.gain_dbd for point in points), strict=True))),
        at(point.beamwidth_deg for point in points),
        at(point.front_to_back_db for point in points),
        nearest.source,
        nearest.relative_to,
        nearest.difference_db,
    )
