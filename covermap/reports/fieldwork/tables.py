"""CSV files of fieldwork; text in them is safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

from covermap.result.whole_file import write_text
from covermap.wording.words import csv_safe


def write_rows(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> Path:
    """Write a CSV file in UTF-8; None and NaN are empty, numbers as given. Returns the path."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    write_text(path, text.getvalue())
    return path


def _cell(value: object) -> object:
    if value is None or (isinstance(value, float) and value != value):
        return ""
    return csv_safe(value) if isinstance(value, str) else value


def write_unreadable(path: Path, sentences: Sequence[str]) -> list[Path]:
    """Write the rows that were left out with their reasons; nothing where every row was read."""
    if not sentences:
        path.unlink(missing_ok=True)
        return []
    return [write_rows(path, ["left_out"], [[" ".join(sentence.split())] for sentence in sentences])]
