"""Per cent of a set turned into dBm at its terminals, where attenuator steps and a level give its scale."""

from __future__ import annotations

import csv
import io
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from covermap.errors import InputError
from covermap.measurements.band_result import kind_words
from covermap.measurements.field_rows import open_rows, optional_number, read_each
from covermap.measurements.percent_scale import EDGE_PERCENT, PercentScale, attenuator_scale
from covermap.measurements.scales import QUALITY, SCALES, STRENGTH, says_not_received
from covermap.scenario.text_table import Row
from covermap.wording.language import say

BARS = {"strength": STRENGTH, "quality": QUALITY, "pct_strength": STRENGTH, "pct_quality": QUALITY}
ONE_ANCHOR_SD_DB = 2.0  # judgement: how far one level beside a per cent is off
SCALE_COLUMNS = ("device_id", "percent_bar", "db_per_point", "lowest", "highest", "worst_db", "steps")

Bar = tuple[str, str]


@dataclass(frozen=True)
class PercentRow:
    """A row's per cent. level_dbm : at the set's terminals in the same row, NaN none"""

    device: str
    kind: str
    session: str
    station: str
    antenna: str
    state: str
    value: float
    attenuator_db: float
    level_dbm: float


@dataclass(frozen=True)
class PercentSet:
    """A set's bar in dBm: level = anchor_dbm + db_per_point x per cent, on the calibrated stretch only.

    sd_db : of a level worked out so
    """

    scale: PercentScale
    anchor_dbm: float
    sd_db: float

    def level_dbm(self, percent: float) -> float:
        """Return the level at the set's terminals, NaN beyond the stretch. [dBm]"""
        low, high = self.scale.lowest - EDGE_PERCENT, self.scale.highest + EDGE_PERCENT
        if not low <= percent <= high:
            return math.nan
        return self.anchor_dbm + self.scale.db_per_point * percent


def read_bar(row: Row) -> Bar | None:
    """Return set and bar of a row's per cent, None without. Raises InputError for another word."""
    text = row.text("percent_bar").lower()
    if not text:
        return None
    if text not in BARS:
        raise row.wrong("percent_bar", "Write strength or quality, whichever bar of the set was read.")
    return row.text("device_id"), BARS[text]


def percent_sets(
    rows: Iterable[Row], given: Mapping[Bar, PercentScale]
) -> tuple[dict[Bar, PercentSet], list[str]]:
    """Return the bars that become levels, and a sentence for each that does not or does.

    given : scales of an antenna test; the rows' own attenuator steps come first
    """
    groups: dict[Bar, list[PercentRow]] = defaultdict(list)
    unnamed = 0
    for row in rows:
        try:
            found = _percent_row(row)
        except InputError:
            continue  # told when the row itself is read
        unnamed += found is None and row.text("percent") != ""
        if found is not None:
            groups[found.device, found.kind].append(found)
    sets: dict[Bar, PercentSet] = {}
    sentences = []
    if unnamed:
        sentences.append(say("percent.unnamed", count=unnamed))
    for bar, group in groups.items():
        # steps among these rows first: they are of the same days
        scale = attenuator_scale(*bar, group) or given.get(bar)
        anchors = [
            r.level_dbm - scale.db_per_point * r.value
            for r in group
            if scale is not None and not math.isnan(r.level_dbm) and r.attenuator_db == 0.0
            and r.state == "exact" and scale.lowest - EDGE_PERCENT <= r.value <= scale.highest + EDGE_PERCENT
        ]  # fmt: skip
        sentences.append(_words(bar, scale, len(anchors)))
        if scale is not None and anchors:
            spread_db = float(np.std(anchors, ddof=1)) if len(anchors) > 2 else ONE_ANCHOR_SD_DB
            sets[bar] = PercentSet(scale, float(np.mean(anchors)), math.hypot(spread_db, scale.worst_db))
    return sets, sentences


def _words(bar: Bar, scale: PercentScale | None, anchors: int) -> str:
    device, kind = bar[0] or say("percent.no_device"), bar[1]
    if scale is None:
        return say("percent.no_offset", device=device, kind=kind_words(kind))
    if not anchors:
        return say("percent.no_level", scale=scale.in_words())
    return say("percent.tied", scale=scale.in_words(), count=anchors)


def _percent_row(row: Row) -> PercentRow | None:
    bar = read_bar(row)
    percent = optional_number(row, "percent", 0.0, 100.0)
    if bar is None or percent is None:
        return None
    return PercentRow(
        *bar, row.text("point_id"), row.text("station_id") or row.text("rf_channel"), "",
        "saturated" if percent >= 100.0 else "exact", percent,
        abs(optional_number(row, "attenuator_db", -60.0, 60.0) or 0.0), _level_dbm(row),
    )  # fmt: skip


def _level_dbm(row: Row) -> float:
    """Return the level of a row at the set's terminals, NaN where it has none in a unit of level."""
    scale = SCALES.get(row.text("unit").lower())
    if scale is None or scale.kind != "level" or says_not_received(row.text("level")):
        return math.nan
    level = optional_number(row, "level", -140.0, 140.0)
    return math.nan if level is None else level + scale.offset_db


def percent_scales_csv(scales: Sequence[PercentScale]) -> str:
    """Return scales as a CSV that `covermap calibrate --percent-scales` reads."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(SCALE_COLUMNS)
    for s in scales:
        figures = (f"{s.db_per_point:.4f}", f"{s.lowest:g}", f"{s.highest:g}", f"{s.worst_db:.2f}", s.steps)
        writer.writerow([s.device, s.kind.removeprefix("percent "), *figures])
    return text.getvalue()


def read_percent_scales(path: Path | str) -> dict[Bar, PercentScale]:
    """Read percent_scales.csv of an antenna test. Raises InputError if it or a row of it cannot be read."""
    rows = open_rows(path, SCALE_COLUMNS[2:], SCALE_COLUMNS, [(name,) for name in SCALE_COLUMNS[:5]])
    scales = read_each(rows, lambda row, warnings: _read_scale(row))
    if rows.unreadable:
        raise InputError(rows.unreadable[0])
    return {(scale.device, scale.kind): scale for scale in scales}


def _read_scale(row: Row) -> PercentScale:
    bar = read_bar(row)
    if bar is None:
        raise row.wrong("percent_bar", "Write strength or quality.")
    figures = [optional_number(row, name, 0.0, 100.0) for name in SCALE_COLUMNS[2:]]
    per_point, lowest, highest = figures[:3]
    if not per_point or lowest is None or highest is None:
        raise row.wrong("db_per_point", "It must be over 0, and lowest and highest filled.")
    return PercentScale(*bar, per_point, lowest, highest, figures[3] or 0.0, int(figures[4] or 0))
