"""Reads a comparison log: two antennas at one place, read in turn on each station."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from covermap.errors import InputError
from covermap.measurements.field_rows import open_rows, optional_number, read_each, read_moment
from covermap.measurements.scales import (
    MER,
    Scale,
    check_range,
    read_decoded,
    read_scale,
    says_not_received,
)
from covermap.scenario.channels import ChannelPlan, read_channel, read_channel_plan
from covermap.scenario.coordinates import read_place
from covermap.scenario.text_table import Row, as_number
from covermap.wording.language import say
from covermap.wording.words import row_place

NUMBER_COLUMNS = (
    "latitude_deg", "longitude_deg", "frequency_mhz", "bearing_deg", "mount_height_m", "aim_deg_true",
    "amp_gain_db", "cable_loss_db", "attenuator_db", "value", "repeat_no",
)  # fmt: skip
TEXT_COLUMNS = (
    "session_id", "utc", "position", "site_id", "rf_channel", "station_id", "antenna_id", "is_reference",
    "polarization", "device_id", "scale", "decoded", "note",
)  # fmt: skip
REQUIRED = (
    ("session_id",), ("antenna_id",), ("rf_channel", "frequency_mhz"), ("device_id",), ("scale",), ("value",)
)  # fmt: skip
ATTENUATOR_NOTE = re.compile(r"attenuat\w*\s*:?\s*-?(\d+(?:\.\d+)?)\s*db", re.IGNORECASE)
REMOUNTED_NOTE = re.compile(r"re-?mounted|mounted anew", re.IGNORECASE)
SATURATED_NOTE = re.compile(r"overload|saturat|clipp", re.IGNORECASE)


@dataclass(frozen=True)
class LogReading:
    """One reading of a comparison log.

    value : on its scale, NaN where the picture was lost without a number
    state : exact, lost (the truth lies below what the set still decodes) or saturated (it lies above)
    attenuator_db : a known attenuator in the line; more than 0 only to calibrate a percent scale
    """

    where: str
    session: str
    moment: datetime | None
    site: str
    station: str
    channel: str
    frequency_mhz: float
    band: str
    latitude_deg: float | None
    longitude_deg: float | None
    bearing_deg: float | None
    antenna: str
    is_reference: bool
    height_m: float | None
    aim_deg: float | None
    polarization: str
    amp_gain_db: float
    cable_loss_db: float | None
    device: str
    scale: Scale
    value: float
    state: str
    attenuator_db: float
    note: str


@dataclass(frozen=True)
class ComparisonLog:
    """A log as read: readings in file order, rows left out with their reason, and doubts.

    site : the places named in it; channel_plan : by which channels became bands
    """

    file: str
    readings: tuple[LogReading, ...]
    unreadable: tuple[str, ...]
    warnings: tuple[str, ...]
    channel_plan: str

    @property
    def remounted(self) -> bool:
        """Return whether a note says that antennas were mounted anew between sessions."""
        return any(REMOUNTED_NOTE.search(r.note) for r in self.readings)

    @property
    def sites(self) -> tuple[str, ...]:
        """Return the places named in the log, in file order."""
        return tuple(dict.fromkeys(r.site for r in self.readings if r.site))


def read_comparison_log(path: Path | str, channel_plan: str = "us_6mhz") -> ComparisonLog:
    """Read a comparison log; rows that cannot be read are listed and the rest is kept.

    channel_plan : turns rf_channel into a band; not needed where every row has frequency_mhz

    Raises InputError if the file or its header cannot be read, or if no row is readable.
    """
    plan = read_channel_plan(channel_plan)
    rows = open_rows(path, NUMBER_COLUMNS, (*NUMBER_COLUMNS, *TEXT_COLUMNS), REQUIRED)
    readings = read_each(rows, lambda row, warnings: _reading(row, plan, warnings))
    return ComparisonLog(
        rows.table.file, tuple(readings), tuple(rows.unreadable), tuple(rows.warnings), channel_plan
    )


def read_comparison_logs(paths: Sequence[Path | str], channel_plan: str = "us_6mhz") -> ComparisonLog:
    """Read several logs as one; sessions of two files that have the same name are kept apart by their file.

    Raises InputError as read_comparison_log, or where no file is named.
    """
    if not paths:
        raise InputError("No log is named. Give at least one CSV file.")
    logs = [read_comparison_log(path, channel_plan) for path in paths]
    if len(logs) == 1:
        return logs[0]
    files_of: dict[str, set[str]] = {}
    for log in logs:
        for reading in log.readings:
            files_of.setdefault(reading.session, set()).add(log.file)
    readings = [
        # Two files may both have a "session 1": put together they would be one day.
        replace(reading, session=f"{log.file}: {reading.session}")
        if len(files_of[reading.session]) > 1
        else reading
        for log in logs
        for reading in log.readings
    ]
    return ComparisonLog(
        ", ".join(log.file for log in logs),
        tuple(readings),
        tuple(sentence for log in logs for sentence in log.unreadable),
        tuple(sentence for log in logs for sentence in log.warnings),
        channel_plan,
    )


def _reading(row: Row, plan: ChannelPlan, warnings: list[str]) -> LogReading:
    # Doubts about old channels or odd centres do not matter here: what counts is that both antennas were on
    # it.
    channel = read_channel(row, plan, [])
    scale = read_scale(row, "scale")
    value, state = _value(row, scale, warnings)
    label = channel.label or f"{channel.centre_mhz:g} MHz"
    cable_loss_db = optional_number(row, "cable_loss_db", 0.0, 60.0)
    is_placed = any(row.text(column) for column in ("position", "latitude_deg", "longitude_deg"))
    latitude_deg, longitude_deg = read_place(row, warnings) if is_placed else (None, None)
    return LogReading(
        where=row.where,
        session=_named(row, "session_id"),
        moment=read_moment(row, warnings),
        site=row.text("site_id"),
        station=row.text("station_id") or label,
        channel=label,
        frequency_mhz=channel.centre_mhz,
        band=channel.band,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        bearing_deg=optional_number(row, "bearing_deg", -360.0, 360.0),
        antenna=_named(row, "antenna_id"),
        is_reference=row.text("is_reference").lower() in ("yes", "y", "1", "true"),
        height_m=optional_number(row, "mount_height_m", 0.3, 100.0),
        aim_deg=optional_number(row, "aim_deg_true", -360.0, 360.0),
        polarization=row.text("polarization").upper()[:1],
        amp_gain_db=optional_number(row, "amp_gain_db", -10.0, 60.0) or 0.0,
        cable_loss_db=cable_loss_db,
        device=_named(row, "device_id"),
        scale=scale,
        value=value,
        state=state,
        attenuator_db=_attenuator_db(row),
        note=row.text("note"),
    )


def _named(row: Row, column: str) -> str:
    text = row.text(column)
    if not text:
        raise row.wrong(column, "Rows are compared by it. Fill the cell.")
    return text


def _attenuator_db(row: Row) -> float:
    """Return the attenuator in the line, from its column or from a note such as "attenuator 3 dB"."""
    listed = optional_number(row, "attenuator_db", -60.0, 60.0)
    if listed is not None:
        return abs(listed)
    match = ATTENUATOR_NOTE.search(row.text("note"))
    return float(match[1]) if match else 0.0


def _value(row: Row, scale: Scale, warnings: list[str]) -> tuple[float, str]:
    """Return value and state of a reading. Raises InputError if it holds neither value nor a loss."""
    text, decoded = row.text("value"), read_decoded(row)
    value = as_number(text, row.comma)
    if says_not_received(text) or (not text and decoded == "no"):
        return math.nan, "lost"
    if not math.isfinite(value):
        raise row.wrong("value", 'It must be a number; where nothing was received write "NR" and decoded no.')
    # 0 dBm is a level that meters show, 0 per cent is no signal; 0 with decoded = no is none on any scale.
    if value == 0.0 and decoded != "yes" and (scale.is_percent or decoded == "no"):
        warnings.append(say("bench.doubt.zero", where=row_place(row.where)))
        return math.nan, "lost"
    check_range(row, "value", value, scale)
    if decoded == "no" and (scale.is_percent or scale.kind == MER):
        return math.nan, "lost"  # what a set shows while it decodes nothing is no measure of the signal
    if SATURATED_NOTE.search(row.text("note")) or (scale.is_percent and value >= scale.highest):
        return value, "saturated"
    return value, "exact"


def require_readings(log: ComparisonLog) -> None:
    """Raise InputError unless the log holds two antennas."""
    antennas = list(dict.fromkeys(r.antenna for r in log.readings))
    if len(antennas) < 2:
        raise InputError(
            f"{log.file}, column antenna_id: found only {antennas[0]!r}. A comparison needs a second antenna "
            "read on the same stations."
        )
