"""A catalogue's tables with rows in the place of others: all that is not replaced stays as it was."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.csv_dialect import csv_cells
from covermap.tables.text_file import read_text_file


def with_rows(
    path: Path, rows: Sequence[Mapping[str, str]], replaced: Callable[[Mapping[str, str]], bool]
) -> str:
    """Return a table's text with rows added and those left out that they replace.

    replaced : tells of a row, column -> cell, whether it goes. Columns that the table lacks are added;
        remarks (rows that begin with #) and the order of rows and columns stay

    Raises InputError if the file cannot be read, is not UTF-8, or is not written with commas.
    """
    text = _text(path)
    lines = [cells for _, cells in csv_cells(path)[0]]
    if not lines or len(lines[0]) < 2:
        raise InputError(
            f"{path.name}: its columns cannot be told apart. Save it as CSV in UTF-8, with commas."
        )
    if "," not in text.splitlines()[0]:
        raise InputError(
            f"{path.name} is not written with commas between its columns, so that no row can be added. Save "
            "it as CSV with commas and with points in numbers."
        )
    columns = [name.strip().lower() for name in lines[0]]
    columns += [name for name in dict.fromkeys(name for row in rows for name in row) if name not in columns]
    kept = [
        cells for cells in lines[1:]
        if "".join(cells[:1]).startswith("#") or not replaced(dict(zip(columns, cells, strict=False)))
    ]  # fmt: skip
    new = io.StringIO()
    writer = csv.writer(new, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([*cells, *[""] * (len(columns) - len(cells))] for cells in kept)
    writer.writerows([row.get(name, "") for name in columns] for row in rows)
    return new.getvalue()


def _text(path: Path) -> str:
    """Return a table's text. What is written is UTF-8; of another spelling letters might change unseen."""
    try:
        return read_text_file(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path.name} is not UTF-8 text ({error.reason}), so that no row can be added. Save it as CSV in "
            "UTF-8, with commas."
        ) from error
