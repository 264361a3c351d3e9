"""Turns the rows of a matched table into rows with our columns, and says why a row is left out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from covermap.errors import InputError
from covermap.scenario.coordinates import read_position
from covermap.scenario.text_table import DASHES, NUMBER
from covermap.station_lists.fields import PARTS, UNITS, unit_apart
from covermap.station_lists.matching import Answers, Match, Question
from covermap.station_lists.tables import RawTable

METRES_PER_FOOT = 0.3048  # international foot, exact
# decibels that transmitters.csv has no column for: the ones it has, and what is added
IN_KNOWN_DECIBELS = {
    ("erp", "dbm"): ("dbw", -30.0),
    ("eirp", "dbw"): ("dbm", 30.0),
    ("eirp", "dbk"): ("dbm", 60.0),
}
FREQUENCY_FACTOR = {"mhz": 1.0, "khz": 1e-3, "hz": 1e-6}
COLUMNS = (
    "station_id", "service", "mast", "displayed_channel", "status", "latitude_deg", "longitude_deg",
    "rf_channel", "frequency_mhz", "erp_kw", "erp_w", "erp_dbk", "erp_dbw", "eirp_kw", "eirp_w", "eirp_dbm",
    "antenna_height_m", "antenna_height_ft", "antenna_height_amsl_m", "ground_m", "ground_ft",
    "polarization", "azimuth_pattern", "elevation_pattern", "electrical_tilt_deg", "mechanical_tilt_deg",
    "mechanical_tilt_azimuth_deg", "system", "required_cn_db", "use", "sfn_group", "sfn_delay_us", "as_of",
)  # fmt: skip
AS_THEY_ARE = (
    "polarization", "azimuth_pattern", "elevation_pattern", "electrical_tilt_deg", "mechanical_tilt_deg",
    "mechanical_tilt_azimuth_deg", "required_cn_db", "use", "sfn_group", "sfn_delay_us", "station_id",
)  # fmt: skip
STATUS = {
    "lic": "on_air", "licensed": "on_air", "license": "on_air", "licence": "on_air", "on air": "on_air",
    "on_air": "on_air", "active": "on_air", "operational": "on_air", "operating": "on_air",
    "in service": "on_air", "l": "on_air", "": "on_air",
    "planned": "planned", "cp": "filed", "cp mod": "filed", "construction permit": "filed", "permit": "filed",
    "app": "filed", "application": "filed", "applied": "filed", "pending": "filed", "filed": "filed",
    "off air": "off_air", "off_air": "off_air", "silent": "off_air", "ceased": "off_air",
    "closed": "off_air", "deleted": "deleted", "cancelled": "deleted", "canceled": "deleted",
    "expired": "expired",
}  # fmt: skip
SYSTEMS = {
    "atsc": "atsc1_8vsb", "atsc 1": "atsc1_8vsb", "atsc 1.0": "atsc1_8vsb", "atsc1": "atsc1_8vsb",
    "8vsb": "atsc1_8vsb", "8-vsb": "atsc1_8vsb", "atsc1_8vsb": "atsc1_8vsb", "": "",
}  # fmt: skip
RADIO_KINDS = ("fm", "am", "dab", "dab+", "radio", "fx", "fl", "fb", "fs")  # FM and its relays


@dataclass
class Converted:
    """Rows with our columns, rows left out (reason -> places), words that are open, sources of the rows."""

    rows: list[dict[str, str]] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    left_out: dict[str, list[str]] = field(default_factory=dict)
    questions: dict[tuple[str, str], Question] = field(default_factory=dict)

    def leave_out(self, reason: str, place: str) -> None:
        """Note a row that is left out."""
        self.left_out.setdefault(reason, []).append(place)


class LeftOut(Exception):
    """A row that is no station, with the reason."""


def convert(table: RawTable, found: Match, answers: Answers, into: Converted) -> None:
    """Add the rows of a table to those with our columns."""
    for cells, place in zip(table.rows, table.places, strict=True):
        where = f"{table.file}, {place}"
        try:
            row = _row(cells, found, answers, where, into)
        except LeftOut as reason:
            into.leave_out(str(reason), where)
            continue
        into.rows.append(row)
        into.places.append(where)


def _row(
    cells: Mapping[str, str], found: Match, answers: Answers, where: str, into: Converted
) -> dict[str, str]:
    def text(name: str) -> str:
        return cells[found.fields[name].heading] if name in found.fields else ""

    if text("kind").lower() in RADIO_KINDS:
        raise LeftOut("radio")
    status = _word("status", text("status"), STATUS, answers, into)
    if status in ("filed", "off_air", "deleted", "expired"):
        raise LeftOut({"filed": "filed only", "off_air": "off air"}.get(status, status))
    latitude_deg, longitude_deg = _position(cells, found, where)
    if not text("service"):
        raise LeftOut("no name")
    row = {
        "service": text("service"),
        "mast": text("mast"),
        "displayed_channel": _shown(text("displayed_channel")),
        "status": status,
        "latitude_deg": f"{latitude_deg:.6f}",
        "longitude_deg": f"{longitude_deg:.6f}",
        "rf_channel": _whole(text("channel")),
        "system": _word("system", text("system"), SYSTEMS, answers, into),
        "as_of": _date(text("as_of")),
        **{name: text(name) for name in AS_THEY_ARE},
    }
    return row | _frequency(found, text) | _power(found, text) | _heights(found, text)


def _word(name: str, word: str, known: Mapping[str, str], answers: Answers, into: Converted) -> str:
    """Return our word for a cell; where there is none, note that it is open."""
    plain = " ".join(word.lower().split())
    ours = answers.words.get((name, plain), known.get(plain))
    # already in our own spelling (dvbt2_64qam_3_4): scenario/systems.py says whether there is one
    if ours is None and name == "system" and re.fullmatch(r"[a-z0-9]+(_[a-z0-9]+)+", plain):
        return plain
    if ours is None:
        choices = " | ".join(dict.fromkeys(value for value in known.values() if value))
        into.questions.setdefault(
            (name, plain),
            Question(f'{name.capitalize()} "{word}": what is it ({choices})?', f'--word {name}:"{word}"=...'),
        )
        return ""
    return ours


def _position(cells: Mapping[str, str], found: Match, where: str) -> tuple[float, float]:
    fields = found.fields
    if "position" in fields:
        text = cells[fields["position"].heading]
    else:
        halves = [_half(cells, found, name) for name in ("latitude", "longitude")]
        # a semicolon, which parts two halves whatever they are written with
        text = ";".join(halves) if all(halves) else ""
    if not text:
        raise LeftOut("no position")
    try:
        latitude_deg, longitude_deg = read_position(text, where)
    except InputError as error:
        raise LeftOut("position cannot be read") from error
    if latitude_deg == 0.0 and longitude_deg == 0.0:
        raise LeftOut("no position")
    return latitude_deg, longitude_deg


def _half(cells: Mapping[str, str], found: Match, name: str) -> str:
    """Return a latitude or longitude as one text, put together where its parts stand in columns."""
    if name in found.fields:
        return cells[found.fields[name].heading]
    parts = [
        cells[found.fields[f"{name}_{part}"].heading] if f"{name}_{part}" in found.fields else ""
        for part in PARTS
    ]
    return " ".join(part for part in parts if part) if parts[0] else ""


def _quantity(found: Match, name: str, text: str, what: str) -> tuple[str, str]:
    """Return a cell's number as text and its unit: the one it names itself, else that of its column."""
    number, word = unit_apart(text)
    units = UNITS[name]
    if word and word not in units:
        raise LeftOut(f"{what} in {word}")
    return _number(number, what), units[word] if word else found.fields[name].unit


def _number(text: str, what: str) -> str:
    """Return a number as text with a point; LeftOut if it is none."""
    plain = text.translate(DASHES).replace(" ", "")
    # 1,500 is fifteen hundred; 0,500 cannot be, and is a half.
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?", plain) and not plain.startswith("0"):
        plain = plain.replace(",", "")
    plain = plain.replace(",", ".", 1)
    if not NUMBER.fullmatch(plain):
        raise LeftOut(f"{what} cannot be read" if text else f"no {what}")
    return plain


def _power(found: Match, text) -> dict[str, str]:
    for name in ("erp", "eirp"):
        if name in found.fields and text(name):
            number, unit = _quantity(found, name, text(name), "power")
            if (name, unit) in IN_KNOWN_DECIBELS:
                unit, more_db = IN_KNOWN_DECIBELS[name, unit]
                number = f"{float(number) + more_db:.6g}"
            return {f"{name}_{unit}": number}
    raise LeftOut("no power")


def _frequency(found: Match, text) -> dict[str, str]:
    if "frequency" in found.fields and text("frequency"):
        number, unit = _quantity(found, "frequency", text("frequency"), "frequency")
        return {"frequency_mhz": f"{float(number) * FREQUENCY_FACTOR[unit or 'mhz']:.6g}"}
    if not text("channel"):
        raise LeftOut("no channel")
    return {}


def _heights(found: Match, text) -> dict[str, str]:
    heights = {}
    if "ground" in found.fields and text("ground"):
        number, unit = _quantity(found, "ground", text("ground"), "ground")
        heights[f"ground_{unit}"] = number
    if "height" in found.fields and text("height"):
        number, unit = _quantity(found, "height", text("height"), "antenna height")
        return heights | {f"antenna_height_{unit}": number}
    if "height_above_sea" in found.fields and text("height_above_sea") and heights:
        number, unit = _quantity(found, "height_above_sea", text("height_above_sea"), "antenna height")
        above_sea = float(number) * (METRES_PER_FOOT if unit == "ft" else 1.0)
        return heights | {"antenna_height_amsl_m": f"{above_sea:.2f}"}
    raise LeftOut("no antenna height")


def _shown(text: str) -> str:
    return text.replace("-", ".") if re.fullmatch(r"\d+[-.]\d+", text) else text


def _whole(text: str) -> str:
    """Return a channel without what spreadsheets put around it: "21.0" and "D21" are 21."""
    found = re.fullmatch(r"(?i)(?:rf|ch|d|dt)?\s*(\d+)(?:\.0)?", text)
    return found[1] if found else text


def _date(text: str) -> str:
    """Return a date as 2026-09-01, nothing where it cannot be told (day and month may be exchanged)."""
    found = re.match(r"\d{4}-\d{2}-\d{2}", text.replace("/", "-"))
    return found[0] if found else ""


def with_ids(rows: list[dict[str, str]]) -> None:
    """Give each row an id of its own, of its call sign or name, with its channel where that repeats."""
    seen: set[str] = set()
    for row in rows:
        slug = (
            re.sub(r"[^A-Za-z0-9_]+", "-", row["station_id"] or row["service"]).strip("-")[:48] or "station"
        )
        name, number = slug, 2
        if name.lower() in seen and row["rf_channel"]:
            name = f"{slug}-{row['rf_channel']}"
        while name.lower() in seen:
            name, number = f"{slug}-{number}", number + 1
        seen.add(name.lower())
        row["station_id"] = name
