"""What is worth knowing of one place, and why nothing can be said of one, from its code."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.constants import NEAR_MAST_KM
from covermap.wording import words
from covermap.wording.language import say
from covermap.wording.words import join


def note_words(code: str, height_unit: str = "m", services: Sequence[str] = (), distance: str = "") -> str:
    """Return the sentence of a note of the messages, as 'near' or 'steep'.

    height_unit : m or ft; services : those it speaks of; distance : a distance it names, as people read it
    """
    near = words.height(1000.0 * NEAR_MAST_KM, height_unit)
    return say(f"note.{code}", near=near, services=join(list(services)), distance=distance)
