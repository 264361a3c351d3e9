"""Names of antenna classes in the language that is spoken."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.wording.language import say
from covermap.wording.palette import TIERS


def spoken_tier_names(names: Sequence[str]) -> list[str]:
    """Return names of classes, from the lowest: built-in ones as they are said, a user's own as given."""
    return [
        say(f"tier.name_{look.number}") if name == look.name else name
        for name, look in zip(names, TIERS, strict=False)
    ]
