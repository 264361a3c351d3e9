"""Reads the station file: rows of a CSV or features of a layer become checked stations."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from covermap.errors import Faults, InputError
from covermap.scenario import station_words as words
from covermap.scenario.channels import UHF_FROM_MHZ, Channel, ChannelPlan, read_channel, read_channel_plan
from covermap.scenario.columns import (
    check_columns,
    is_number_column,
    read_antenna_height_m,
    read_erp_kw,
    read_ground_m,
)
from covermap.scenario.coordinates import read_place
from covermap.scenario.csv_dialect import read_csv_table
from covermap.scenario.datum import to_wgs84
from covermap.scenario.file_names import is_device, is_slug
from covermap.scenario.patterns import Patterns, find_pattern, read_patterns
from covermap.scenario.records import Station
from covermap.scenario.settings import TransmitterSettings
from covermap.scenario.station_checks import compare_stations
from covermap.scenario.systems import System, find_system, own_system, systems
from covermap.scenario.text_table import Row, TextTable
from covermap.scenario.vector_table import MOST_ROWS, read_vector_table

CSV_SUFFIXES = (".csv", ".txt", ".tsv")
NO_TABLE = TextTable("", (), ())
# Stand-ins while faults are gathered: reading goes on with them, and faults.tell() raises before they are
# used.
NO_SYSTEM = System("", 0.0, 0.0, 1.0, (1.0,), 0.0)
NO_CHANNEL = Channel("", None, "uhf", UHF_FROM_MHZ, UHF_FROM_MHZ, UHF_FROM_MHZ, "current")
CN_RIGHT = "It must be a number of dB from -10 to 40. Correct the cell or leave it empty."
AS_OF = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")


@dataclass(frozen=True)
class StationList:
    """The stations of a file, what was noticed, and why rows were left out (reason -> count)."""

    stations: tuple[Station, ...]
    warnings: tuple[str, ...]
    left_out: dict[str, int]


@dataclass(frozen=True)
class _Defaults:
    """What a row's empty cells mean."""

    plan: ChannelPlan | None
    system: System
    patterns: Patterns


def read_stations(settings: TransmitterSettings) -> StationList:
    """Return the stations of the transmitter file, in file order.

    Raises InputError with all cells that are wrong, if an id stands twice with different rows, and
    if no station is left.
    """
    faults = Faults()
    plan = faults.of(None, read_channel_plan, settings.channel_plan) if settings.channel_plan else None
    patterns, warnings = faults.of(({}, []), _patterns, settings.patterns)
    system = faults.of(NO_SYSTEM, find_system, settings.default_system, "[transmitters], default_system")
    table, noticed = faults.of((NO_TABLE, []), _checked_table, settings)
    # The table's own faults end here: without columns every row would be wrong too.
    faults.tell()
    warnings += [*table.warnings, *noticed]
    left_out: dict[str, int] = {}
    rows = _rows_on_air(table, left_out, warnings, faults)
    defaults = _Defaults(plan, system, patterns)
    stations = [_station(row, defaults, warnings, left_out, faults) for row in rows]
    faults.tell()
    kept = tuple(station for station in stations if station is not None)
    if not kept:
        raise InputError(_no_stations(table, left_out))
    warnings += _missing_polarization(rows) + compare_stations(kept)
    return StationList(kept, tuple(warnings), left_out)


def check_row(row: Row, plan: ChannelPlan | None, default_system: str) -> Station | None:
    """Return the station of a row by itself, its pattern left aside; None where its ERP is unknown.

    Raises InputError with all its cells that are wrong.
    """
    faults = Faults()
    defaults = _Defaults(plan, find_system(default_system, "default_system"), {})
    plain = Row(row.file, row.place, {**row.cells, "azimuth_pattern": "", "elevation_pattern": ""}, row.comma)
    station = _station(plain, defaults, [], {}, faults)
    faults.tell()
    return station


def _patterns(path: Path | None) -> tuple[Patterns, list[str]]:
    return ({}, []) if path is None else read_patterns(path)


def _checked_table(settings: TransmitterSettings) -> tuple[TextTable, list[str]]:
    """Return the station table, its columns checked, and warnings on them."""
    path = settings.file
    if path.suffix.lower() in CSV_SUFFIXES:
        table = read_csv_table(path, is_number_column, most_rows=MOST_ROWS)
    else:
        table = read_vector_table(path, settings.layer)
    return check_columns(table)


def _no_stations(table: TextTable, left_out: dict[str, int]) -> str:
    reasons = ", ".join(f"{count} {reason}" for reason, count in left_out.items())
    found = (
        f"all {sum(left_out.values())} rows are left out ({reasons})"
        if left_out
        else "no rows below the header"
    )
    return f"{table.file}: no stations: found {found}.\n  Add a row for each transmitter that is on the air."


def _rows_on_air(
    table: TextTable, left_out: dict[str, int], warnings: list[str], faults: Faults
) -> list[Row]:
    """Return the rows to use: on the air or planned, television, each id once."""
    by_id: dict[str, Row] = {}
    for row in table.rows:
        reason = faults.of("unreadable", words.reason_to_leave_out, row)
        if reason:
            left_out[reason] = left_out.get(reason, 0) + 1
            continue
        # lower case: on some systems files of two ids that differ in capitals would be one
        key = faults.of(row.where, _station_id, row).lower()
        earlier = by_id.get(key)
        if earlier is not None:
            row = faults.of(earlier, _one_of_two, earlier, row, left_out, warnings)
        by_id[key] = row
    return list(by_id.values())


def _one_of_two(earlier: Row, row: Row, left_out: dict[str, int], warnings: list[str]) -> Row:
    """Return which of two rows of one id to use. Raises InputError if they differ and both are on the air."""
    if {name: row.text(name) for name in row.cells} == {name: earlier.text(name) for name in earlier.cells}:
        warnings.append(
            f'{row.where}: the same row as {earlier.place} (station "{_station_id(row)}"); used once.'
        )
        left_out["repeated"] = left_out.get("repeated", 0) + 1
        return earlier
    on_air = [one for one in (earlier, row) if words.status(one) == "on_air"]
    if len(on_air) != 1:
        column = "station_id" if "station_id" in row.cells else "service"
        raise row.wrong(
            column,
            f'Station "{_station_id(row)}" already stands in {earlier.place}, with other values. Every '
            "transmitter needs its own station_id. Delete one row, or give it another station_id.",
        )
    warnings.append(
        f'{row.where}: station "{_station_id(row)}" also stands in {earlier.place}; '
        f"the row on the air ({on_air[0].place}) is used, the planned one is left out."
    )
    left_out["planned beside on air"] = left_out.get("planned beside on air", 0) + 1
    return on_air[0]


def _station_id(row: Row) -> str:
    """Return the row's station_id; without that column one made of service and channel."""
    given = row.text("station_id")
    if "station_id" not in row.cells:
        channel = row.text("rf_channel") or row.text("frequency_mhz")
        return _slug(f"{row.text('mast')}-{row.text('service')}-{channel}")
    if not is_slug(given):
        example = f' ("{_slug(given)}")' if given else ""
        raise row.wrong(
            "station_id",
            f"A station id becomes a file's name: letters, digits, - and _, at most 64{example}. Correct "
            "the cell; service may hold any text.",
        )
    if is_device(given):
        raise row.wrong(
            "station_id",
            "A station id becomes a file's name, and Windows keeps this one for a device. Write another, "
            f'such as "{given}-1".',
        )
    return given


def _slug(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9_]+", "-", text).strip("-")[:64] or "station"


def _service(row: Row) -> str:
    service = row.text("service")
    if not service:
        raise row.wrong("service", "A station needs the name of the programme it carries. Fill the cell.")
    if len(service) > 255 or any(ord(letter) < 32 for letter in service):
        raise row.wrong("service", "A name has at most 255 letters and no control characters. Shorten it.")
    return service


def _station(
    row: Row, defaults: _Defaults, warnings: list[str], left_out: dict[str, int], faults: Faults
) -> Station | None:
    """Return the station of a row; None, counted and warned about, where its ERP is unknown.

    Where a cell is wrong, which faults then tells, the value in its place means nothing.
    """
    erp_kw = faults.of(1.0, read_erp_kw, row, warnings)
    if erp_kw is None:
        warnings.append(
            f"{row.where}: no ERP, only the power at the transmitter's output, which never stands in for it. "
            "The row is left out."
        )
        left_out["ERP unknown"] = left_out.get("ERP unknown", 0) + 1
        return None
    longitude_deg, latitude_deg = faults.of((0.0, 0.0), _position, row, warnings)
    channel = faults.of(NO_CHANNEL, read_channel, row, defaults.plan, warnings)
    system = faults.of(defaults.system, _system, row, channel, defaults)
    ground_m = faults.of(None, read_ground_m, row)
    return Station(
        station_id=_station_id(row) if not faults.sentences else "",
        service=faults.of("", _service, row),
        mast=row.text("mast")
        or f"{abs(latitude_deg):.3f} {'NS'[latitude_deg < 0]} "
        f"{abs(longitude_deg):.3f} {'EW'[longitude_deg < 0]}",
        displayed_channel=row.text("displayed_channel"),
        status=faults.of("on_air", words.status, row),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        rf_channel=channel.number,
        frequency_mhz=channel.centre_mhz,
        bandwidth_mhz=system.bandwidth_in(channel.width_mhz),
        band=channel.band,
        erp_kw=erp_kw,
        antenna_height_m=faults.of(1.0, read_antenna_height_m, row, ground_m, warnings),
        ground_m=ground_m,
        polarization=faults.of("horizontal", words.polarization, row, warnings),
        azimuth_pattern=faults.of(None, find_pattern, row, "azimuth", defaults.patterns),
        elevation_pattern=faults.of(None, find_pattern, row, "elevation", defaults.patterns),
        electrical_tilt_deg=faults.of(0.0, _tilt_deg, row, "electrical_tilt_deg", warnings),
        mechanical_tilt_deg=faults.of(0.0, _tilt_deg, row, "mechanical_tilt_deg", warnings),
        mechanical_tilt_azimuth_deg=faults.of(0.0, _azimuth_deg, row),
        system=system.name,
        required_cn_db=faults.of(0.0, _required_cn_db, row, system),
        use=faults.of("wanted", words.use, row),
        sfn_group=row.text("sfn_group"),
        sfn_delay_us=faults.of(0.0, _plain_number, row, "sfn_delay_us", -10_000.0, 10_000.0),
        as_of=faults.of("", _as_of, row),
        source=row.where,
        sfn_window_us=system.sfn_window_us,
        indoor_more_cn_db=system.indoor_more_cn_db,
    )


def _position(row: Row, warnings: list[str]) -> tuple[float, float]:
    """Return longitude and latitude in WGS 84."""
    latitude_deg, longitude_deg = read_place(row, warnings)
    return to_wgs84(row, longitude_deg, latitude_deg, warnings)


def _system(row: Row, channel: Channel, defaults: _Defaults) -> System:
    given = row.text("system")
    where = f"{row.where}, column system" if given else "[transmitters], default_system"
    own_cn_db = row.number("required_cn_db", CN_RIGHT)
    mode = own_system(given, own_cn_db) if own_cn_db is not None and given.lower() not in systems() else None
    system = mode or (find_system(given, where) if given else defaults.system)
    if not system.fits(channel.width_mhz):
        widths = " or ".join(f"{width:g}" for width in system.channel_widths_mhz)
        raise InputError(
            f'{where}: found "{system.name}", a system of {widths} MHz channels; {row.place} is on channel '
            f"{channel.label}, {channel.width_mhz:g} MHz wide.\n  Correct the system, or channel_plan."
        )
    return system


def _required_cn_db(row: Row, system: System) -> float:
    """Return the row's own required C/N, else the system's. [dB]"""
    given = row.number("required_cn_db", CN_RIGHT)
    if given is not None and not -10.0 <= given <= 40.0:
        raise row.wrong("required_cn_db", CN_RIGHT)
    return system.required_cn_db if given is None else given


def _tilt_deg(row: Row, column: str, warnings: list[str]) -> float:
    tilt_deg = _plain_number(row, column, -15.0, 15.0)
    if tilt_deg < 0.0:
        warnings.append(
            f'{row.where}, column {column}: found "{row.text(column)}". Positive is down: is it tilted up?'
        )
    return tilt_deg


def _azimuth_deg(row: Row) -> float:
    return _plain_number(row, "mechanical_tilt_azimuth_deg", 0.0, 360.0) % 360.0


def _plain_number(row: Row, column: str, lowest: float, highest: float) -> float:
    """Return an optional number, 0 where the cell is empty."""
    right = f"It must be a number from {lowest:g} to {highest:g}. Correct the cell or leave it empty."
    value = row.number(column, right)
    if value is not None and not lowest <= value <= highest:
        raise row.wrong(column, right)
    return value or 0.0


def _as_of(row: Row) -> str:
    # a layer's date column comes with a time behind it
    text = row.text("as_of")[:10] if row.place.startswith("feature") else row.text("as_of")
    if text and not AS_OF.fullmatch(text):
        raise row.wrong("as_of", "It must be a date such as 2026-09-01. Correct the cell or leave it empty.")
    return text


def _missing_polarization(rows: list[Row]) -> list[str]:
    missing = [row for row in rows if not row.text("polarization")]
    if not missing:
        return []
    return [
        f"{missing[0].file}: polarization is missing in {len(missing)} of {len(rows)} rows (first: "
        f"{missing[0].place}); taken as horizontal."
    ]
