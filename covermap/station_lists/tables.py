"""Reads a table in whatever form it comes, its headings in the spelling of whoever wrote it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.csv_dialect import csv_cells
from covermap.scenario.vector_table import read_vector_table
from covermap.tables.plain_text import with_blanks

TEXT_SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".psv")
SHEET_SUFFIXES = (".xlsx", ".xlsm")


@dataclass(frozen=True)
class RawTable:
    """A table of text. headings : as written, each once; rows : cells by heading; places : "line 7" each."""

    file: str
    headings: tuple[str, ...]
    rows: tuple[dict[str, str], ...]
    places: tuple[str, ...]
    warnings: tuple[str, ...] = ()

    def column(self, heading: str) -> list[str]:
        """Return the cells of a column that are not empty."""
        return [row[heading] for row in self.rows if row[heading]]


def read_raw_table(path: Path) -> RawTable:
    """Return a table from text (any delimiter), a spreadsheet, or a layer of points.

    A layer's geometry gives the columns latitude_deg and longitude_deg.

    Raises InputError if the file cannot be read, or has no row below its headings.
    """
    suffix = path.suffix.lower()
    if not path.exists():
        raise InputError(f"There is no file {path}. Give the table of stations as it was published.")
    if suffix in TEXT_SUFFIXES:
        cells, warnings = csv_cells(path)
        table = _table(path.name, cells, "line", tuple(warnings))
    elif suffix in SHEET_SUFFIXES:
        table = _table(path.name, _sheet_cells(path), "row", ())
    else:
        layer = read_vector_table(path)
        rows = tuple(dict(row.cells) for row in layer.rows)
        places = tuple(row.place for row in layer.rows)
        table = RawTable(path.name, layer.columns, rows, places, layer.warnings)
    if not table.rows:
        raise InputError(f"{path.name}: found no row below the headings {', '.join(table.headings)}.")
    return table


def _table(
    file: str, records: list[tuple[int, list[str]]], place: str, warnings: tuple[str, ...]
) -> RawTable:
    """Return the table of records, the first with more than one cell being the headings."""
    # Published sheets begin with a title and a date, each in a cell alone.
    start = next((i for i, (_, cells) in enumerate(records) if sum(map(bool, cells)) > 1), None)
    if start is None:
        raise InputError(f"{file}: found no line with several cells. Is it a table?")
    headings: list[str] = []
    for number, cell in enumerate(records[start][1], start=1):
        name = " ".join(cell.strip().strip("\ufeff").split()) or f"column {number}"
        headings.append(name if name not in headings else f"{name} ({number})")
    rows, places = [], []
    for line, cells in records[start + 1 :]:
        filled = [*cells, *[""] * (len(headings) - len(cells))]
        rows.append({name: cell.strip() for name, cell in zip(headings, filled, strict=False)})
        places.append(f"{place} {line}")
    return RawTable(file, tuple(headings), tuple(rows), tuple(places), warnings)


def _sheet_cells(path: Path) -> list[tuple[int, list[str]]]:
    """Return the cells of the first sheet that has some, as text."""
    try:
        import openpyxl
    except ImportError as error:
        raise InputError(
            f"{path.name} is a spreadsheet, and the package openpyxl that reads it is not installed.\n"
            '  Install it with: pip install "covermap[spreadsheet]"; or save the sheet as CSV.'
        ) from error
    try:
        # data_only: the values of formulas, not their text; read_only: a national sheet does not stand in
        # memory whole
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:  # openpyxl raises whatever the damage leads to
        raise InputError(
            f"{path.name} cannot be read as a spreadsheet ({error}). Save it anew, or as CSV."
        ) from error
    for sheet in book.worksheets:
        records = [
            (number, [_as_text(value) for value in row])
            for number, row in enumerate(sheet.iter_rows(values_only=True), start=1)
        ]
        filled = [record for record in records if any(record[1])]
        if filled:
            return filled
    raise InputError(f"{path.name}: found no sheet with cells in it.")


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return with_blanks(str(value)).strip()
