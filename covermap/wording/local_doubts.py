"""What leaves, and one class of land cover more or less, would change: in words for the brief."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from covermap.wording.language import say
from covermap.wording.words import homes_number, percent_whole


def local_doubts_in_words(run: Mapping[str, Any], list_name: str) -> list[str]:
    """Return a sentence on leaves and one on the class of the cover; none of what was not asked for."""
    return [
        say(f"local.{key}", moved=_moved(count))
        for key in ("in_leaf", "cover_doubt")
        if (count := (run.get(key) or {}).get(list_name)) and count["squares"]
    ]


def _moved(count: Mapping[str, Any]) -> str:
    """Return how many move: '120 homes', or '3 % of the squares' where homes are not known."""
    if count.get("homes") is None:
        return f"{percent_whole(100.0 * count['squares_moved'] / count['squares'])} " + say("local.squares")
    return f"{homes_number(count['homes_moved'])} " + say("local.homes")
