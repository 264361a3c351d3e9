"""Numbers and texts as people read them: chance, homes, distance, bearing, and text from inputs made safe."""

from __future__ import annotations

import math
import re
import unicodedata
from pathlib import Path

CHANCE_WORDS: tuple[tuple[float, str], ...] = (
    (90.0, "expected"),
    (70.0, "likely"),
    (50.0, "may work, test first"),
    (30.0, "unlikely without the next class up"),
    (0.0, "not expected"),
)
"""Lowest percent of each word, downwards. Never a yes."""

SMALL_COUNT = 5.0
"""Counts below this are written as 'under 5'."""

KM_PER_MILE = 1.609344  # international mile, exact by definition
FEET_PER_M = 1.0 / 0.3048  # international foot, exact by definition
UNKNOWN_TEXT = "unknown"

_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
SPELLED = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def half_up(value: float) -> int:
    """Return the nearest whole number, halves upwards."""
    return math.floor(value + 0.5)


def chance_in_words(percent: float | None) -> str:
    """Return a chance of 0 to 100 percent in words; None and NaN are 'unknown'."""
    if percent is None or math.isnan(percent):
        return UNKNOWN_TEXT
    return next(word for lowest, word in CHANCE_WORDS if percent >= lowest or lowest == 0.0)


def chance_number(percent: float | None) -> str:
    """Return a chance as a number: steps of 5 % between 10 and 90, else 'under 10 %' or 'over 90 %'.

    The step never crosses into another word of CHANCE_WORDS: 89 % is 'likely' and reads 85 %, not 90 %.
    """
    if percent is None or math.isnan(percent):
        return UNKNOWN_TEXT
    if percent < 10.0:
        return "under 10 %"
    if percent > 90.0:
        return "over 90 %"
    step = 5 * half_up(percent / 5.0)
    if chance_in_words(step) != chance_in_words(percent):
        step -= 5
    return f"{step} %"


def chance_text(percent: float | None) -> str:
    """Return number and word together: '85 %, likely'."""
    if percent is None or math.isnan(percent):
        return UNKNOWN_TEXT
    return f"{chance_number(percent)}, {chance_in_words(percent)}"


def two_figures(count: float) -> int:
    """Return a count rounded to two significant figures, halves upwards."""
    if count < 100:
        return half_up(count)
    step = 10 ** (math.floor(math.log10(count)) - 1)
    return half_up(count / step) * step


def homes_number(count: float | None) -> str:
    """Return a number of homes with two significant figures: '4,800', 'under 5', 'none', 'unknown'."""
    if count is None or math.isnan(count):
        return UNKNOWN_TEXT
    if count == 0:
        return "none"
    if count < SMALL_COUNT:
        return "under 5"
    return f"{two_figures(count):,}"


def homes_range(count: float, low: float, high: float) -> str:
    """Return a number of homes with its range: '15 (5 to 40)'; never a bare 0 beside a range."""
    middle = "under 5" if count < SMALL_COUNT else homes_number(count)
    if high < SMALL_COUNT:
        return "under 5"
    return f"{middle} ({two_figures(low):,} to {two_figures(high):,})"


def percent_whole(share_percent: float | None) -> str:
    """Return a share in whole percent; under one but above zero is 'under 1 %'."""
    if share_percent is None or math.isnan(share_percent):
        return UNKNOWN_TEXT
    if 0.0 < share_percent < 1.0:
        return "under 1 %"
    return f"{half_up(share_percent)} %"


def distance(distance_km: float, unit: str = "km") -> str:
    """Return a distance with 0.1 below 10 and whole above; unit is 'km' or 'mi'."""
    value = distance_km / KM_PER_MILE if unit == "mi" else distance_km
    tenths = half_up(value * 10.0) / 10.0
    return f"{tenths:.1f} {unit}" if tenths < 10.0 else f"{half_up(value):,} {unit}"


def height(height_m: float, unit: str = "m") -> str:
    """Return a height in whole metres or feet; unit is 'm' or 'ft'."""
    value = height_m * FEET_PER_M if unit == "ft" else height_m
    return f"{half_up(value):,} {unit}"


def bearing(azimuth_deg: float) -> str:
    """Return a bearing from true north in whole degrees with its compass point: '149° SE'."""
    whole = half_up(azimuth_deg) % 360
    return f"{whole}° {_POINTS[half_up(whole / 45.0) % 8]}"


def field(field_dbuvm: float) -> str:
    """Return a field strength in whole dB: '57 dBµV/m'."""
    return UNKNOWN_TEXT if math.isnan(field_dbuvm) else f"{half_up(field_dbuvm)} dBµV/m"


def margin(margin_db: float) -> str:
    """Return a margin in whole dB with its sign: '+9 dB'."""
    return UNKNOWN_TEXT if math.isnan(margin_db) else f"{half_up(margin_db):+d} dB".replace("+0", "0")


def csv_safe(text: str) -> str:
    """Return text that a spreadsheet will not run: a leading = + - @ gets an apostrophe before it.

    Source: common practice, no source. Numbers are not passed through here.
    """
    cleaned = text.replace("\x00", "")
    return "'" + cleaned if cleaned.lstrip(" ").startswith(_FORMULA_STARTS) else cleaned


def file_safe(text: str) -> str:
    """Return text usable as part of a file name on every system: letters, digits, - and _, at most 60."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9_-]+", "-", plain).strip("-")[:60] or "unnamed"


def plural(count: int, one: str, many: str = "") -> str:
    """Return a number with its noun: '1 mast', '5 masts'; many where an s does not do."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def path_in_words(path: Path) -> str:
    """Return a path as people type it: relative to the current folder where it lies below, else whole."""
    try:
        return str(Path(path).resolve().relative_to(Path.cwd()))
    except (ValueError, OSError):
        return str(path)


def join(parts: list[str]) -> str:
    """Return parts as a list in a sentence: 'a, b and c'."""
    if len(parts) < 2:
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]
