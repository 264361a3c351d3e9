"""The one loader of covermap's own CSV tables."""

from __future__ import annotations

import csv
import io
from importlib import resources
from pathlib import Path

from covermap.errors import InputError

PACKAGE = "covermap.tables"


def load_table(name: str) -> list[dict[str, str]]:
    """Return the rows of a built-in table as text.

    name : file name in covermap/tables without ".csv", such as "tiers"
    Every row has a `source`. Raises InputError if there is no such table.
    """
    # through the package's resources, so that it also reads from a zipped install
    resource = resources.files(PACKAGE).joinpath(f"{name}.csv")
    if not resource.is_file():
        raise InputError(f"covermap has no table '{name}'. The tables are: {', '.join(table_names())}.")
    # not splitlines(), which also cuts at a form feed and at the line separator of Unicode
    return list(csv.DictReader(io.StringIO(table_text(name), newline="")))


def table_names() -> tuple[str, ...]:
    """Return the names of the built-in tables, in alphabetical order."""
    folder = resources.files(PACKAGE)
    return tuple(sorted(Path(entry.name).stem for entry in folder.iterdir() if entry.name.endswith(".csv")))


def table_text(name: str) -> str:
    """Return a built-in table as the text of its CSV file."""
    return resources.files(PACKAGE).joinpath(f"{name}.csv").read_text(encoding="utf-8")
