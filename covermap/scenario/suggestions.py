"""The nearest of known words, for messages about a word that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Sequence


def nearest(word: str, words: Sequence[str]) -> str:
    """Return ` Did you mean "..."?` for the nearest of the words, or an empty text."""
    lower = {candidate.lower(): candidate for candidate in words}
    close = difflib.get_close_matches(word.lower(), lower, n=1, cutoff=0.6)
    return f' Did you mean "{lower[close[0]]}"?' if close else ""


def meant_for(wanted: Sequence[str], columns: Sequence[str]) -> str:
    """Return ` Is "..." meant for it?` for the column most like one that is missing, or an empty text."""
    lower = {column.lower(): column for column in columns}
    for name in wanted:
        close = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.6)
        if close:
            return f' Is "{lower[close[0]]}" meant for it?'
    return ""
