"""Numbers and texts as people read them: chance, homes, distance, bearing, and text from inputs made safe."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from covermap.wording.language import say

CHANCE_STEPS: tuple[tuple[float, str], ...] = (
    (90.0, "expected"),
    (70.0, "likely"),
    (50.0, "may_work"),
    (30.0, "unlikely"),
    (0.0, "not_expected"),
)
"""Lowest percent of each word of a chance, downwards, and its key in the messages. Never a yes."""

SMALL_COUNT = 5.0
"""Counts below this are written as 'under 5'."""

KM_PER_MILE = 1.609344  # international mile, exact by definition
FEET_PER_M = 1.0 / 0.3048  # international foot, exact by definition
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def half_up(value: float) -> int:
    """Return the nearest whole number, halves upwards."""
    return math.floor(value + 0.5)


def decimal(value: float, digits: int = 0) -> str:
    """Return a number with the separators of the language: '4,800', '9.4'."""
    text = f"{value:,.{digits}f}"
    return text.translate({ord(","): say("language.thousands"), ord("."): say("language.decimal")})


def signed(value: float, digits: int = 0) -> str:
    """Return a number with its sign and the separators of the language: '+2.5', '-4'; nought has none."""
    rounded = round(value, digits) + 0.0  # no minus before nought
    return f"{'+' if rounded > 0.0 else ''}{decimal(rounded, digits)}"


def as_given(value: float) -> str:
    """Return a number with as many decimals as it has: '7.5', '12'."""
    return f"{value:g}".replace(".", say("language.decimal"))


def chance_steps() -> list[tuple[float, str]]:
    """Return the lowest percent of each word of a chance, downwards, and the word."""
    return [(lowest, say(f"chance.{key}")) for lowest, key in CHANCE_STEPS]


def chance_in_words(percent: float | None, *, highest: bool = False) -> str:
    """Return a chance of 0 to 100 percent in words; None and NaN are 'unknown'.

    highest : with the highest class of antenna, so that no next one up can be spoken of
    """
    if percent is None or math.isnan(percent):
        return say("number.unknown")
    word = next(word for lowest, word in chance_steps() if percent >= lowest or lowest == 0.0)
    return say("chance.unlikely_with_any") if highest and word == say("chance.unlikely") else word


def chance_number(percent: float | None) -> str:
    """Return a chance as a number: steps of 5 % between 10 and 90, else 'under 10 %' or 'better than 90 %'.

    The step never crosses into another word: 89 % is 'likely' and reads 85 %, not 90 %.
    """
    if percent is None or math.isnan(percent):
        return say("number.unknown")
    if percent < 10.0:
        return say("number.under", number="10 %")
    if percent > 90.0:
        return say("number.better_than", number="90 %")
    return f"{chance_step(percent)} %"


def chance_step(percent: float) -> int:
    """Return the step of a chance that stands for it in words and numbers: 5 under 10, 95 over 90."""
    if percent < 10.0 or percent > 90.0:
        return 5 if percent < 10.0 else 95
    step = 5 * half_up(percent / 5.0)
    return step if chance_in_words(step) == chance_in_words(percent) else step - 5


def chance_text(percent: float | None, *, highest: bool = False) -> str:
    """Return number and word together: '85 %, likely'; of more than 90 % 'better than 90 %'.

    highest : as chance_in_words
    """
    if percent is None or math.isnan(percent):
        return say("number.unknown")
    if percent > 90.0:
        return chance_number(percent)
    return f"{chance_number(percent)}, {chance_in_words(percent, highest=highest)}"


def two_figures(count: float) -> int:
    """Return a count rounded to two significant figures, halves upwards."""
    if count < 100:
        return half_up(count)
    step = 10 ** (math.floor(math.log10(count)) - 1)
    return half_up(count / step) * step


def homes_number(count: float | None) -> str:
    """Return a number of homes with two significant figures: '4,800', 'under 5', 'none', 'unknown'."""
    if count is None or math.isnan(count):
        return say("number.unknown")
    if count == 0:
        return say("number.none")
    if count < SMALL_COUNT:
        return few()
    return decimal(two_figures(count))


def few() -> str:
    """Return a small count: 'under 5'."""
    return say("number.under", number=f"{SMALL_COUNT:g}")


def homes_range(count: float, low: float, high: float) -> str:
    """Return a number of homes with its range: '15 (5 to 40)'; never a bare 0 beside a range."""
    middle = few() if count < SMALL_COUNT else homes_number(count)
    if high < SMALL_COUNT:
        return few()
    return f"{middle} ({range_text(two_figures(low), two_figures(high))})"


def range_text(low: float, high: float) -> str:
    """Return two whole numbers as a range: '5 to 40'."""
    return say("number.range", low=decimal(low), high=decimal(high))


def percent_whole(share_percent: float | None) -> str:
    """Return a share in whole percent; under one but above zero is 'under 1 %'."""
    if share_percent is None or math.isnan(share_percent):
        return say("number.unknown")
    if 0.0 < share_percent < 1.0:
        return say("number.under", number="1 %")
    return f"{half_up(share_percent)} %"


def between(lowest: float | None, upper: float | None, unit: str = "") -> str:
    """Return a step's range: '90 % and more', '70 to 90 %', 'under 30 %'. lowest None or 0: the last."""
    if not lowest:
        return say("number.under", number=f"{upper:g}{unit}")
    if upper is None:
        return say("number.and_more", number=f"{lowest:g}{unit}")
    return say("number.range", low=f"{lowest:g}", high=f"{upper:g}{unit}")


def distance(distance_km: float, unit: str = "km") -> str:
    """Return a distance with 0.1 below 10 and whole above; unit is 'km' or 'mi'."""
    value = distance_km / KM_PER_MILE if unit == "mi" else distance_km
    tenths = half_up(value * 10.0) / 10.0
    return f"{decimal(tenths, 1)} {unit}" if tenths < 10.0 else f"{decimal(half_up(value))} {unit}"


def height(height_m: float, unit: str = "m") -> str:
    """Return a height in whole metres or feet; unit is 'm' or 'ft'."""
    value = height_m * FEET_PER_M if unit == "ft" else height_m
    return f"{decimal(half_up(value))} {unit}"


def bearing(azimuth_deg: float) -> str:
    """Return a bearing from true north in whole degrees with its compass point: '149° SE'."""
    whole = half_up(azimuth_deg) % 360
    return f"{whole}° {say('number.compass').split()[half_up(whole / 45.0) % 8]}"


def field(field_dbuvm: float) -> str:
    """Return a field strength in whole dB: '57 dBµV/m'."""
    return say("number.unknown") if math.isnan(field_dbuvm) else f"{half_up(field_dbuvm)} dBµV/m"


def margin(margin_db: float) -> str:
    """Return a margin in whole dB with its sign: '+9 dB'."""
    return (
        say("number.unknown") if math.isnan(margin_db) else f"{half_up(margin_db):+d} dB".replace("+0", "0")
    )


def csv_safe(text: str) -> str:
    """Return text that a spreadsheet will not run: a leading = + - @ gets an apostrophe before it.

    Source: common practice, no source. Numbers are not passed through here.
    """
    cleaned = text.replace("\x00", "")
    return "'" + cleaned if cleaned.lstrip(" ").startswith(_FORMULA_STARTS) else cleaned


def file_safe(text: str, unnamed: str = "unnamed") -> str:
    """Return text usable as part of a file name on every system: letters, digits, - and _, at most 60.

    unnamed : in place of a text that has none of them
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9_-]+", "-", plain).strip("-")[:60] or unnamed


def row_place(where: str) -> str:
    """Return where a row stands, as errors say it, in the language: 'readings.csv, line 4'."""
    found = re.fullmatch(r"(.*), line (\d+)", where)
    return where if found is None else say("row.place", file=found[1], line=found[2])


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
    return f"{', '.join(parts[:-1])} {say('number.and')} {parts[-1]}"


def days_text(dates: Sequence[str]) -> str:
    """Return one or more dates: '1 March 2026 to 1 September 2026'; of none, that it is unknown."""
    days = list(dict.fromkeys(day_text(day) for day in dates))
    return say("number.range", low=days[0], high=days[-1]) if len(days) > 1 else (days or [day_text("")])[0]


def day_text(iso: str) -> str:
    """Return a date as people write it: '1 September 2026'; what is no date stays."""
    try:
        day = date.fromisoformat(iso)
    except ValueError:
        return iso or say("number.no_date")
    return say("number.day", day=day.day, month=say("number.months").split()[day.month - 1], year=day.year)
