"""Rows of field notes: cells that several kinds of log share, and rows that could not be read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from covermap.errors import InputError
from covermap.scenario.columns import OTHER_NAMES, with_our_names
from covermap.scenario.csv_dialect import MOST_ROWS, read_csv_table
from covermap.scenario.suggestions import meant_for, nearest
from covermap.scenario.text_table import Row, TextTable

Record = TypeVar("Record")
ZONE_ADVICE = "Write it with its zone, as in 2026-09-01T14:05Z or 2026-09-01T16:05+02:00."


@dataclass(frozen=True)
class Rows:
    """The rows of a file of field notes.

    unreadable : a sentence for each row left out, with the reason
    """

    table: TextTable
    unreadable: list[str]
    warnings: list[str]


def open_rows(
    path: Path | str,
    number_columns: Sequence[str],
    known_columns: Sequence[str],
    required: Sequence[tuple[str, ...]],
    *,
    most_rows: int = MOST_ROWS,
) -> Rows:
    """Open a file of field notes and check its header.

    required : groups of column names; the file needs one of each group

    Raises InputError if the file cannot be read, has no rows or too many, or lacks a required column.
    """
    path = Path(path)
    unreadable: list[str] = []
    numbers = set(number_columns)
    table = with_our_names(
        read_csv_table(
            path,
            lambda name: OTHER_NAMES.get(name, name) in numbers,
            unreadable,
            most_rows=most_rows,
        )
    )
    for group in required:
        if not any(column in table.columns for column in group):
            raise InputError(
                f"{table.file}, header: found {', '.join(table.columns)}; no column {' or '.join(group)}."
                f"{meant_for(group, table.columns)} Add the column."
            )
    warnings = list(table.warnings)
    for column in table.columns:
        if column not in known_columns and not column.startswith("unnamed_"):
            warnings.append(
                f'{table.file}: the column "{column}" is not used.{nearest(column, list(known_columns))}'
            )
    if not table.rows and not unreadable:
        raise InputError(f"{table.file} has no rows under its header. Add a row for each reading.")
    return Rows(table, unreadable, warnings)


def read_each(rows: Rows, read: Callable[[Row, list[str]], Record]) -> list[Record]:
    """Return a record for each readable row; the others are listed with the reason.

    Raises InputError if no row is readable.
    """
    records = []
    for row in rows.table.rows:
        try:
            records.append(read(row, rows.warnings))
        except InputError as error:
            rows.unreadable.append(str(error))
    if not records:
        shown = "\n".join(rows.unreadable[:5])
        raise InputError(f"{rows.table.file}: none of its rows is readable.\n{shown}")
    return records


def read_moment(row: Row, warnings: list[str]) -> datetime | None:
    """Return the time of the column utc; None if empty. A time without a zone is read as UTC and said so.

    Raises InputError if it is no time.
    """
    text = row.text("utc")
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text.replace("Z", "+00:00").replace("z", "+00:00"))
    except ValueError as error:
        raise row.wrong("utc", f"It must be a date and time. {ZONE_ADVICE}") from error
    if moment.tzinfo is None:
        warnings.append(
            f'{row.where}, column utc: "{text}" has no zone; it is read as UTC. If it is local time, '
            f"{ZONE_ADVICE[0].lower()}{ZONE_ADVICE[1:]}"
        )
        return moment.replace(tzinfo=UTC)
    # one zone for all, so that minutes between readings are real ones
    return moment.astimezone(UTC)


def optional_number(row: Row, column: str, lowest: float, highest: float) -> float | None:
    """Return a cell as a number within limits, None if empty. Raises InputError otherwise."""
    right = f"It must be a number from {lowest:g} to {highest:g}, or empty. Correct the cell."
    value = row.number(column, right)
    if value is not None and not lowest <= value <= highest:
        raise row.wrong(column, right)
    return value
