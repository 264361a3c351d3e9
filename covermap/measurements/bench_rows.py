"""Measured differences as rows of a catalogue: absolute where the reference's gain is known."""

from __future__ import annotations

import math
from collections.abc import Sequence

from covermap.catalogue import Antenna, AntennaCatalogue, AntennaGain, Span
from covermap.measurements.band_result import where_words
from covermap.measurements.bench_gains import BenchGain
from covermap.wording.language import say
from covermap.wording.words import decimal, signed

OUTDOORS = "gable rooftop mast"
NOT_SAID = "measured; name, kind, mounts and price are to be filled in"

CatalogueRow = dict[str, str]


def gain_rows(gains: Sequence[BenchGain], catalogue: AntennaCatalogue) -> list[CatalogueRow]:
    """Return a row of antenna_gains.csv for each figure. Lobes are those the antenna had in the catalogue."""
    return [_gain_row(gain, catalogue) for gain in gains]


def new_antenna_rows(gains: Sequence[BenchGain], catalogue: AntennaCatalogue) -> list[CatalogueRow]:
    """Return a row of antennas.csv for each antenna that the catalogue does not have yet."""
    unknown = [gain.candidate for gain in gains if gain.candidate not in catalogue.antennas]
    rows = []
    for name in dict.fromkeys(unknown):
        bands = list(dict.fromkeys(gain.band for gain in gains if gain.candidate == name))
        kind = bands[0] if len(bands) == 1 else "combination"
        rows.append({"antenna_id": name, "name": name, "kind": kind, "mounts": OUTDOORS, "source": NOT_SAID})
    return rows


def reference_gain(gain: BenchGain, catalogue: AntennaCatalogue) -> Span | None:
    """Return what the reference delivers where a figure holds; None where the catalogue does not know.

    Of a whole band: the mean over the channels that were read.
    """
    reference = catalogue.antennas.get(gain.reference)
    found = [] if reference is None else [reference.gain_at(mhz) for mhz in gain.channels_mhz]
    known = [one.gain_dbd for one in found if one is not None]
    # Known on some of the channels alone: the mean would be of other frequencies than the difference's.
    if reference is None or not known or len(known) < len(found):
        return None
    means = (sum(values) / len(known) - reference.impedance_loss_db for values in zip(*known, strict=True))
    return Span(*means)


def in_words(gain: BenchGain, catalogue: AntennaCatalogue) -> str:
    """Return what a figure of a whole band says, in a sentence."""
    base = reference_gain(gain, catalogue)
    middle, reach = gain.difference_db.typical, gain.difference_db.high - gain.difference_db.typical
    names = {"where": where_words(gain.candidate, gain.band), "reference": gain.reference}
    if base is None:
        return say("bench.gain.relative", middle=signed(middle, 1), reach=decimal(reach, 1), **names)
    total = base.plus(gain.difference_db)
    low, typical, high = (decimal(one, 1) for one in total)
    return say("bench.gain.total", total=typical, low=low, high=high, base=decimal(base.typical, 1), **names)


def _gain_row(gain: BenchGain, catalogue: AntennaCatalogue) -> CatalogueRow:
    antenna, base = catalogue.antennas.get(gain.candidate), reference_gain(gain, catalogue)
    whole = math.isnan(gain.frequency_mhz)
    days = f"{gain.days[0]} to {gain.days[-1]}" if len(gain.days) > 1 else "".join(gain.days)
    row = {
        "antenna_id": gain.candidate,
        "band": gain.band,
        "frequency_mhz": "" if whole else f"{gain.frequency_mhz:g}",
        "relative_to": gain.reference,
        **_three("difference{}_db", gain.difference_db),
        "as_of": gain.days[-1] if gain.days else "",
        "site": "; ".join(gain.sites),
        "source": (
            f"measured {days or 'on a day not said'} at {', '.join(gain.sites)} against {gain.reference}: "
            f"{gain.stations} station{'s' if gain.stations > 1 else ''}, {gain.sessions} session"
            f"{'s' if gain.sessions > 1 else ''}, 95 %"
        ),
    }
    if base is not None:
        # What was compared arrives in the cable; the table's gains are before the match, so its loss is put
        # back on.
        lost_db = 0.0 if antenna is None else antenna.impedance_loss_db
        difference = Span(*(value + lost_db for value in gain.difference_db))
        row |= _three("gain{}_dbd", base.plus(difference))
    lobe = None if antenna is None else _lobe(antenna, gain)
    if lobe is not None and not math.isnan(lobe.beamwidth_deg):
        row |= {
            "beamwidth_deg": f"{lobe.beamwidth_deg:.0f}",
            "front_to_back_db": f"{lobe.front_to_back_db:.0f}",
        }
    return row


def _lobe(antenna: Antenna, gain: BenchGain) -> AntennaGain | None:
    """Return the antenna's earlier figures where a new one holds, for their beamwidth and front to back."""
    middle = gain.channels_mhz[len(gain.channels_mhz) // 2]
    of_band = [one for one in antenna.gains if one.band == gain.band]
    return antenna.gain_at(middle) or next(iter(of_band), None)


def _three(column: str, span: Span) -> CatalogueRow:
    names = (column.format(part) for part in ("_low", "", "_high"))
    return {name: f"{value:.1f}" for name, value in zip(names, span, strict=True)}
