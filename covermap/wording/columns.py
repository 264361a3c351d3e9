"""What people read in place of a column's name, and what the column holds."""

from __future__ import annotations

import re

from covermap.wording.language import ENGLISH, messages, say
from covermap.wording.tier_names import mounting_words

_COUNTED = re.compile(r"(homes|land)_(expected_)?tier_([1-8])")
_LAND, _SHORT = "share_of_land_percent_", "land_"


def alias(column: str) -> str:
    """Return the name of a column as people read it; a column without one keeps its own."""
    key = column.replace(_LAND, _SHORT)
    counted = _COUNTED.fullmatch(key)
    if counted:
        return _of_class("column_of", counted)
    return say(f"column.{key}") if _is_known(f"column.{key}") else column.replace("_", " ")


def meaning(column: str) -> str:
    """Return one sentence on what a column holds; columns of no layer of ours answer with an empty text."""
    key = column.replace(_LAND, _SHORT)
    counted = _COUNTED.fullmatch(key)
    if counted:
        return _of_class("meaning_of", counted)
    if key.startswith(_SHORT):
        of_homes = f"meaning.{key.replace(_SHORT, 'homes_', 1)}"
        return say("meaning_of.share", homes=say(of_homes)) if _is_known(of_homes) else ""
    return say(f"meaning.{key}") if _is_known(f"meaning.{key}") else ""


def _of_class(section: str, counted: re.Match[str]) -> str:
    what, expected, number = counted.groups()
    tier = f"{number} {say(f'tier.name_{number}')}"
    key = f"{section}.{what}{'_expected' if expected else ''}"
    return say(key, tier=tier, mounting=mounting_words(int(number)))


def _is_known(key: str) -> bool:
    return key in messages(ENGLISH)
