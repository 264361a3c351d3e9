"""Reads a latitude or longitude as people write it: decimal degrees, or degrees, minutes and seconds."""

from __future__ import annotations

import re

from covermap.errors import InputError
from covermap.scenario.text_table import DASHES, Row, as_number

HIGHEST_LATITUDE_DEG = 85.0
HEMISPHERE_SIGN = {"N": 1, "E": 1, "S": -1, "W": -1}
FORMS = (
    "Write decimal degrees (44.2125, west and south negative) or degrees, minutes and seconds "
    "(44 12 45 N, 44-12-45 N, 44°12'45\"N)."
)
# degrees, then minutes, then seconds, cut at blanks, hyphens, colons, degree and minute signs or letters
DMS = re.compile(
    r"(?P<front>[NSEW])?\s*(?P<sign>[+-])?\s*(?P<d>\d{1,3})(?:\s*[°ºd:\s-]\s*)"
    r"(?P<m>\d{1,2}(?:[.,]\d+)?)\s*(?:['′’m:\s-]+\s*(?P<s>\d{1,2}(?:[.,]\d+)?)\s*(?:[\"″”]|''|′′|s(?=\s*[NSEW]))?)?['′’m]?\s*"
    r"(?P<back>[NSEW])?",
    re.IGNORECASE,
)
DECIMAL = re.compile(
    r"(?P<front>[NSEW])?\s*(?P<sign>[+-])?(?P<d>\d+(?:[.,]\d*)?|[.,]\d+)\s*[°º]?\s*(?P<back>[NSEW])?",
    re.IGNORECASE,
)
PACKED = re.compile(r"[+-]?(?P<d>\d{2,3})(?P<m>\d{2})(?P<s>\d{2}(?:\.\d+)?)")


def read_latitude_deg(row: Row, warnings: list[str]) -> float:
    """Return latitude_deg of a row, -85 to 85. Raises InputError if it is missing or out of range."""
    value = _read(row, "latitude_deg", "NS", warnings)
    if abs(value) > 90.0:
        raise row.wrong(
            "latitude_deg",
            "A latitude lies between -90 and 90 degrees. If latitude and longitude are exchanged, "
            "exchange the two columns.",
        )
    if abs(value) > HIGHEST_LATITUDE_DEG:
        raise row.wrong(
            "latitude_deg",
            f"Within 5 degrees of a pole the grid has no meaning; up to {HIGHEST_LATITUDE_DEG:g} degrees is "
            "possible. Correct the latitude or remove the row.",
        )
    return value


def read_longitude_deg(row: Row, warnings: list[str]) -> float:
    """Return longitude_deg of a row, -180 to 180. Raises InputError if it is missing or out of range."""
    value = _read(row, "longitude_deg", "EW", warnings)
    if abs(value) > 360.0:
        raise row.wrong("longitude_deg", "A longitude lies between -180 and 180 degrees. Correct the cell.")
    # Only what lies outside is turned: the modulo would take the last digit off a plain longitude.
    return (value + 180.0) % 360.0 - 180.0 if abs(value) > 180.0 else value


def _read(row: Row, column: str, letters: str, warnings: list[str]) -> float:
    text = row.text(column).translate(DASHES).strip()
    if not text or text.lower() in ("nan", "null", "none", "n/a"):
        raise row.wrong(column, f"A position is needed here. {FORMS}")
    plain = as_number(text, row.comma)
    # plain == plain: not NaN. Over 360 it is no angle, but may be degrees, minutes and seconds without marks.
    if plain == plain:
        return _packed(row, column, text, warnings) if abs(plain) > 360.0 else plain
    match = DECIMAL.fullmatch(text)
    if match:
        degrees = float(match["d"].replace(",", "."))
        degrees = _packed(row, column, match["d"], warnings) if degrees > 360.0 else degrees
        return _signed(row, column, letters, match, degrees)
    match = DMS.fullmatch(text)
    if not match:
        raise row.wrong(column, FORMS)
    return _signed(
        row, column, letters, match, _from_dms(row, column, match["d"], match["m"], match["s"] or "0")
    )


def _signed(row: Row, column: str, letters: str, match: re.Match[str], degrees: float) -> float:
    letter = (match["front"] or match["back"] or "").upper()
    if letter and letter not in letters:
        raise row.wrong(
            column, f"{column} takes {letters[0]} or {letters[1]}, not {letter}. Correct the cell."
        )
    if (match["front"] and match["back"]) or (letter and match["sign"]):
        raise row.wrong(column, f"Give the side once: a sign, or one letter ({letters[0]} or {letters[1]}).")
    sign = HEMISPHERE_SIGN[letter] if letter else -1 if match["sign"] == "-" else 1
    return sign * degrees


def _from_dms(row: Row, column: str, degrees: str, minutes: str, seconds: str) -> float:
    minutes_number, seconds_number = float(minutes.replace(",", ".")), float(seconds.replace(",", "."))
    if minutes_number >= 60.0 or seconds_number >= 60.0:
        raise row.wrong(column, f"Minutes and seconds must be under 60. {FORMS}")
    return float(degrees) + minutes_number / 60.0 + seconds_number / 3600.0


def _packed(row: Row, column: str, text: str, warnings: list[str]) -> float:
    """Return degrees from a packed number such as 403015, which is 40 30 15."""
    match = PACKED.fullmatch(text)
    if not match:
        raise row.wrong(column, FORMS)
    degrees = _from_dms(row, column, match["d"], match["m"], match["s"])
    warnings.append(
        f'{row.where}, column {column}: "{text}" is read as {match["d"]} degrees {match["m"]} minutes '
        f"{match['s']} seconds. Write decimal degrees to be sure."
    )
    return -degrees if text.startswith("-") else degrees


PAIR_FORMS = (
    "Write latitude, then longitude: 44.01, -35.66 (south and west negative), N44.01 W35.66, "
    "44,01 -35,66, or 44 00 36 N 35 39 36 W."
)


def read_position(text: str, where: str) -> tuple[float, float]:
    """Return latitude and longitude in degrees of a position as people write it.

    where : what to name in an error, such as "--at"

    Takes decimal degrees with a point or a comma, letters in front or behind, and degrees, minutes and
    seconds; the two are parted by a comma, a semicolon, a slash or blanks. Letters may turn their order.
    Raises InputError for anything else.
    """
    plain = text.translate(DASHES).strip()
    advice = PAIR_FORMS
    for latitude, longitude in _halves(plain):
        row = Row(where, "position", {"latitude_deg": latitude, "longitude_deg": longitude})
        try:
            latitude_deg, longitude_deg = read_latitude_deg(row, []), _read(row, "longitude_deg", "EW", [])
            if abs(longitude_deg) > 180.0:
                raise row.wrong("longitude_deg", "A longitude lies between -180 and 180 degrees.")
            return latitude_deg, longitude_deg
        except InputError as error:
            told = str(error).partition("\n  ")[2]
            advice = PAIR_FORMS if told == FORMS else told  # out of range, or a wrong letter
    raise InputError(f'{where}: found "{text}", which is no position.\n  {advice}')


def read_place(row: Row, warnings: list[str]) -> tuple[float, float]:
    """Return latitude and longitude of a row in degrees: of its position where that is filled, else of its
    two columns. Raises InputError where neither is one, and at 0, 0."""
    if row.text("position"):
        where = f"{row.where}, column position"
        place = read_position(row.text("position"), where)
    elif "position" in row.cells and "latitude_deg" not in row.cells:
        raise row.wrong("position", f"A position is needed here. {PAIR_FORMS}")
    else:
        where = f"{row.where}, columns latitude_deg and longitude_deg"
        place = read_latitude_deg(row, warnings), read_longitude_deg(row, warnings)
    if place == (0.0, 0.0):  # what spreadsheets and geocoders leave where they found nothing
        raise InputError(
            f'{where}: found "0" and "0".\n'
            "  That is a place in the sea that stands for an unknown position. Fill the cells or remove the "
            "row."
        )
    return place


def _halves(text: str) -> list[tuple[str, str]]:
    """Return the ways to cut a position into latitude and longitude, the likelier first."""
    letters = re.findall("[NSEWnsew]", text)
    # Letters settle which half is which; without any, latitude comes first.
    if len(letters) == 2:
        cut = _at_letters(text)
        first, second = (part.strip(" ,;/") for part in cut)
        return [(first, second) if letters[0].upper() in "NS" else (second, first)]
    for separator in (";", "/", "\t"):
        if text.count(separator) == 1:
            first, second = text.split(separator)
            return [(first, second)]
    # A comma may part the halves or be decimal: the likelier cut comes first, and the first that reads as a
    # position inside the ranges is taken.
    ways = [
        tuple(parts) for parts in (re.split(r",\s+", text), text.split(","), text.split()) if len(parts) == 2
    ]
    commas = text.replace(" ", "").split(",")
    if len(commas) == 4:  # two decimal commas and one between
        ways.append((",".join(commas[:2]), ",".join(commas[2:])))
    words = re.split(r"[\s,]+", text)
    if len(words) in (4, 6):  # degrees and minutes, or with seconds, by blanks alone
        middle = len(words) // 2
        ways.append((" ".join(words[:middle]), " ".join(words[middle:])))
    return [(first, second) for first, second in ways]


def _at_letters(text: str) -> tuple[str, str]:
    """Cut a text of two letters N, S, E, W: before the second one where it begins with a letter, else
    behind the first."""
    first, second = (found.start() for found in re.finditer("[NSEWnsew]", text))
    return (
        (text[:second], text[second:])
        if not text[:first].strip(" ,;")
        else (text[: first + 1], text[first + 1 :])
    )
