"""What a column of a station list may be, told from its heading, and from its cells where they decide."""

from __future__ import annotations

import re
from dataclasses import dataclass

from covermap.station_lists.tables import RawTable

LENGTH_UNITS = {"m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "ft": "ft", "feet": "ft",
                "foot": "ft"}  # fmt: skip
POWER_UNITS = {"kw": "kw", "w": "w", "watt": "w", "watts": "w", "dbk": "dbk", "dbkw": "dbk", "dbw": "dbw",
               "dbm": "dbm"}  # fmt: skip
FREQUENCY_UNITS = {"mhz": "mhz", "khz": "khz", "hz": "hz"}
UNITS = {
    "height": LENGTH_UNITS, "height_above_sea": LENGTH_UNITS, "ground": LENGTH_UNITS,
    "erp": POWER_UNITS, "eirp": POWER_UNITS, "frequency": FREQUENCY_UNITS,
}  # fmt: skip
# field -> what it holds, in words for a question
FIELDS = {
    "service": "name of the programme or station",
    "station_id": "call sign or another name of its own",
    "mast": "name of the site",
    "displayed_channel": "number shown on the set",
    "channel": "RF channel, the one on the air",
    "frequency": "centre frequency",
    "erp": "effective radiated power (re half-wave dipole)",
    "eirp": "effective radiated power re isotropic antenna",
    "height": "antenna height above ground",
    "height_above_sea": "antenna height above sea level",
    "ground": "ground above sea level",
    "position": "latitude and longitude in one cell",
    "latitude": "latitude",
    "longitude": "longitude",
    "polarization": "polarization",
    "status": "whether it is on the air",
    "kind": "kind of service (television, radio)",
    "system": "television system",
    "azimuth_pattern": "name of its horizontal pattern",
    "elevation_pattern": "name of its vertical pattern",
    "electrical_tilt_deg": "electrical tilt, down positive",
    "mechanical_tilt_deg": "mechanical tilt, down positive",
    "mechanical_tilt_azimuth_deg": "azimuth towards which it is tilted mechanically",
    "required_cn_db": "carrier-to-noise ratio it needs",
    "sfn_group": "name of its single-frequency network",
    "sfn_delay_us": "its delay in that network",
    "as_of": "date of the entry",
    "use": "wanted, or interference only",
}
# columns of transmitters.csv whose headings do not tell by their words
OURS = {
    "antenna_height_m": "height", "antenna_height_ft": "height", "antenna_height_amsl_m": "height_above_sea",
    "ground_m": "ground", "ground_ft": "ground", "use": "use", "required_cn_db": "required_cn_db",
    "sfn_group": "sfn_group", "sfn_delay_us": "sfn_delay_us",
}  # fmt: skip
PARTS = ("deg", "min", "sec", "dir")  # of a latitude or longitude in columns of their own


@dataclass(frozen=True)
class Guess:
    """What a heading was taken for. unit : "" where its name tells none or it needs none."""

    heading: str
    field: str
    unit: str = ""


def words_of(heading: str) -> list[str]:
    """Return the words of a heading in lower case: "antennaHeight AGL (m)" -> antenna height agl m."""
    parted = re.sub(r"(?<=[a-z]{2})(?=[A-Z][a-z])", " ", heading)  # units such as kW and dBk stay whole
    return re.findall(r"[a-z]+|\d+", parted.lower())


def unit_in(heading: str, field: str) -> str:
    """Return the unit that a heading names for a field, "" where it names none or several."""
    units = UNITS.get(field, {})
    found = {units[word] for word in words_of(heading) if word in units}
    if field in ("height", "height_above_sea", "ground"):
        found = {units[word] for word in words_of(heading)[1:] if word in units}
    return found.pop() if len(found) == 1 else ""


def unit_apart(cell: str) -> tuple[str, str]:
    """Return the number of a cell and the unit behind it in small letters: "500 W" -> 500, w."""
    found = re.fullmatch(r"(.*\d)\s*([A-Za-z]+)\.?", cell.strip())
    return (found[1], found[2].lower()) if found else (cell, "")


def says_its_units(table: RawTable, heading: str, field: str) -> bool:
    """Return whether every cell of a column that is filled names a unit of its own."""
    cells = table.column(heading)
    return bool(cells) and all(unit_apart(cell)[1] in UNITS[field] for cell in cells)


def guess(table: RawTable, heading: str) -> Guess | None:
    """Return what a column is, None where its heading does not tell; a height of an unsaid kind is none."""
    ours = OURS.get(heading.strip().lower())
    if ours is not None:
        return Guess(heading, ours, unit_in(heading, ours))
    words = set(words_of(heading))
    for field, test in _TESTS:
        if test(words):
            if field == "service" and not _names(table, heading):
                return None
            return Guess(heading, field, unit_in(heading, field))
    return _part_of_position(heading, words)


def doubtful_kind(heading: str) -> str:
    """Return the field a heading may be though it does not say which kind; "" where it is none of them."""
    words = set(words_of(heading))
    if words & {"haat", "eah", "amsl", "asl", "msl", "sea", "average", "tower", "structure", "overall"}:
        return ""
    if words & {"height", "hgt", "ht"}:
        return "height"
    if words & {"power", "pwr"} and not words & {"transmitter", "tpo", "output"}:
        return "erp"
    if words & {"channel", "ch", "chan"}:
        return "channel"
    return ""


def is_above_average_terrain(heading: str) -> bool:
    """Return whether a heading names a height above average terrain, which is none above ground."""
    words = set(words_of(heading))
    return bool(words & {"haat", "eah"}) or {"average", "terrain"} <= words


def _names(table: RawTable, heading: str) -> bool:
    """Return whether a column holds names: mostly different ones, unlike codes of a few kinds."""
    cells = table.column(heading)
    # a column "service" may hold a few codes over and over: a kind, not a name
    return len(cells) == 1 or len(set(cells)) > max(1, 0.2 * len(cells))


def _above_ground(words: set[str]) -> bool:
    if words & {"haat", "amsl", "asl", "msl", "sea", "average", "ground"} - {"ground"}:
        return False
    said = words & {"agl", "hagl", "rcagl", "aglm"} or {"above", "ground"} <= words
    return bool(said) and not words & {"tower", "structure", "overall"}


def _above_sea(words: set[str]) -> bool:
    said = words & {"amsl", "asl", "msl", "rcamsl"} or {"sea", "level"} <= words
    return bool(said) and bool(words & {"antenna", "ant", "rc", "rcamsl", "radiation", "centre", "center"})


def _ground(words: set[str]) -> bool:
    if words & {"agl", "antenna", "ant", "above"} and not words & {"site", "terrain"}:
        return False
    return bool(words & {"site", "ground", "terrain"}) and bool(
        words & {"elevation", "height", "amsl", "asl"}
    )


def _coordinate(words: set[str], names: set[str]) -> bool:
    parts = {"min", "sec", "dir", "minutes", "seconds", "direction", "hemi"}
    return bool(words & names) and not words & parts


_LATITUDE, _LONGITUDE = {"lat", "latitude", "latdms"}, {"lon", "long", "lng", "longitude", "londms"}
_CHANNEL = {"channel", "ch", "chan", "channels"}
_SHOWN = {"virtual", "displayed", "display", "shown", "logical", "lcn", "psip", "major"}
# The first that fits wins, so what is narrower stands first.
_TESTS = (
    ("ground", _ground),
    ("height_above_sea", _above_sea),
    ("height", _above_ground),
    ("eirp", lambda words: "eirp" in words),
    ("erp", lambda words: bool(words & {"erp", "erpkw"})),
    ("displayed_channel", lambda words: bool(words & _SHOWN) and bool(words & (_CHANNEL | {"lcn"}))),
    ("channel", lambda words: bool(words & {"rf", "physical", "uhf"}) and bool(words & _CHANNEL)),
    ("frequency", lambda words: bool(words & {"frequency", "freq"}) or words == {"mhz"}),
    ("position", lambda words: bool(words & {"position", "coordinates", "coords"})),
    ("latitude", lambda words: _coordinate(words, _LATITUDE)),
    ("longitude", lambda words: _coordinate(words, _LONGITUDE)),
    ("polarization", lambda words: bool(words & {"pol", "polarization", "polarisation"})),
    ("status", lambda words: "status" in words),
    ("elevation_pattern", lambda words: "pattern" in words and bool(words & {"elevation", "vertical"})),
    ("azimuth_pattern", lambda words: "pattern" in words),
    ("electrical_tilt_deg", lambda words: {"electrical", "tilt"} <= words),
    ("mechanical_tilt_azimuth_deg", lambda words: {"mechanical", "tilt"} <= words
     and bool(words & {"azimuth", "bearing", "direction", "orientation"})),
    ("mechanical_tilt_deg", lambda words: {"mechanical", "tilt"} <= words),
    ("as_of", lambda words: words in ({"as", "of"}, {"as", "of", "date"}, {"date"}, {"last", "updated"})),
    ("system", lambda words: bool(words & {"system", "standard", "modulation"})),
    ("kind", lambda words: ("service" in words and bool(words & {"type", "code"})) or words == {"class"}),
    ("station_id", lambda words: words in ({"station", "id"}, {"call", "sign"}, {"callsign"}, {"call"})),
    ("service", lambda words: bool(words & {"service", "programme", "program", "network", "station"})
     and not words & {"class", "type", "code", "id", "number"}),
    ("mast", lambda words: bool(words & {"mast", "site", "tower", "transmitter"})
     and not words & {"power", "height", "elevation", "id", "m", "ft"}),
)  # fmt: skip


def _part_of_position(heading: str, words: set[str]) -> Guess | None:
    """Return degrees, minutes, seconds or side of a latitude or longitude in columns of their own."""
    for name, names in (("latitude", _LATITUDE), ("longitude", _LONGITUDE)):
        if not words & names:
            continue
        for part, spellings in zip(
            PARTS,
            ({"deg", "degrees"}, {"min", "minutes"}, {"sec", "seconds"}, {"dir", "direction", "hemi"}),
            strict=True,
        ):
            if words & spellings:
                return Guess(heading, f"{name}_{part}")
    return None
