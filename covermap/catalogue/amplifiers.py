"""Which masthead amplifiers of a catalogue are worth trying behind antennas, decided once for everything."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from covermap.catalogue.records import Antenna, AntennaCatalogue, Device, Span
from covermap.constants import BANDS

KIND = "amplifier"
MOST_TRIED = 3  # behind one installation; each is a search of its own in every square (judgement)
BAND_EDGES_MHZ = {"low_vhf": (54.0, 88.0), "high_vhf": (174.0, 216.0), "uhf": (470.0, 694.0)}


def amplifiers_for(antennas: Sequence[Antenna], catalogue: AntennaCatalogue) -> tuple[Device, ...]:
    """Return the amplifiers worth trying behind antennas on one cable, least costly first.

    An amplifier must pass every frequency that the antennas serve. One that another beats is left out: with
    as much gain, no more noise and no lower limits at no higher price. Of more than MOST_TRIED the least
    costly ones stay. Where an antenna has its own, there is none.
    """
    if any(antenna.amplifier is not None for antenna in antennas):
        return ()
    served = sorted({mhz for antenna in antennas for mhz in _edges_mhz(antenna)})
    fit = [
        device for device in catalogue.devices.values()
        if device.kind == KIND and all(device.passes(mhz) for mhz in served)
    ]  # fmt: skip
    kept = [one for place, one in enumerate(fit) if not _is_beaten(place, fit)]
    return tuple(sorted(kept, key=_cost)[:MOST_TRIED])


def _edges_mhz(antenna: Antenna) -> Iterable[float]:
    """Return the lowest and highest frequency of each band that an antenna serves."""
    for band in BANDS:
        if antenna.serves(band):
            of_band = [gain.frequency_mhz for gain in antenna.gains if gain.band == band]
            known = [mhz for mhz in of_band if not math.isnan(mhz)]
            # Both ends are enough: what passes them passes what lies between.
            yield from (min(known), max(known)) if known else BAND_EDGES_MHZ[band]


def _is_beaten(place: int, devices: Sequence[Device]) -> bool:
    """Return whether another device is as good in everything; of equal ones the first stays."""
    return any(
        # Of two that are alike in everything only the later one is beaten, else both would go.
        _is_no_worse(other, devices[place]) and (number < place or not _is_no_worse(devices[place], other))
        for number, other in enumerate(devices)
        if number != place
    )


def _is_no_worse(one: Device, other: Device) -> bool:
    pairs = zip(_merits(one), _merits(other), strict=True)
    return _cost(one) <= _cost(other) and all(mine >= theirs for mine, theirs in pairs)


def _merits(device: Device) -> tuple[float, float, float, float]:
    """Return what is better when greater: gain, little noise, limits; an unknown limit is none."""
    return (
        _typical(device.gain_db, -math.inf),
        -_typical(device.noise_figure_db, math.inf),
        _typical(device.max_input_dbm, math.inf),
        _typical(device.max_output_dbm, math.inf),
    )


def _typical(span: Span | None, absent: float) -> float:
    return absent if span is None else span.typical


def _cost(device: Device) -> float:
    """Return a price to sort by; unknown ones come last."""
    return math.inf if math.isnan(device.price) else device.price
