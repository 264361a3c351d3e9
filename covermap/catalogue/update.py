"""A catalogue's tables with rows in the place of others: all that is not replaced stays as it was."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.csv_dialect import csv_cells


def with_rows(
    path: Path, rows: Sequence[Mapping[str, str]], replaced: Callable[[Mapping[str, str]], bool]
) -> str:
    """Return a table's text with rows added and those left out that they replace.

    replaced : tells of a row, column -> cell, whether it goes. Columns that the table lacks are added;
        remarks (rows that begin with #) and the order of rows and columns stay

    Raises InputError if the file cannot be read, or is not written with commas.
    """
    lines = [cells for _, cells in csv_cells(path)[0]]
    if not lines or len(lines[0]) < 2 or path.read_bytes()[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError(
            f"{path.name}: its columns cannot be told apart. Save it as CSV in UTF-8, with commas."
        )
    if "," not in path.read_text("utf-8-sig").splitlines()[0]:
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
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([*cells, *[""] * (len(columns) - len(cells))] for cells in kept)
    writer.writerows([row.get(name, "") for name in columns] for row in rows)
    return text.getvalue()
