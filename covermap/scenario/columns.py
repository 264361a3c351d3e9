"""The columns of a station file, and the unit each name carries."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from covermap.constants import DBI_FROM_DBD
from covermap.errors import InputError
from covermap.scenario.suggestions import meant_for, nearest
from covermap.scenario.text_table import Row, TextTable

METRES_PER_FOOT = 0.3048  # international foot, exact
HIGHEST_ERP_KW = 5000.0
LOWEST_ERP_KW = 0.001  # less is doubted
SMALLEST_ERP_KW = 1e-9  # a microwatt: less is refused

TEXT_COLUMNS = (
    "station_id", "service", "mast", "displayed_channel", "status", "position", "rf_channel", "polarization",
    "azimuth_pattern", "elevation_pattern", "system", "use", "sfn_group", "as_of", "datum",
)  # fmt: skip
NUMBER_COLUMNS = (
    "latitude_deg", "longitude_deg", "frequency_mhz", "antenna_height_m", "antenna_height_ft",
    "antenna_height_amsl_m", "ground_m", "ground_ft", "electrical_tilt_deg", "mechanical_tilt_deg",
    "mechanical_tilt_azimuth_deg", "sfn_delay_us", "required_cn_db",
)  # fmt: skip


def _kw_from_dbk(value: float) -> float:
    return float(10.0 ** (value / 10.0))


@dataclass(frozen=True)
class PowerColumn:
    """A column of power and how its number becomes ERP in kW; only decibels may be negative."""

    to_erp_kw: Callable[[float], float]
    decibels: bool = False


POWER_COLUMNS = {
    "erp_kw": PowerColumn(lambda value: value),
    "erp_w": PowerColumn(lambda value: value / 1000.0),
    "erp_dbk": PowerColumn(_kw_from_dbk, decibels=True),
    "erp_dbw": PowerColumn(lambda value: _kw_from_dbk(value - 30.0), decibels=True),
    # EIRP is against an isotropic antenna, ERP against a half-wave dipole: 2.15 dB apart.
    "eirp_kw": PowerColumn(lambda value: value * _kw_from_dbk(-DBI_FROM_DBD)),
    "eirp_w": PowerColumn(lambda value: value / 1000.0 * _kw_from_dbk(-DBI_FROM_DBD)),
    "eirp_dbm": PowerColumn(lambda value: _kw_from_dbk(value - 60.0 - DBI_FROM_DBD), decibels=True),
}
TRANSMITTER_POWER_COLUMNS = ("tpo_kw", "tpo_w", "tpo", "transmitter_power_kw", "transmitter_power_w")
HEIGHT_COLUMNS = ("antenna_height_m", "antenna_height_ft", "antenna_height_amsl_m")
OTHER_NAMES = {
    "lat": "latitude_deg", "latitude": "latitude_deg", "lon": "longitude_deg", "long": "longitude_deg",
    "lng": "longitude_deg", "longitude": "longitude_deg",
}  # fmt: skip
# A name without its unit, or one that is easily taken for another: what to use in its place.
AMBIGUOUS = {
    **dict.fromkeys(
        ("erp", "power", "erp_max", "max_erp"),
        "Rename it erp_kw, erp_w or erp_dbk, whichever unit its numbers are in (eirp_kw if re isotropic).",
    ),
    **dict.fromkeys(("eirp",), "Rename it eirp_kw, eirp_w or eirp_dbm, whichever unit its numbers are in."),
    **dict.fromkeys(
        ("height", "antenna_height", "agl", "height_agl", "antenna_height_agl"),
        "Rename it antenna_height_m or antenna_height_ft if it is above ground, antenna_height_amsl_m if "
        "above sea level.",
    ),
    **dict.fromkeys(
        ("ground", "ground_height", "elevation", "site_elevation"), "Rename it ground_m or ground_ft."
    ),
    **dict.fromkeys(
        ("frequency", "freq"), "Rename it frequency_mhz; divide by 1000 if it is in kHz, by 1000000 if in Hz."
    ),
    **dict.fromkeys(
        ("channel", "ch"),
        "Rename it rf_channel (what the transmitter uses) or displayed_channel (what a set shows).",
    ),
    **dict.fromkeys(
        ("tilt", "beam_tilt"), "Rename it electrical_tilt_deg or mechanical_tilt_deg; positive is down."
    ),
}  # fmt: skip


def is_number_column(name: str) -> bool:
    """Return True where a station file's column holds numbers."""
    return name in NUMBER_COLUMNS or name in POWER_COLUMNS or OTHER_NAMES.get(name, "") in NUMBER_COLUMNS


def check_columns(table: TextTable) -> tuple[TextTable, list[str]]:
    """Return the table with plain names (lat) as ours (latitude_deg), and warnings.

    Raises InputError for a name without its unit and for a required column that is missing.
    """
    table = with_our_names(table)
    columns = table.columns
    if not columns:
        raise InputError(f"{table.file} has no columns. Start from the table that `covermap new` writes.")
    missing = [wrong for any_of, meaning in REQUIRED if (wrong := _missing(table, any_of, meaning))]
    if missing:
        found = ", ".join(columns)
        first = next((number for number, wrong in enumerate(missing) if wrong.startswith("no column")), 0)
        # The header is shown once, in the first sentence, not in each.
        missing[first] = missing[first].replace("no column", f"found {found}; no column", 1)
        raise InputError("\n".join(f"{table.file}, header: {wrong}" for wrong in missing))
    known = [*TEXT_COLUMNS, *NUMBER_COLUMNS, *POWER_COLUMNS]
    extra = [column for column in columns if column not in known]
    warnings = [
        f'{table.file}: the column "{column}" is not used.{nearest(column, known)}'
        for column in extra
        if not column.startswith("unnamed_") and column not in TRANSMITTER_POWER_COLUMNS
    ]
    return table, warnings


def with_our_names(table: TextTable) -> TextTable:
    """Return a table with plain names of columns (lat) as ours. Raises InputError where it has both."""
    names = {column: OTHER_NAMES.get(column, column) for column in table.columns}
    twice = [column for column, name in names.items() if name != column and name in table.columns]
    if twice:
        raise InputError(
            f'{table.file}, header: found both "{twice[0]}" and "{names[twice[0]]}". They mean the same. '
            "Keep one of them."
        )
    rows = tuple(
        Row(row.file, row.place, {names.get(name, name): cell for name, cell in row.cells.items()}, row.comma)
        for row in table.rows
    )
    return TextTable(table.file, tuple(names.values()), rows, table.warnings)


REQUIRED = (
    (("service",), "It names the programme; transmitters of one service are alternatives."),
    (("latitude_deg", "position"), "Decimal degrees, north positive."),
    (("longitude_deg", "position"), "Decimal degrees, east positive."),
    (("rf_channel", "frequency_mhz"), "The channel on the air, or its centre frequency."),
    ((*POWER_COLUMNS, *TRANSMITTER_POWER_COLUMNS), "ERP is re a half-wave dipole."),
    (HEIGHT_COLUMNS, "The antenna's height above ground; HAAT is another height and no substitute."),
)


def _missing(table: TextTable, any_of: tuple[str, ...], meaning: str) -> str:
    """Return what is wrong where a table has none of some columns, '' where it has one."""
    if any(column in table.columns for column in any_of):
        return ""
    for column in table.columns:
        advice = AMBIGUOUS.get(column, "")
        if any(name in advice for name in any_of):
            return f'found "{column}", which does not say its unit or kind.\n  {advice}'
    wanted = " or ".join(any_of[:3])
    return f"no column {wanted}.{meant_for(any_of, table.columns)}\n  {meaning} Add the column."


def read_erp_kw(row: Row, warnings: list[str]) -> float | None:
    """Return the effective radiated power, re half-wave dipole. [kW]

    None where only the power at the transmitter's output is known, which is never put in its place.
    Raises InputError if it is missing, negative outside decibels, given twice, or above 5000 kW.
    """
    given = [column for column in POWER_COLUMNS if row.text(column)]
    if not given:
        # ERP is transmitter power times line loss and antenna gain, neither of which is known here.
        if any(row.text(column) for column in TRANSMITTER_POWER_COLUMNS):
            return None
        column = next((column for column in POWER_COLUMNS if column in row.cells), "erp_kw")
        raise row.wrong(
            column, "A station needs its effective radiated power. Fill the cell or remove the row."
        )
    column, power = given[0], POWER_COLUMNS[given[0]]
    if len(given) > 1:
        raise row.wrong(given[1], f"The row also has {column} {row.text(column)}. Keep one of the two.")
    value = row.number(column, f"It must be a number in the unit of the name ({column}). Correct the cell.")
    if value is None or (value <= 0.0 and not power.decibels):
        raise row.wrong(
            column,
            "Power is greater than 0. A negative number can only be decibels: if these are dB above 1 kW, "
            "rename the column erp_dbk; above 1 W, erp_dbw.",
        )
    # 400 dB is refused below like any other number too large; 4000 would overflow before it.
    erp_kw = power.to_erp_kw(value) if not power.decibels or value < 400.0 else math.inf
    if erp_kw > HIGHEST_ERP_KW:
        raise row.wrong(
            column,
            f"That is {erp_kw:,.0f} kW; no station has more than {HIGHEST_ERP_KW:,.0f} kW. If the numbers "
            "are in watts, rename the column erp_w.",
        )
    if not erp_kw > SMALLEST_ERP_KW:
        raise row.wrong(column, "That is no power a transmitter has. Is the unit of the column right?")
    if erp_kw < LOWEST_ERP_KW:
        warnings.append(
            f'{row.where}, column {column}: "{row.text(column)}" is {erp_kw * 1000.0:.2g} W. '
            "Is the unit of the column right?"
        )
    return erp_kw


def read_ground_m(row: Row) -> float | None:
    """Return the ground above sea level as filed, None where not given. [m]"""
    right = "It must be a number. Correct the cell or leave it empty."
    ground_ft = row.number("ground_ft", right)
    ground_m = row.number("ground_m", right)
    if ground_m is None and ground_ft is not None:
        ground_m = ground_ft * METRES_PER_FOOT
    if ground_m is not None and not -500.0 <= ground_m <= 9000.0:
        column = "ground_m" if row.text("ground_m") else "ground_ft"
        raise row.wrong(column, "Ground lies between -500 and 9000 m above sea level. Correct the cell.")
    return ground_m


def read_antenna_height_m(row: Row, ground_m: float | None, warnings: list[str]) -> float:
    """Return the transmitting antenna's height above ground. [m]

    Raises InputError if it is missing, zero, negative, given twice, or above sea level without ground_m.
    """
    given = [column for column in HEIGHT_COLUMNS if row.text(column)]
    if not given:
        column = next(column for column in HEIGHT_COLUMNS if column in row.cells)
        raise row.wrong(
            column, "A station needs its antenna's height above ground. Fill the cell or remove the row."
        )
    column = given[0]
    if len(given) > 1:
        raise row.wrong(given[1], f"The row also has {column} {row.text(column)}. Keep one of the two.")
    height_m = row.number(column, "It must be a number. Correct the cell.") or 0.0
    if column.endswith("_ft"):
        height_m *= METRES_PER_FOOT
    if column == "antenna_height_amsl_m":
        height_m = _above_ground_m(row, height_m, ground_m, warnings)
    if not height_m > 0.0:
        raise row.wrong(
            column, "An antenna stands above the ground: a number greater than 0. Correct the cell."
        )
    # No mast is much higher (650 m: from memory); feet read as metres, or heights above sea level, soon are.
    if height_m > 650.0:
        warnings.append(
            f"{row.where}, column {column}: the antenna stands {height_m:.0f} m above ground. Is it feet, or "
            "above sea level? Columns antenna_height_ft and antenna_height_amsl_m are read too."
        )
    return height_m


def _above_ground_m(row: Row, amsl_m: float, ground_m: float | None, warnings: list[str]) -> float:
    column = "antenna_height_amsl_m"
    if ground_m is None:
        raise row.wrong(
            column,
            "A height above sea level needs ground_m beside it. Fill ground_m, or give antenna_height_m.",
        )
    if amsl_m <= ground_m:
        raise row.wrong(
            column,
            f"That is below the ground at {ground_m:g} m. Correct the cell, or name it antenna_height_m.",
        )
    if amsl_m < ground_m + 5.0:
        warnings.append(
            f"{row.where}, column {column}: the antenna stands only {amsl_m - ground_m:.1f} m above ground."
        )
    return amsl_m - ground_m
