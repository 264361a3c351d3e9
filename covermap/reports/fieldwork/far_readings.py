"""Readings far off the prediction on the page of an antenna test: what was read, and what to check first."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.measurements.far_readings import FAR_SPREADS, FarReading
from covermap.reports.fieldwork import page as html
from covermap.reports.fieldwork.antenna_matrix import station_words
from covermap.wording.language import say
from covermap.wording.lists import spelled
from covermap.wording.words import decimal


def far_section(readings: Sequence[FarReading]) -> str:
    """Return a sentence for each reading and what to check first; nothing where none is far off."""
    if not readings:
        return ""
    sides = [side for side in ("less", "more") if any(_side(one) == side for one in readings)]
    return "\n".join(
        [
            html.section(say("bench.far.heading"), [_sentence(one) for one in readings]),
            *(html.paragraph(say(f"bench.far.check_{side}")) for side in sides),
            html.paragraph(say("bench.far.threshold", spreads=spelled(round(FAR_SPREADS)))),
        ]
    )


def _side(one: FarReading) -> str:
    return "less" if one.off_db < 0.0 else "more"


def _sentence(one: FarReading) -> str:
    name = station_words(one.station, one.channel)
    return say(
        f"bench.far.{_side(one)}",
        station=f"{one.site}: {name}" if one.site else name,
        antenna=one.antenna,
        read=decimal(one.read_dbm),
        predicted=decimal(one.predicted.level_dbm),
        off=decimal(abs(one.off_db)),
        spread=decimal(one.predicted.spread_db),
    )
