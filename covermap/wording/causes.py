"""Why a place is hard, by the code of a cause; its words and its mark stand side by side in the messages."""

from __future__ import annotations

from covermap.wording.language import ENGLISH, messages, say

CAUSE_CODES: tuple[str, ...] = tuple(
    key.split(".")[1] for key in messages(ENGLISH) if key.startswith("cause.") and key.endswith(".words")
)


def cause_words(code: str) -> str:
    """Return a cause as people read it: 'hills in the way'; an unknown code in its own words."""
    return say(f"cause.{code}.words") if code in CAUSE_CODES else code.replace("_", " ")


def cause_mark(code: str) -> str:
    """Return a cause as it stands on the map itself: 'hills'."""
    return say(f"cause.{code}.mark") if code in CAUSE_CODES else code.replace("_", " ")


def hard_words(code: str, station: str = "") -> str:
    """Return why a place is hard: 'Why it is hard here: hills in the way.'; empty without a cause.

    station : the other station behind it, as people know it: 'Far Coast (K), RF 24'
    """
    if not code:
        return ""
    cause = cause_words(code)
    return say("hard.why_station", cause=cause, station=station) if station else say("hard.why", cause=cause)
