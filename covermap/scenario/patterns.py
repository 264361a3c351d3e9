"""Reads transmitting antennas' patterns: pattern, plane, angle_deg, relative_field."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covermap.errors import Faults, InputError
from covermap.scenario.csv_dialect import read_csv_table
from covermap.scenario.records import Pattern
from covermap.scenario.suggestions import nearest
from covermap.scenario.text_table import Row, TextTable

COLUMNS = ("pattern", "plane", "angle_deg", "relative_field")
PLANES = ("azimuth", "elevation")
FLOOR_DB = -30.0  # judgement: a filed null of zero field is never that deep on the air
LARGEST_GAP_DEG = 10.0  # wider gaps are not interpolated
MOST_ROWS = 2_000_000  # of a table of patterns: 2,000 stations in steps of a degree, both planes
SAME_FIELD = 0.005  # 0 and 360 degrees are one direction

Patterns = dict[tuple[str, str], Pattern]


def read_patterns(path: Path) -> tuple[Patterns, list[str]]:
    """Return (name, plane) -> pattern of a patterns file, and warnings.

    Raises InputError for a missing column, a field outside 0 to 1, an azimuth gap over 10 degrees, an
    angle given twice, or 0 and 360 degrees that disagree.
    """
    table = read_csv_table(path, lambda name: name in COLUMNS[2:], most_rows=MOST_ROWS)
    _check_columns(table)
    faults = Faults()
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in table.rows:
        key = faults.of("", _name, row), faults.of("", _plane, row)
        groups.setdefault(key, []).append(row)
    faults.tell()
    warnings = list(table.warnings)
    read = {key: faults.of(None, _pattern, key, rows, warnings) for key, rows in groups.items()}
    faults.tell()
    return {key: pattern for key, pattern in read.items() if pattern is not None}, warnings


def find_pattern(row: Row, plane: str, patterns: Patterns) -> Pattern | None:
    """Return the pattern a station row names in a plane, None if its cell is empty.

    Raises InputError if there is no such pattern.
    """
    column = f"{plane}_pattern"
    name = row.text(column)
    if not name:
        return None
    if (name, plane) in patterns:
        return patterns[name, plane]
    known = [other for other, other_plane in patterns if other_plane == plane]
    listed = ", ".join(known) or f"none with plane {plane}"
    raise row.wrong(
        column,
        f"The patterns file has: {listed}.{nearest(name, known)} Correct the name, or add the pattern.",
    )


def _check_columns(table: TextTable) -> None:
    missing = [column for column in COLUMNS if column not in table.columns]
    if missing:
        raise InputError(
            f"{table.file}, header: found {', '.join(table.columns)}; missing {', '.join(missing)}.\n"
            "  relative_field is the field divided by the greatest field, 0 to 1; convert decibels with "
            "10^(dB/20), relative power with its square root. Add the column."
        )


def _name(row: Row) -> str:
    if not row.text("pattern"):
        raise row.wrong("pattern", "Every row needs the name of its pattern. Fill the cell.")
    return row.text("pattern")


def _plane(row: Row) -> str:
    plane = row.text("plane").lower()
    if plane not in PLANES:
        raise row.wrong("plane", "It must be azimuth or elevation. Correct the cell.")
    return plane


def _pattern(key: tuple[str, str], rows: list[Row], warnings: list[str]) -> Pattern:
    name, plane = key
    faults = Faults()
    angle_deg = np.array([faults.of(0.0, _angle_deg, row, plane) for row in rows])
    field = np.array([faults.of(0.0, _relative_field, row) for row in rows])
    faults.tell()
    if len(rows) < 2:
        raise rows[0].wrong("angle_deg", f"Pattern {name} has one row only. Give its whole {plane} pattern.")
    order = np.argsort(angle_deg, kind="stable")
    angle_deg, field = angle_deg[order], field[order]
    _check_twice(angle_deg, rows, order)
    where = f"{rows[0].file}, pattern {name} ({plane})"
    if plane == "azimuth":
        angle_deg, field = _whole_circle(where, angle_deg, field)
    # In decibels before it is closed: north's value is interpolated in dB, as every reader of the pattern
    # does.
    relative_db = _relative_db(where, plane, angle_deg, field, warnings)
    if plane == "azimuth":
        angle_deg, relative_db = _closed(angle_deg, relative_db)
    return Pattern(name, plane, angle_deg, relative_db)


def _angle_deg(row: Row, plane: str) -> float:
    low, high = (0.0, 360.0) if plane == "azimuth" else (-90.0, 90.0)
    meaning = (
        "clockwise from true north" if plane == "azimuth" else "above the horizontal; downward is negative"
    )
    right = f"It must be a number of degrees from {low:g} to {high:g}, {meaning}. Correct the cell."
    angle_deg = row.number("angle_deg", right)
    if angle_deg is None or not low <= angle_deg <= high:
        raise row.wrong("angle_deg", right)
    return angle_deg


def _relative_field(row: Row) -> float:
    field = row.number("relative_field", "It must be a number from 0 to 1. Correct the cell.")
    if field is None or not 0.0 <= field <= 1.0:
        raise row.wrong(
            "relative_field",
            "It must be a number from 0 to 1: field divided by the greatest field. Numbers below 0 are "
            "decibels: use 10^(dB/20). Numbers above 1 are per cent or field strengths: divide by the "
            "greatest.",
        )
    return field


def _check_twice(angle_deg: NDArray[np.float64], rows: list[Row], order: NDArray[np.intp]) -> None:
    same = np.flatnonzero(np.diff(angle_deg) == 0.0)
    if same.size:
        row = rows[int(order[same[0] + 1])]
        raise row.wrong("angle_deg", "The same angle stands twice in this pattern. Delete one of the rows.")


def _whole_circle(
    where: str, angle_deg: NDArray[np.float64], field: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return an azimuth pattern with each direction once, 0 up to but not including 360 degrees.

    Raises InputError where 0 and 360 degrees disagree, or a gap is over 10 degrees.
    """
    # A pattern may end at 360, begin at 0, or both; one of the two is kept, as 0.
    if angle_deg[-1] == 360.0:
        if angle_deg[0] == 0.0 and abs(field[0] - field[-1]) > SAME_FIELD:
            raise InputError(
                f"{where}: found {field[0]:g} at 0 degrees and {field[-1]:g} at 360. They are one direction. "
                "Correct one of them, or leave 360 out."
            )
        north = [0.0] if angle_deg[0] > 0.0 else []
        angle_deg = np.concatenate([north, angle_deg[:-1]])
        field = np.concatenate([field[-1:] if north else [], field[:-1]])
    # the gap across north counts as any other
    around_deg = np.append(angle_deg, angle_deg[0] + 360.0)
    gaps_deg = np.diff(around_deg)
    widest = int(np.argmax(gaps_deg))
    if gaps_deg[widest] > LARGEST_GAP_DEG:
        raise InputError(
            f"{where}: found no row between {around_deg[widest]:g} and {around_deg[widest + 1] % 360.0:g} "
            f"degrees. Only gaps up to {LARGEST_GAP_DEG:g} degrees are filled in. Add the missing azimuths."
        )
    return angle_deg, field


def _closed(
    angle_deg: NDArray[np.float64], relative_db: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the pattern from 0 to 360 degrees, both of which have the value at north."""
    around_deg = np.append(angle_deg, angle_deg[0] + 360.0)
    north_db = float(np.interp(360.0, around_deg, np.append(relative_db, relative_db[0])))
    if angle_deg[0] > 0.0:
        angle_deg, relative_db = np.insert(angle_deg, 0, 0.0), np.insert(relative_db, 0, north_db)
    return np.append(angle_deg, 360.0), np.append(relative_db, north_db)


def _relative_db(
    where: str, plane: str, angle_deg: NDArray[np.float64], field: NDArray[np.float64], warnings: list[str]
) -> NDArray[np.float64]:
    greatest = float(field.max())
    if greatest <= 0.0:
        raise InputError(f"{where}: found no field greater than 0. Correct the column relative_field.")
    if abs(greatest - 1.0) > SAME_FIELD:
        warnings.append(
            f"{where}: its greatest field is {greatest:g}, not 1. No direction has the full ERP: right?"
        )
    peak_deg = float(angle_deg[int(np.argmax(field))])
    if plane == "elevation" and peak_deg > 0.0:
        warnings.append(
            f"{where}: greatest at {peak_deg:g} degrees, above the horizontal. Downward is negative: "
            "is the sign right?"
        )
    with np.errstate(divide="ignore"):
        relative_db = 20.0 * np.log10(field)
    if np.any(relative_db < FLOOR_DB):
        warnings.append(f"{where}: fields under {FLOOR_DB:g} dB are taken as {FLOOR_DB:g} dB.")
    return np.maximum(relative_db, FLOOR_DB)
