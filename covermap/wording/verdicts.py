"""What an amplifier does at a place, and a plan's remarks: one sentence for each code."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from covermap.wording.language import say
from covermap.wording.lists import capital, short_list_words
from covermap.wording.words import chance_number, join

AMPLIFIER_CODES = dict(
    enumerate(
        (
            "not_needed", "helps", "helps_with_filter", "no_use_noise", "no_use_interference",
            "no_use_signal", "harms",
        )
    )
)  # fmt: skip
"""Values of the raster amplifier."""

PLAN_FLAGS = {
    1: "needs_filter",
    2: "may_overload",
    4: "lost_at_night",
    8: "own_high_vhf",
    16: "diplexed",
    32: "vertical",
    64: "smooth_earth",
    128: "second_vertical",
}
"""Flags of the raster plan_flags."""


def amplifier_words(code: str) -> str:
    """Return what an amplifier does: 'A masthead amplifier helps here.'"""
    return say(f"amplifier.{code}")


def amplifier_mark(code: str) -> str:
    """Return the same in a few words: 'helps behind a filter'."""
    return say(f"amplifier_mark.{code}")


def plan_note(name: str) -> str:
    """Return a remark on a plan by the name of its flag."""
    return say(f"plan.{name}")


def services_by_class_words(
    classes: Sequence[tuple[str, Sequence[str], Sequence[str]]], enough: str | None
) -> str:
    """Return what each class of antenna brings: '2 Window: 4 services. 5 Rooftop: 5 services, that adds One.'

    classes : number and name of each class, the services it surely brings, each alone, and those of them that
    no lower class brings; only the classes that add something are told. enough : the class after which little
    is gained
    """
    sentences: list[str] = []
    for antenna, services, adds in classes:
        if adds:
            count = say("by_class.services", count=len(services))
            key = "by_class.adds" if sentences else "by_class.first"
            sentences.append(say(key, antenna=antenna, services=count, added=join(list(adds))))
    if not sentences:
        return say("by_class.none")
    return " ".join([*sentences, *([] if enough is None else [say("by_class.enough", antenna=enough)])])


def expected_of_words(chances_percent: Iterable[float], needed: int, confidence_percent: float) -> str:
    """Return how many of a list arrive, each alone, where some are enough: '18 of 30 expected, 12 needed.'

    Empty where all are needed.
    """
    chances = list(chances_percent)
    if needed >= len(chances):
        return ""
    kept = sum(chance >= confidence_percent for chance in chances)
    return say("list.expected_of", kept=kept, all=len(chances), needed=needed)


def one_lower_words(
    lower: str,
    kept: Sequence[str],
    services: Sequence[str],
    confidence_percent: float,
    together_percent: float | None,
) -> str:
    """Return what one class lower keeps, each service alone, and where that is all of them, all together.

    lower : number and name of that class. kept : services of the list that alone reach the confidence
    together_percent : chance of the list with it; None unknown
    """
    sure = f"{confidence_percent:g} %"
    if len(kept) < len(services) or len(services) == 1:
        key = "lower.some" if kept else "lower.none"
        return say(key, antenna=lower, kept=join(list(kept)), sure=sure)
    each = say("lower.each", antenna=lower, list=short_list_words(len(services), len(services)), sure=sure)
    if together_percent is None:
        return f"{each}."
    together = capital(short_list_words(len(services), len(services)))
    return say("lower.each_but", each=each, list=together.lower(), chance=chance_number(together_percent))
