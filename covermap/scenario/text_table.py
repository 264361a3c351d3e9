"""A table of text as a user wrote it: rows that know their line, cells that know their column."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from covermap.errors import Faults, InputError
from covermap.tables.plain_text import PLAIN_RIGHT, is_plain, with_escapes

# Minus, en dash, hyphen and two kinds of blank that word processors and web pages put into numbers.
DASHES = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2010": "-", "\u00a0": "", "\u202f": ""})
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True)
class Row:
    """One row: `file` and `place` say where it stands ("line 7", "feature 7")."""

    file: str
    place: str
    cells: dict[str, str]
    comma: str = ""  # what a comma in a number of this file means: "decimal", "thousands" or nothing

    @property
    def where(self) -> str:
        """Return file and place, as in "transmitters.csv, line 7"."""
        return f"{self.file}, {self.place}"

    def text(self, column: str) -> str:
        """Return a cell without blanks around it; an absent column is an empty cell."""
        return self.cells.get(column, "").strip()

    def wrong(self, column: str, right: str) -> InputError:
        """Return the error of a cell; `right` says what would be right and what to do."""
        found = with_escapes(self.text(column))
        return InputError(f'{self.where}, column {column}: found "{found}".\n  {right}')

    def number(self, column: str, right: str) -> float | None:
        """Return a cell as a finite number, None if empty; otherwise raises InputError saying `right`."""
        if not self.text(column):
            return None
        value = as_number(self.text(column), self.comma)
        if not math.isfinite(value):
            raise self.wrong(column, right)
        return value


@dataclass(frozen=True)
class TextTable:
    """The rows of a file, its columns in lower case, and what was noticed on reading."""

    file: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    warnings: tuple[str, ...] = field(default=())


def require_plain(rows: Iterable[Row]) -> None:
    """Raise InputError with every cell that holds letters which no output can write."""
    faults = Faults()
    for row in rows:
        wrong = [column for column, text in row.cells.items() if not is_plain(text)]
        faults.sentences += [str(row.wrong(column, PLAIN_RIGHT)) for column in wrong]
    faults.tell()


def as_number(text: str, comma: str = "") -> float:
    """Return text as a number, NaN if it is none. comma : "decimal", "thousands" or nothing."""
    plain = text.translate(DASHES).strip()
    if comma == "decimal":
        plain = plain.replace(",", ".", 1)
    elif comma == "thousands":
        plain = plain.replace(",", "")
    return float(plain) if NUMBER.fullmatch(plain) else math.nan
