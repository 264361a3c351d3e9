"""Cells of a catalogue's tables: what must stand in them, and what is said where something else does."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from covermap.catalogue.records import Span
from covermap.errors import InputError
from covermap.scenario.csv_dialect import read_csv_table
from covermap.scenario.suggestions import nearest
from covermap.scenario.text_table import Row, TextTable

TEXT_COLUMNS = {"name", "kind", "mounts", "source", "band", "pattern", "amplifier"}
MOST_ROWS = 100_000


def read_rows(path: Path, needed: tuple[str, ...]) -> TextTable:
    """Return a table of a catalogue; rows that begin with # are remarks.

    Raises InputError if it cannot be read, lacks a column or has no rows.
    """
    table = read_csv_table(
        path, lambda name: name not in TEXT_COLUMNS and not name.endswith("_id"), most_rows=MOST_ROWS
    )
    missing = [column for column in needed if column not in table.columns]
    if missing:
        raise InputError(
            f"{table.file}, header: found {', '.join(table.columns)}; missing {', '.join(missing)}. "
            "Add what is missing to the header."
        )
    rows = tuple(row for row in table.rows if not row.text(table.columns[0]).startswith("#"))
    if not rows:
        raise InputError(f"{table.file}: found no rows. Add one for each piece.")
    return TextTable(table.file, table.columns, rows, table.warnings)


def number(row: Row, column: str, low: float, high: float, blank: float | None = math.nan) -> float:
    """Return a cell as a number from low to high; `blank` stands for an empty one, None allows none.

    Raises InputError if it is no such number.
    """
    right = f"It must be a number from {low:g} to {high:g}. Correct the cell."
    value = row.number(column, right)
    if value is None:
        if blank is None:
            raise row.wrong(column, right)
        return blank
    if not low <= value <= high:
        raise row.wrong(column, right)
    return value


def identifier(row: Row, column: str, seen: Iterable[str]) -> str:
    """Return the id of a row. Raises InputError if it is empty or stands in an earlier row."""
    found = row.text(column)
    if not found:
        raise row.wrong(column, "Every row needs an id of its own. Fill the cell.")
    if found in seen:
        raise row.wrong(column, "The same id stands in an earlier row. Rename one, or keep one row.")
    return found


def known(row: Row, column: str, words: Iterable[str], otherwise: str = "Correct the cell.") -> str:
    """Return a cell that must be one of the words. Raises InputError if it is not."""
    found, words = row.text(column), list(words)
    if found not in words:
        shown = ", ".join(words[:12]) + (f" and {len(words) - 12} more" if len(words) > 12 else "")
        raise row.wrong(column, f"It must be one of {shown or '(none)'}.{nearest(found, words)} {otherwise}")
    return found


def source(row: Row) -> str:
    """Return where a row's numbers come from. Raises InputError if that is not said."""
    if not row.text("source"):
        raise row.wrong("source", "Say how the numbers came about: computed, measured, published, judgement.")
    return row.text("source")


def span(row: Row, columns: tuple[str, str, str], low: float, high: float, minus: float = 0.0) -> Span | None:
    """Return low, typical and high of three cells less a number; None where all are empty.

    Without a typical value the middle counts; low and high come together or not at all.

    Raises InputError for a number out of range, a lone bound, or an order that is none.
    """
    values = [number(row, column, low, high) for column in columns]
    least, typical, most = values
    if all(math.isnan(value) for value in values):
        return None
    if math.isnan(least) != math.isnan(most):
        raise row.wrong(
            columns[0] if math.isnan(least) else columns[2],
            f"{columns[0]} and {columns[2]} come together. Fill or empty both.",
        )
    typical = (least + most) / 2.0 if math.isnan(typical) else typical
    least, most = (typical, typical) if math.isnan(least) else (least, most)
    if not least <= typical <= most:
        raise row.wrong(
            columns[1], f"It must lie from {columns[0]} {least:g} to {columns[2]} {most:g}. Correct the row."
        )
    # Range and order were checked as written, before the conversion: a message then names what stands in the
    # cell.
    return Span(least - minus, typical - minus, most - minus)
