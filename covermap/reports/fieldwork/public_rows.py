"""What may be shown of rows that were left out or doubted: their line and column, not what they hold."""

from __future__ import annotations

import re
from collections.abc import Sequence

LINE = re.compile(r"\bline \d+(?:, column \w+)?")


def public_rows(sentences: Sequence[str]) -> list[str]:
    """Return the line and column of each row, in file order, without file name and content."""
    return [f"{_line(sentence)}; look into the file for the reason." for sentence in sentences]


def public_doubts(sentences: Sequence[str]) -> list[str]:
    """Return doubts on the whole as they are, and on single rows only by their line."""
    found = [f"{_line(one)} is doubtful." if LINE.search(one) else one for one in sentences]
    return list(dict.fromkeys(found))


def _line(sentence: str) -> str:
    found = LINE.search(sentence)
    return found[0][0].upper() + found[0][1:] if found else "A row"
