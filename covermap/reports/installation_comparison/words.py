"""Installations compared, in sentences."""

from __future__ import annotations

import math

import pandas as pd

from covermap.planning.installation_comparison import (
    ComparedInstallation,
    InstallationComparison,
    InstallationCount,
    InstallationDifference,
)
from covermap.wording.language import say
from covermap.wording.lists import short_list_words
from covermap.wording.words import decimal, homes_number, join, two_figures

MOST_AREAS_NAMED, MOST_SERVICES_NAMED = 3, 3
MOSTLY = 0.5  # of those who gain: the neighbourhoods named hold at least this share (judgement)


def comparison_in_words(found: InstallationComparison) -> list[str]:
    """Return the sentences: each installation, then each of the others instead of the first."""
    sentences = [
        holds_in_words(found, one, count)
        for one, count in zip(found.installations, found.counts, strict=True)
    ]
    sentences += [" ".join(difference_in_words(found, place)) for place in range(len(found.differences))]
    return sentences


def holds_in_words(found: InstallationComparison, one: ComparedInstallation, count: InstallationCount) -> str:
    """Return for whom an installation holds the list, without and with an amplifier."""
    span = ""
    if count.low is not None and count.high is not None:
        span = _range("antennas.range", count.low, count.high)
    more = ""
    if count.with_amplifier is not None:
        more = say("antennas.more", homes=number(count.with_amplifier)) + _by_amplifier(one, count)
    holds = say(
        "antennas.holds",
        name=one.name,
        mount=mount_words(one.mount),
        words=list_words(found),
        holds=counted(found, count.holds),
        range=span,
        more=more,
        not_held=number(count.not_held),
    )
    if not one.unserved:
        return holds
    return f"{holds} {say('antennas.unserved', name=one.name, services=join(list(one.unserved)))}"


def _by_amplifier(one: ComparedInstallation, count: InstallationCount) -> str:
    """Return how many homes each amplifier is the least costly for that does; '' where none helps anyone."""
    parts = amplifier_words(one, count)
    return say("antennas.of_amplifiers", parts="; ".join(parts)) if parts else ""


def amplifier_words(one: ComparedInstallation, count: InstallationCount) -> list[str]:
    """Return each amplifier that helps anyone, with its price and the homes it is the least costly for."""
    words = []
    for (name, each), homes in zip(one.amplifiers, count.with_amplifiers, strict=True):
        if homes:
            key = "antennas.of_amplifier" if math.isnan(each) else "antennas.of_amplifier_price"
            words.append(say(key, amplifier=name, price=price(each), homes=number(homes)))
    return words


def difference_in_words(found: InstallationComparison, place: int) -> list[str]:
    """Return what one of the others changes: the list, then the services that most gain."""
    one, other = found.installations[0], found.installations[place + 1]
    change = found.differences[place]
    names = {"first": one.name, "other": other.name}
    if not change.gained and not change.lost:
        sentences = [say("antennas.instead_none", words=list_words(found), **names)]
    else:
        sentences = [
            say(
                "antennas.instead",
                gained=counted(found, change.gained, "more_"),
                words=list_words(found),
                range=_span(change),
                where=_where(found, place, "gained"),
                lost=number(change.lost),
                **names,
            )
        ]
    gains = sorted(((gained, service) for service, (gained, _) in change.services.items()), reverse=True)
    for gained, service in gains[:MOST_SERVICES_NAMED]:
        if gained >= 0.5:
            where = _where(found, place, f"gained: {service}")
            told = {"gained": counted(found, gained, "more_"), "service": service, "where": where}
            sentences.append(say("antennas.service", **told))
    return sentences


def _span(change: InstallationDifference) -> str:
    if change.gained_range is None:
        return ""
    low, high = sorted(change.gained_range)
    return _range("antennas.difference_range", low, high)


def _range(key: str, low: float, high: float) -> str:
    """Return a range in brackets; nothing where both ends read alike."""
    ends = number(low), number(high)
    return "" if ends[0] == ends[1] else say(key, low=ends[0], high=ends[1])


def _where(found: InstallationComparison, place: int, column: str) -> str:
    """Return up to three neighbourhoods that hold most of those who gain, else those with the most."""
    if found.areas is None:
        return ""
    table: pd.DataFrame = found.areas[place]
    total = float(table[column].sum())
    if total < 0.5:
        return ""
    best = table.sort_values(column, ascending=False).head(MOST_AREAS_NAMED)
    named, held = [], 0.0
    for name, value in zip(best["neighbourhood_name"], best[column], strict=True):
        named.append(str(name))
        held += float(value)
        if held >= MOSTLY * total:
            return say("antennas.where", areas=join(named))
    return say("antennas.where_spread", areas=join(named))


def list_words(found: InstallationComparison) -> str:
    """Return the list where the sentence is about services already: 'all five'."""
    return short_list_words(len(found.list_services), found.needed)


def mount_words(mount: str) -> str:
    """Return a mount: 'rooftop'."""
    return say(f"antennas.mount_of.{mount}")


def counted(found: InstallationComparison, value: float, more: str = "") -> str:
    """Return a count with what is counted: '310 homes'; more : "more_" for '310 more homes'."""
    return say(f"antennas.{more}{found.counted}", number=number(value))


def number(value: float) -> str:
    """Return a count as people read it: two figures; 0 is a plain 0."""
    if math.isnan(value):
        return say("number.unknown")
    return homes_number(value) if value else "0"


def price(value: float) -> str:
    """Return a price in whole units of the catalogue's currency; empty where it is not known."""
    return "" if math.isnan(value) else decimal(two_figures(value) if value < 1 else value)
