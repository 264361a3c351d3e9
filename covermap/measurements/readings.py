"""Reads readings at addresses: what was received where, at which height, with what."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from covermap.constants import DIPOLE_FACTOR_DB
from covermap.errors import InputError
from covermap.measurements.field_rows import open_rows, optional_number, read_each, read_moment
from covermap.measurements.percent_readings import (
    Bar,
    PercentSet,
    percent_sets,
    read_bar,
    read_percent_scales,
)
from covermap.measurements.scales import DBUV_FROM_DBM, SCALES, read_decoded, says_not_received
from covermap.reception.tiers import Tier, TierTable
from covermap.scenario.coordinates import read_place
from covermap.scenario.records import Station
from covermap.scenario.text_table import Row
from covermap.wording.language import say
from covermap.wording.words import as_given, row_place

NUMBER_COLUMNS = (
    "latitude_deg", "longitude_deg", "position_error_m", "height_m", "antenna_factor_db", "gain_dbd",
    "cable_loss_db", "amp_gain_db", "bandwidth_mhz", "level", "mer_db", "percent", "aim_deg",
    "attenuator_db",
)  # fmt: skip
TEXT_COLUMNS = (
    "point_id", "utc", "position", "mount", "station_id", "rf_channel", "detector", "unit", "device_id",
    "decoded", "percent_bar", "clutter_class", "leaf_state", "note", "operator",
)  # fmt: skip
READING_COLUMNS = (
    "point_id", "utc", "latitude_deg", "longitude_deg", "position_error_m", "mount", "height_m", "station_id",
    "rf_channel", "level", "unit", "gain_dbd", "antenna_factor_db", "cable_loss_db", "amp_gain_db", "mer_db",
    "percent", "percent_bar", "attenuator_db", "decoded", "aim_deg", "device_id", "bandwidth_mhz", "detector",
    "clutter_class", "leaf_state",
    "note", "operator",
)  # fmt: skip
REQUIRED = (
    ("latitude_deg", "position"), ("longitude_deg", "position"), ("height_m", "mount"),
    ("station_id", "rf_channel"), ("level", "mer_db", "decoded", "percent"),
)  # fmt: skip
POOREST_POSITION_M = 200.0  # judgement: a reading placed worse than this is doubted
IN_LEAF, BARE = "in leaf", "bare"
LEAF_WORDS = {
    "in leaf": IN_LEAF, "leaf": IN_LEAF, "leaves": IN_LEAF, "full": IN_LEAF, "summer": IN_LEAF,
    "bare": BARE, "no leaf": BARE, "no leaves": BARE, "none": BARE, "winter": BARE,
}  # fmt: skip
FIELD_UNITS = ("dbuv/m", "dbµv/m", "dbμv/m")


@dataclass(frozen=True)
class Reading:
    """One reading of one station at one point.

    height_m : of the antenna above ground; tier : the installation, None where only the height is known
    kind : field (value_db is dB(uV/m) at the antenna), mer (value_db is MER) or decoded
    decoded : yes, no, breaking or nothing
    gain_dbd : of the antenna, NaN unknown
    aim_deg : where it looked, true azimuth, NaN unknown; leaf : in leaf, bare or nothing
    clutter : what stands around, in the reader's words, lower case
    value_sd_db : doubt of the value itself: of a level worked out from a per cent
    """

    where: str
    point: str
    moment: datetime | None
    latitude_deg: float
    longitude_deg: float
    height_m: float
    tier: Tier | None
    station: Station
    kind: str
    value_db: float
    decoded: str
    gain_dbd: float
    cable_loss_db: float
    device: str
    aim_deg: float
    leaf: str
    clutter: str
    value_sd_db: float


@dataclass(frozen=True)
class Readings:
    """Readings in file order, rows left out with the reason, and doubts."""

    file: str
    readings: tuple[Reading, ...]
    unreadable: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def points(self) -> int:
        """Return how many points were visited."""
        return len({r.point for r in self.readings})

    @property
    def as_of(self) -> str:
        """Return the latest day among the readings, or an empty text."""
        return max((r.moment.date().isoformat() for r in self.readings if r.moment), default="")


def read_readings(
    path: Path | str,
    stations: Sequence[Station],
    tiers: TierTable,
    percent_scales: Path | str | None = None,
) -> Readings:
    """Read a file of readings; rows that cannot be used are listed with the reason and the rest is kept.

    stations, tiers : of the scenario; percent_scales : what an antenna test wrote of the sets' percent bars
    Rows behind an attenuator only tell of the bar; they are no readings of their own.

    Raises InputError if the file or its header cannot be read, or if no row is usable.
    """
    rows = open_rows(path, NUMBER_COLUMNS, (*NUMBER_COLUMNS, *TEXT_COLUMNS), REQUIRED)
    given = {} if percent_scales is None else read_percent_scales(percent_scales)
    sets, sentences = percent_sets(rows.table.rows, given)
    found = read_each(rows, lambda row, warnings: _reading(row, stations, tiers, sets, warnings))
    readings = [reading for reading in found if reading is not None]
    if not readings:
        raise InputError(f"{rows.table.file}: all rows stand behind an attenuator. Add a row without one.")
    rows.warnings.extend([*sentences, *_doubts(readings)])
    return Readings(rows.table.file, tuple(readings), tuple(rows.unreadable), tuple(rows.warnings))


def _reading(
    row: Row,
    stations: Sequence[Station],
    tiers: TierTable,
    sets: Mapping[Bar, PercentSet],
    warnings: list[str],
) -> Reading | None:
    if optional_number(row, "attenuator_db", -60.0, 60.0):
        return None
    latitude_deg, longitude_deg = read_place(row, warnings)
    tier = _tier(row, tiers)
    height_m = optional_number(row, "height_m", 0.3, 100.0)
    if height_m is None and tier is None:
        raise row.wrong(
            "height_m",
            "A field changes by 5 to 10 dB with height. Fill height_m or mount, or remove the row.",
        )
    station = _station(row, stations)
    gain_dbd = optional_number(row, "gain_dbd", -30.0, 30.0)
    # the row's own gain, else that of the mount's class
    gain_dbd = gain_dbd if gain_dbd is not None else tier.gain_dbd[station.band] if tier else None
    cable_loss_db = optional_number(row, "cable_loss_db", 0.0, 60.0) or 0.0
    decoded = read_decoded(row)
    kind, value_db, value_sd_db = _value(row, station, decoded, gain_dbd, sets)
    position_error_m = optional_number(row, "position_error_m", 0.0, 1e6) or 0.0
    if position_error_m > POOREST_POSITION_M:
        placed = {"where": row_place(row.where), "metres": as_given(position_error_m)}
        warnings.append(say("calibration.doubt.position", **placed))
    if kind != "field" and tier is None:
        raise row.wrong(
            "mount",
            f"A {'MER' if kind == 'mer' else 'yes or no'} speaks of a whole installation. Name it: "
            + ", ".join(one.name for one in tiers)
            + ", or its number.",
        )
    return Reading(
        where=row.where,
        point=row.text("point_id") or f"{latitude_deg:.5f}, {longitude_deg:.5f}",
        moment=read_moment(row, warnings),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        height_m=height_m if height_m is not None else tier.height_m if tier else math.nan,
        tier=tier,
        station=station,
        kind=kind,
        value_db=value_db,
        decoded=decoded,
        gain_dbd=math.nan if gain_dbd is None else gain_dbd,
        cable_loss_db=cable_loss_db,
        device=row.text("device_id"),
        aim_deg=math.nan if (aim_deg := optional_number(row, "aim_deg", -360.0, 360.0)) is None else aim_deg,
        leaf=_leaf(row, warnings),
        clutter=row.text("clutter_class").lower(),
        value_sd_db=value_sd_db,
    )


def _leaf(row: Row, warnings: list[str]) -> str:
    text = row.text("leaf_state").lower().replace("_", " ")
    if text and text not in LEAF_WORDS:
        warnings.append(say("row.leaf", where=row_place(row.where), text=text))
    return LEAF_WORDS.get(text, "")


def _tier(row: Row, tiers: TierTable) -> Tier | None:
    text = row.text("mount").lower().replace("_", " ")
    if not text:
        return None
    for tier in tiers:
        if text in (str(tier.tier), tier.name.lower(), f"{tier.tier} {tier.name.lower()}"):
            return tier
    # the first of several: "roof" is Rooftop, not the class with an amplifier behind it
    starts = [tier for tier in tiers if tier.name.lower().startswith(text)]
    if starts:
        return starts[0]
    raise row.wrong(
        "mount", f"It must be one of {', '.join(t.name for t in tiers)}, or a number from 1 to 7."
    )


def _station(row: Row, stations: Sequence[Station]) -> Station:
    """Return the station a row names by id, or by a channel that only one station uses."""
    name = row.text("station_id")
    if name:
        found = [s for s in stations if s.station_id == name]
        if not found:
            known = ", ".join(s.station_id for s in stations[:8])
            raise row.wrong("station_id", f"The scenario has no such station; it has {known}.")
        return found[0]
    label = row.text("rf_channel").upper().removeprefix("RF").strip()
    found = [s for s in stations if str(s.rf_channel) == label]
    if len(found) == 1:
        return found[0]
    if not found:
        raise row.wrong(
            "rf_channel", "No station of the scenario is on this channel. Is it the number shown?"
        )
    names = " and ".join(s.station_id for s in found)
    raise row.wrong("rf_channel", f"{names} share this channel. Name the one received in station_id.")


def _value(
    row: Row, station: Station, decoded: str, gain_dbd: float | None, sets: Mapping[Bar, PercentSet]
) -> tuple[str, float, float]:
    """Return kind, value and its own doubt: level before MER before per cent before yes or no."""
    if says_not_received(row.text("level")) or says_not_received(row.text("mer_db")):
        if decoded not in ("", "no"):
            raise row.wrong("decoded", "The level says not received and decoded says yes. Correct one.")
        return "lost", math.nan, 0.0
    level = optional_number(row, "level", -140.0, 140.0)
    if level is not None and not (level == 0.0 and decoded == "no"):
        return "field", _field_dbuvm(row, level, station), 0.0
    mer_db = optional_number(row, "mer_db", 0.0, 60.0)
    if mer_db is not None and decoded != "no":
        return "mer", mer_db, 0.0
    level_dbm, sd_db = _percent_level(row, sets)
    if not math.isnan(level_dbm) and decoded != "no" and gain_dbd is not None:
        return "field", _from_terminals(row, level_dbm, gain_dbd, station), sd_db
    if decoded:
        return ("lost" if decoded == "no" else "decoded"), math.nan, 0.0
    if row.text("percent"):
        raise row.wrong(
            "percent",
            "A per cent says no decibels and differs from set to set, unless attenuator steps and a level "
            "give the scale of its bar around it. Add decoded (yes or no), a level or MER.",
        )
    raise row.wrong("level", "The row holds no level, MER or yes/no. Fill one, or remove the row.")


def _percent_level(row: Row, sets: Mapping[Bar, PercentSet]) -> tuple[float, float]:
    """Return the level of a row's per cent and its doubt, NaN where its bar has no scale. [dBm, dB]"""
    percent, bar = optional_number(row, "percent", 0.0, 100.0), read_bar(row)
    if percent is None or bar is None or bar not in sets:
        return math.nan, 0.0
    return sets[bar].level_dbm(percent), sets[bar].sd_db


def _field_dbuvm(row: Row, level: float, station: Station) -> float:
    """Return the field at the antenna from a level. Raises InputError without unit or gain."""
    unit = row.text("unit").lower()
    # already the field at the antenna: gain and cable are in it
    if unit in FIELD_UNITS:
        return level
    # both letters that look like mu are typed: the micro sign and the Greek letter
    scale = SCALES.get("dbuv" if unit in ("dbµv", "dbμv") else unit)
    if scale is None or scale.is_percent or scale.name == "MER_dB":
        raise row.wrong("unit", "A level needs its unit: dBuV/m, dBm, dBuV (75 ohm) or dBmV.")
    gain_dbd = optional_number(row, "gain_dbd", -30.0, 30.0)
    if gain_dbd is None and row.text("antenna_factor_db") == "":
        raise row.wrong("gain_dbd", f"A level in {scale.name} needs gain_dbd or antenna_factor_db.")
    return _from_terminals(row, level + scale.offset_db, gain_dbd or 0.0, station)


def _from_terminals(row: Row, level_dbm: float, gain_dbd: float, station: Station) -> float:
    """Return the field from the level at the end of the cable; antenna_factor_db counts before the gain.

    Source: ITU-R P.525, power of a half-wave dipole; dBuV across 75 ohm where antenna_factor_db is given.
    """
    terminal_dbm = level_dbm + (optional_number(row, "cable_loss_db", 0.0, 60.0) or 0.0)
    terminal_dbm -= optional_number(row, "amp_gain_db", -10.0, 60.0) or 0.0
    # An antenna factor is measured, a gain is often a label: it counts first.
    factor_db = optional_number(row, "antenna_factor_db", -20.0, 60.0)
    if factor_db is not None:
        return terminal_dbm + DBUV_FROM_DBM + factor_db
    return terminal_dbm - gain_dbd - (DIPOLE_FACTOR_DB - 20.0 * math.log10(station.frequency_mhz))


def _doubts(readings: Sequence[Reading]) -> list[str]:
    """Return sentences on what makes a set of readings less comparable."""
    sentences = []
    devices = {r.device for r in readings if r.kind == "mer" and r.device}
    if len(devices) > 1:
        sets = ", ".join(sorted(devices))
        sentences.append(say("calibration.doubt.mer_sets", count=len(devices), sets=sets))
    timeless = [r for r in readings if r.moment is None]
    if timeless:
        first = f"{timeless[0].point} ({row_place(timeless[0].where)})"
        sentences.append(say("calibration.doubt.no_time", count=len(timeless), first=first))
    return sentences
