"""How far two installations differ, and how surely: both sides' figures count, what they share does not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from covermap.catalogue.installed import Installed
from covermap.catalogue.mounting import serving_of
from covermap.catalogue.records import Antenna, AntennaGain, Span
from covermap.reception.tiers import Tier


def difference_ends(first: Installed, other: Installed) -> tuple[Tier, Tier] | None:
    """Return the other installation at both ends of its difference to the first.

    The first stands at its usual gain. None where nothing of the difference has a span. The other's gain in a
    band is off by what both can be off, as independent errors; where one was measured against the other, or
    both against a third, by what was measured then. An antenna that both have brings no difference.
    """
    antennas = tuple(_as_different(antenna, first) for antenna in other.antennas)
    if not any(gain.gain_dbd.high > gain.gain_dbd.low for one in antennas for gain in one.gains):
        return None
    return other.with_gains(antennas, "low"), other.with_gains(antennas, "high")


def _as_different(antenna: Antenna, first: Installed) -> Antenna:
    """Return an antenna whose gains have the spans of its differences to the first installation's."""
    return replace(antenna, gains=tuple(_different(antenna, gain, first.antennas) for gain in antenna.gains))


def _different(antenna: Antenna, gain: AntennaGain, against: Sequence[Antenna]) -> AntennaGain:
    base = serving_of(list(against), gain.band)
    if base is not None and base.antenna_id == antenna.antenna_id:
        # the same piece on both sides: whatever its gain really is, it is the same in both
        return replace(gain, gain_dbd=Span(*[gain.gain_dbd.typical] * 3))
    theirs = None if base is None else _at(base, gain)
    below, above = _reach(antenna.antenna_id, gain, "" if base is None else base.antenna_id, theirs)
    middle = gain.gain_dbd.typical
    return replace(gain, gain_dbd=Span(middle - below, middle, middle + above))


def _at(antenna: Antenna, gain: AntennaGain) -> AntennaGain | None:
    """Return an antenna's figures where another's gain holds: at its frequency, else of the band."""
    if not math.isnan(gain.frequency_mhz):
        return antenna.gain_at(gain.frequency_mhz)
    of_band = [one for one in antenna.gains if one.band == gain.band]
    return next((one for one in of_band if math.isnan(one.frequency_mhz)), of_band[0] if of_band else None)


def _reach(name: str, gain: AntennaGain, base: str, theirs: AntennaGain | None) -> tuple[float, float]:
    """Return how far the difference of two gains can be below and above what is typical. [dB]"""
    if theirs is None:
        return _down(gain.gain_dbd), _up(gain.gain_dbd)
    if gain.difference_db is not None and gain.relative_to == base:
        return _down(gain.difference_db), _up(gain.difference_db)
    # measured the other way round: its low is our high
    if theirs.difference_db is not None and theirs.relative_to == name:
        return _up(theirs.difference_db), _down(theirs.difference_db)
    mine, other = gain.gain_dbd, theirs.gain_dbd
    alike = gain.relative_to == theirs.relative_to
    # both against one third antenna, whose own error drops out
    if alike and gain.difference_db is not None and theirs.difference_db is not None:
        mine, other = gain.difference_db, theirs.difference_db
    # Independent errors add as roots of squares. A difference is least where mine is low and the other's
    # high.
    return math.hypot(_down(mine), _up(other)), math.hypot(_up(mine), _down(other))


def _down(span: Span) -> float:
    return span.typical - span.low


def _up(span: Span) -> float:
    return span.high - span.typical
