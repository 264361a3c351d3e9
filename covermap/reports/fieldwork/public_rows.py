"""What may be shown of rows that were left out or doubted: their line and column, not what they hold."""

from __future__ import annotations

import re
from collections.abc import Sequence

from covermap.wording.language import say
from covermap.wording.lists import capital

# a row is told in English where it could not be read, else in the language
LINE = re.compile(r"\b(?:line|Zeile) \d+(?:, column \w+)?")


def public_rows(sentences: Sequence[str]) -> list[str]:
    """Return the line and column of each row, in file order, without file name and content."""
    return [say("fieldwork.look", line=_line(sentence)) for sentence in sentences]


def public_doubts(sentences: Sequence[str]) -> list[str]:
    """Return doubts on the whole as they are, and on single rows only by their line."""
    found = [say("fieldwork.doubtful", line=_line(one)) if LINE.search(one) else one for one in sentences]
    return list(dict.fromkeys(found))


def _line(sentence: str) -> str:
    found = LINE.search(sentence)
    return capital(found[0]) if found else say("fieldwork.a_row")
