"""Names of antenna classes in the language that is spoken."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.wording.language import say
from covermap.wording.palette import TIERS
from covermap.wording.words import height

TALL_MAST_M = 15.0  # of the last class in tables/tiers.csv


def spoken_tier_names(names: Sequence[str], first: int = 1) -> list[str]:
    """Return names of classes, upwards: built-in ones as they are said, a user's own as given.

    first : number of the class that the first name is of
    """
    return [
        say(f"tier.name_{look.number}") if name == look.name else name
        for name, look in zip(names, TIERS[first - 1 :], strict=False)
    ]


def mounting_words(tier: int, height_unit: str = "m") -> str:
    """Return where the antenna of a built-in class stands: 'on a 15 m mast, amplifier at the antenna'."""
    return say(f"tier.mounting_{tier}", height=height(TALL_MAST_M, height_unit))
