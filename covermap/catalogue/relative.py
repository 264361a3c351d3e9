"""Measured differences become gains where the antenna they are relative to has one."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from covermap.catalogue.lobes import usual_lobe
from covermap.catalogue.records import Antenna, AntennaGain, RelativeGain, Span
from covermap.constants import BANDS


def with_differences(antennas: Mapping[str, Antenna]) -> tuple[dict[str, Antenna], list[str]]:
    """Return the antennas with gains from their differences, and a sentence on each that gives none.

    Only to antennas whose gains stand in the table themselves: no difference is built on another.
    """
    found, sentences = {}, []
    for name, antenna in antennas.items():
        gains, left = list(antenna.gains), []
        for difference in antenna.relative:
            # From `antennas`, not `found`: a reference that got its own gain by a difference is none.
            gain = _gain(difference, antenna, antennas.get(difference.reference))
            gains += [] if gain is None else [gain]
            left += [difference] if gain is None else []
        gains.sort(key=_order)
        found[name] = replace(antenna, gains=tuple(gains), relative=tuple(left))
        sentences += _open_ends(antenna, left)
    return found, sentences


def _order(gain: AntennaGain) -> tuple[int, float]:
    return BANDS.index(gain.band), -1.0 if math.isnan(gain.frequency_mhz) else gain.frequency_mhz


def _gain(difference: RelativeGain, antenna: Antenna, reference: Antenna | None) -> AntennaGain | None:
    base = None if reference is None else _delivered(reference, difference)
    if base is None:
        return None
    # Differences are measured on what arrives in the cable; gains of the table are the antenna's own. So the
    # reference's loss comes off before (in _delivered), and this antenna's is put back.
    gain_dbd = base.plus(Span(*(value + antenna.impedance_loss_db for value in difference.difference_db)))
    given = difference.beamwidth_deg, difference.front_to_back_db
    lobe = usual_lobe(*given, difference.band, gain_dbd.typical)
    return AntennaGain(
        difference.band, difference.frequency_mhz, gain_dbd, *lobe, difference.source,
        difference.reference, difference.difference_db,
    )  # fmt: skip


def _delivered(reference: Antenna, difference: RelativeGain) -> Span | None:
    """Return what a reference delivers where a difference was measured; None unknown."""
    if math.isnan(difference.frequency_mhz):
        found = reference.in_band(difference.band)
    else:
        gain = reference.gain_at(difference.frequency_mhz)
        found = None if gain is None else gain.gain_dbd
    return None if found is None else Span(*(value - reference.impedance_loss_db for value in found))


def _open_ends(antenna: Antenna, left: list[RelativeGain]) -> list[str]:
    """Return a sentence for each reference whose gain is not known."""
    return [
        f"{antenna.name} ({antenna.antenna_id}): its gain is known only relative to {reference}. Give "
        f"{reference} a gain there, and it has one."
        for reference in dict.fromkeys(one.reference for one in left)
    ]
