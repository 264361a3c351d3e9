"""Directional patterns as regulators publish them: a row or a column a direction; and tables of our own."""

from __future__ import annotations

import re

from covermap.station_lists.fields import words_of
from covermap.station_lists.matching import Answers, Question
from covermap.station_lists.rows import LeftOut, _number
from covermap.station_lists.tables import RawTable

PATTERN_COLUMNS = ("pattern", "plane", "angle_deg", "relative_field")
AZIMUTH = "azimuth"
UNITS = ("relative_field", "db")
LEAST_DIRECTIONS = 12  # columns named by an angle that make a pattern of a row
_ANGLE = re.compile(r"(?:az|azimuth|a|p|dir|field|rel)?[\s_]*(\d{1,3})(?:\s*(?:deg|°))?", re.IGNORECASE)


def long_columns(table: RawTable) -> tuple[str, str, str] | None:
    """Return the headings of name, angle and field of a table with a row a direction; None for others."""
    name = angle = value = ""
    for heading in table.headings:
        words = set(words_of(heading))
        if words & {"lat", "latitude", "erp"}:
            return None
        if words & {"azimuth", "angle", "bearing", "direction"}:
            angle = angle or heading
        elif words & {"field", "relative", "attenuation", "loss", "db"}:
            value = value or heading
        elif words & {"pattern", "antenna", "station", "call", "callsign", "id"}:
            name = name or heading
    return (name, angle, value) if name and angle and value else None


def wide_columns(table: RawTable) -> dict[str, int]:
    """Return heading -> degrees of the columns named by a direction; none where they are no circle."""
    found = {heading: int(m[1]) for heading in table.headings if (m := _ANGLE.fullmatch(heading.strip()))}
    found = {heading: angle for heading, angle in found.items() if angle <= 360}
    # 0 must be among them: columns named 1 to 36 are channels, or anything else.
    return found if len(found) >= LEAST_DIRECTIONS and 0 in found.values() else {}


def unit_of(headings: list[str], answers: Answers) -> str | Question:
    """Return relative_field or db, told by the headings or the user; a question where neither does."""
    given = answers.units.get("pattern", "").lower()
    words = {word for heading in headings for word in words_of(heading)}
    if given in UNITS:
        return given
    if "db" in words:
        return "db"
    if "field" in words:
        return "relative_field"
    return Question(
        "The patterns do not say whether their numbers are relative fields (0 to 1) or dB.",
        "--unit pattern=relative_field   or   --unit pattern=db",
    )


def pattern_rows(name: str, plane: str, values: dict[float, str], unit: str) -> list[dict[str, str]]:
    """Return the rows of one pattern. values : degrees -> cell. LeftOut where one is no number."""
    rows = []
    for angle_deg, cell in sorted(values.items()):
        number = float(_number(cell, "pattern"))
        # regulators print attenuation with either sign
        field = 10.0 ** (-abs(number) / 20.0) if unit == "db" else number
        rows.append(
            {
                "pattern": name,
                "plane": plane,
                "angle_deg": f"{angle_deg:g}",
                "relative_field": f"{field:.4f}",
            }
        )
    return rows


def from_long(
    table: RawTable, columns: tuple[str, str, str], unit: str
) -> dict[tuple[str, str], list[dict[str, str]]]:
    """Return (pattern name, plane) -> its rows of a table with a row a direction.

    The plane is that of a column "plane", azimuth where there is none or it is empty.
    """
    name, angle, value = columns
    plane = next((heading for heading in table.headings if heading.strip().lower() == "plane"), None)
    values: dict[tuple[str, str], dict[float, str]] = {}
    for cells in table.rows:
        if cells[name] and cells[angle]:
            key = cells[name], cells[plane].lower() if plane and cells[plane] else AZIMUTH
            values.setdefault(key, {})[float(_number(cells[angle], "angle"))] = cells[value]
    return {key: pattern_rows(*key, of_pattern, unit) for key, of_pattern in values.items()}


def from_wide(cells: dict[str, str], columns: dict[str, int], name: str, unit: str) -> list[dict[str, str]]:
    """Return the rows of the pattern that stands in a station's own row; none where its cells are empty."""
    values = {float(angle): cells[heading] for heading, angle in columns.items() if cells[heading]}
    if len(values) < LEAST_DIRECTIONS:
        return []
    try:
        return pattern_rows(name, AZIMUTH, values, unit)
    except LeftOut:
        return []
