"""A wanted list and a station's channel in words."""

from __future__ import annotations

from covermap.wording.language import say
from covermap.wording.words import decimal


def spelled(count: int) -> str:
    """Return a whole number in letters up to ten: 'five', '12'."""
    words = say("number.spelled").split()
    return words[count] if 0 <= count < len(words) else decimal(count)


def capital(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def list_words(count: int, needed: int) -> str:
    """Return a list as a subject: 'all five wanted services', 'at least six of nine wanted services'."""
    if needed < count:
        return say("list.some", needed=spelled(needed), count=spelled(count))
    return say("list.one") if count == 1 else say("list.all", count=spelled(count))


def short_list_words(count: int, needed: int) -> str:
    """Return a list where the sentence is about services already: 'all five', 'at least six of nine'."""
    if needed < count:
        return say("list.short_some", needed=spelled(needed), count=spelled(count))
    if count <= 2:
        return say("list.short_one" if count == 1 else "list.short_two")
    return say("list.short_all", count=spelled(count))


def together_words(count: int, needed: int) -> str:
    """Return a list before its chance: 'All five wanted services together'."""
    words = capital(list_words(count, needed))
    return words if count == 1 else say("list.together", list=words)


def band_words(band: str) -> str:
    """Return a band: 'high VHF'."""
    return say(f"station.{band}")


def channel_words(displayed_channel: str, rf_channel: int | None, frequency_mhz: float, band: str) -> str:
    """Return a station's channel: '5.1, RF 36', '7.1, RF 7, high VHF', '474 MHz'."""
    sent = f"{frequency_mhz:g} MHz" if rf_channel is None else f"RF {rf_channel}"
    parts = [displayed_channel, sent, "" if band == "uhf" else band_words(band)]
    return ", ".join(part for part in parts if part)
