"""What an amplifier does at a place, and a plan's remarks: one sentence for each code."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.wording.language import say
from covermap.wording.lists import capital, short_list_words
from covermap.wording.words import chance_number, join

AMPLIFIER_CODES = {1: "helps", 2: "does_nothing", 3: "harms"}
"""Values of the raster amplifier."""

PLAN_FLAGS = {
    1: "needs_filter",
    2: "may_overload",
    4: "lost_at_night",
    8: "own_high_vhf",
    16: "diplexed",
    32: "vertical",
    64: "smooth_earth",
}
"""Flags of the raster plan_flags."""


def amplifier_words(code: str) -> str:
    """Return what an amplifier does: 'A masthead amplifier helps here.'"""
    return say(f"amplifier.{code}")


def plan_note(name: str) -> str:
    """Return a remark on a plan by the name of its flag."""
    return say(f"plan.{name}")


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
