"""Finds out how a CSV file was written: encoding, delimiter, quotes, and what a comma in a number means."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from covermap.errors import Faults, InputError
from covermap.scenario.text_table import DASHES, NUMBER, Row, TextTable, require_plain
from covermap.tables.plain_text import is_plain, with_blanks
from covermap.tables.text_file import read_text_file

DELIMITERS = (",", ";", "\t", "|")
MOST_COLUMNS, MOST_ROWS = 1000, 10_000_000
SMART_QUOTES = "\u201c\u201d\u201e\u201f"
THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?")
DECIMAL = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?")


def read_csv_table(
    path: Path,
    is_number: Callable[[str], bool],
    unreadable: list[str] | None = None,
    *,
    most_rows: int = MOST_ROWS,
) -> TextTable:
    """Return a CSV file as text, whatever program wrote it.

    is_number : tells from a column's name whether it holds numbers; only there a comma may be a
        decimal comma, one meaning a file
    unreadable : where given, a row longer than the header is left out and a sentence on it added here; and
        letters that no output can write become blanks

    Raises InputError if the file is unreadable, empty, has more than most_rows, ragged rows, letters that no
    output can write, or uses commas both ways.
    """
    text, warnings = _decode(path)
    all_plain = is_plain(text)  # the text as a whole: millions of cells one by one would take long
    if unreadable is not None:
        text = with_blanks(text)
    delimiter = _delimiter(text)
    records = _records(path.name, _plain_quotes(text, delimiter), delimiter)
    if not records:
        raise InputError(f"{path.name} is empty. Its first line must name the columns.")
    if len(records) - 1 > most_rows:
        raise InputError(
            f"{path.name}: found {len(records) - 1:,} rows; a table of this kind has at most {most_rows:,}. "
            "Is it the right file? Leave out what the area does not need."
        )
    columns = _header(path.name, records[0][1])
    number_columns = [index for index, column in enumerate(columns) if is_number(column)]
    comma = _comma_meaning(path.name, columns, records[1:], number_columns)
    rows = tuple(
        Row(path.name, f"line {line}", dict(zip(columns, cells, strict=True)), comma)
        for line, cells in _full_rows(path.name, columns, records[1:], delimiter, unreadable)
    )
    if unreadable is None and not all_plain:
        require_plain(rows)
    if comma:
        warnings.append(f"{path.name}: a comma in a number is read as a {comma} comma.")
    return TextTable(path.name, columns, rows, tuple(warnings))


def csv_cells(path: Path) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Return (line, cells) of every line of a CSV file that is not blank, and what was noticed.

    Letters that no output can write, such as the form feeds of printed lists, are blanks.

    Raises InputError if the file is unreadable.
    """
    text, warnings = _decode(path)
    text = with_blanks(text)
    delimiter = _delimiter(text)
    return _records(path.name, _plain_quotes(text, delimiter), delimiter), warnings


def _decode(path: Path) -> tuple[str, list[str]]:
    raw = read_text_file(path)
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    # UTF-16 without its mark: every second byte of plain letters is zero, and which one tells the order.
    elif b"\0" in raw[:400]:
        encoding = "utf-16-le" if raw[1:2] == b"\0" else "utf-16-be"
    else:
        # the mark of some spreadsheets would otherwise be part of the first column's name
        encoding = "utf-8-sig"
    try:
        return raw.decode(encoding), []
    except UnicodeDecodeError:
        warning = f"{path.name} is not UTF-8; read as Windows-1252. Check names with accents."
        # what older Windows programs write; five of its codes are undefined, hence replace
        return raw.decode("cp1252", errors="replace"), [warning]


def _lines(text: str) -> io.StringIO:
    """Return the lines of a file with their ends: inside quotes a line break belongs to the cell."""
    # not splitlines(), which also cuts at a form feed and at the line separator of Unicode
    return io.StringIO(text, newline="")


def _delimiter(text: str) -> str:
    header = next((line for line in _lines(text) if line.strip()), "")
    # Of the header alone: in later lines commas stand in names and numbers too. A tie goes to the comma.
    return max(DELIMITERS, key=header.count)


def _plain_quotes(text: str, delimiter: str) -> str:
    """Replace smart quotes that stand where CSV quotes would, at the border of a field."""
    border = re.escape(delimiter)
    text = re.sub(rf"(^|{border})[{SMART_QUOTES}]", r'\1"', text, flags=re.MULTILINE)
    return re.sub(rf"[{SMART_QUOTES}](?={border}|\r?$)", '"', text, flags=re.MULTILINE)


def _records(file: str, text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Return (line, cells) of every line that is not blank."""
    reader = csv.reader(_lines(text), delimiter=delimiter)
    records, line = [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                records.append((line, cells))
            # A record over several lines is named by its first.
            line = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            f"{file}, line {reader.line_num}: cannot be read as CSV ({error}). "
            "Look for a quote without its pair."
        ) from error
    return records


def column_name(text: str) -> str:
    """Return a column's name as covermap compares it: lower case, blanks as underscores."""
    return re.sub(r"\s+", "_", text.strip().strip("\ufeff" + SMART_QUOTES).lower())


def _header(file: str, cells: list[str]) -> tuple[str, ...]:
    if len(cells) > MOST_COLUMNS:
        raise InputError(
            f"{file}, header: found {len(cells):,} columns; a table has at most {MOST_COLUMNS:,}. "
            "Is it the right file, and is its first line the header?"
        )
    columns = [column_name(cell) for cell in cells]
    twice = [column for column, count in Counter(columns).items() if column and count > 1]
    if twice:
        raise InputError(f'{file}, header: found the column "{twice[0]}" twice. Keep one of them.')
    return tuple(column or f"unnamed_{index}" for index, column in enumerate(columns, start=1))


def _full_rows(
    file: str,
    columns: tuple[str, ...],
    records: list[tuple[int, list[str]]],
    delimiter: str,
    unreadable: list[str] | None,
) -> list[tuple[int, list[str]]]:
    """Return the rows filled up to the header; a longer row is an error, or listed as unreadable."""
    full = []
    faults = Faults()
    for line, cells in records:
        if any(cell.strip() for cell in cells[len(columns) :]):
            sentence = (
                f"{file}, line {line}: found {len(cells)} cells under {len(columns)} columns, cut at "
                f'"{delimiter}". A name or number that holds the delimiter must stand in quotes. '
                "Quote the cell, or save the file with another delimiter."
            )
            (faults.sentences if unreadable is None else unreadable).append(sentence)
            continue
        full.append((line, (cells + [""] * len(columns))[: len(columns)]))
    faults.tell()
    return full


def _comma_meaning(
    file: str, columns: tuple[str, ...], records: list[tuple[int, list[str]]], number_columns: list[int]
) -> str:
    """Return "decimal", "thousands" or nothing. Raises InputError where a file means both or either."""
    # The whole file decides, over all columns of numbers: 1,500 alone may be either, 0,5 or 1,234,567
    # elsewhere tells.
    seen: dict[str, str] = {}
    for line, cells in records:
        for index in number_columns:
            kind = _comma_kind(cells[index] if index < len(cells) else "")
            seen.setdefault(
                kind, f'line {line}, column {columns[index]}, "{cells[index].strip()}"' if kind else ""
            )
    decimal, thousands = seen.get("decimal"), seen.get("thousands")
    point, either = seen.get("point"), seen.get("either")
    if decimal and (thousands or point):
        raise InputError(
            f"{file}: found a decimal comma ({decimal}) and a decimal point ({thousands or point}). "
            "One file may use one of them. Change the numbers to one form."
        )
    if either and not decimal and not thousands and not point:
        raise InputError(
            f"{file}, {either}: the comma may be a decimal comma or part of thousands. "
            "Nothing else in the file tells. Write the number with a decimal point."
        )
    return "decimal" if decimal else "thousands" if thousands or either else ""


def _comma_kind(cell: str) -> str:
    text = cell.translate(DASHES).strip()
    if "," not in text:
        return "point" if "." in text and NUMBER.fullmatch(text) else ""
    if THOUSANDS.fullmatch(text):
        sure = text.count(",") > 1 or "." in text
        return "thousands" if sure else "decimal" if text.lstrip("+-").startswith("0") else "either"
    return "decimal" if DECIMAL.fullmatch(text) else ""
