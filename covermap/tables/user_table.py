"""A user's own copy of a table, read cell by cell with errors that say where."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

from covermap.errors import Faults, InputError
from covermap.tables.loader import load_table
from covermap.tables.plain_text import PLAIN_RIGHT, is_plain, with_escapes
from covermap.tables.text_file import read_text_file

MOST_BYTES = 5_000_000  # a table of tiers or classes has a few kB


@dataclass(frozen=True)
class TableRow:
    """One row of a table, where it stands, and where what is wrong in it is gathered.

    Whoever reads rows calls faults.tell() behind the last; until then a value in place of a wrong cell means
    nothing.
    """

    where: str
    cells: dict[str, str]
    faults: Faults

    def text(self, column: str) -> str:
        """Return a cell as text, without blanks around it."""
        return (self.cells.get(column) or "").strip()

    def number(self, column: str, lowest: float, highest: float, blank: float | None = None) -> float:
        """Return a cell as a number from lowest to highest; `blank` stands for an empty cell.

        A fault is gathered if it is no number, out of range, or empty where blank is None.
        """
        text = self.text(column)
        if not text and blank is not None:
            return blank
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not lowest <= value <= highest:
            self.faults.sentences.append(
                f'{self.where}, column {column}: found "{text}". '
                f"It must be a number from {lowest:g} to {highest:g}. Correct the cell."
            )
            # a number, so that reading goes on to further faults; faults.tell() raises before it is used
            return lowest
        return value

    def yes_no(self, column: str) -> bool:
        """Return True for "yes" and False for "no"; anything else is gathered as a fault."""
        text = self.text(column).lower()
        if text not in ("yes", "no"):
            self.faults.sentences.append(
                f'{self.where}, column {column}: found "{self.text(column)}". Write yes or no in the cell.'
            )
        return text == "yes"


def read_table_rows(name: str, path: Path | None, columns: tuple[str, ...]) -> list[TableRow]:
    """Return the rows of the built-in table `name`, or of the user's file at `path`.

    Raises InputError if the file cannot be read, is empty, or lacks one of the columns.
    """
    if path is None:
        where, rows = f"{name}.csv", list(enumerate(load_table(name), start=2))
    else:
        where, rows = path.name, _read_file(path)
    if not rows:
        raise InputError(f"{where}: found no rows. Start from the table that `covermap new` writes.")
    header = rows[0][1]
    missing = [column for column in columns if column not in header]
    if missing:
        raise InputError(
            f"{where}, header: found {', '.join(str(column) for column in header)}; "
            f"missing {', '.join(missing)}. Add the column{'s' if len(missing) > 1 else ''} to the header."
        )
    faults = Faults()
    # one Faults for all rows, so that they are told together
    table = [TableRow(f"{where}, line {line}", row, faults) for line, row in rows]
    for row in table:
        # of a row longer than the header the rest stands in a list
        wrong = [one for one, text in row.cells.items() if isinstance(text, str) and not is_plain(text)]
        faults.sentences += [
            f'{row.where}, column {column}: found "{with_escapes(row.text(column))}". {PLAIN_RIGHT}'
            for column in wrong
        ]
    return table


def _read_file(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Return (line, cells) of each row; a row over several lines is named by its last."""
    try:
        text = read_text_file(path, MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path.name} is not UTF-8 text ({error.reason}). Save it as CSV in UTF-8."
        ) from error
    try:
        # not splitlines(), which also cuts at a form feed and at the line separator of Unicode
        reader = csv.DictReader(io.StringIO(text, newline=""))
        return [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise InputError(
            f"{path.name} cannot be read as CSV ({error}). Look for a quote without its pair."
        ) from error
