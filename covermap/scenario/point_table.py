"""Reads a CSV of places (latitude_deg, longitude_deg and whatever else) as a layer of points."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError, grouped
from covermap.scenario.columns import OTHER_NAMES
from covermap.scenario.coordinates import HIGHEST_LATITUDE_DEG, read_place
from covermap.scenario.csv_dialect import column_name, read_csv_table
from covermap.scenario.suggestions import meant_for
from covermap.scenario.text_table import Row, TextTable, as_number

if TYPE_CHECKING:
    import geopandas

TABLE_SUFFIXES = (".csv", ".txt", ".tsv")
LATITUDE, LONGITUDE, POSITION = "latitude_deg", "longitude_deg", "position"


def is_table(path: Path) -> bool:
    """Return whether a file is read as a table of text, by its name."""
    return path.suffix.lower() in TABLE_SUFFIXES


def read_point_table(
    path: Path, what: str, numbers: Sequence[str] = ()
) -> tuple[geopandas.GeoDataFrame, tuple[str, ...]]:
    """Return the rows of a CSV as points in WGS 84, and sentences on rows left out.

    what : the key that names the file, for messages
    numbers : columns that hold numbers; they come as float, NaN where a cell is none. Others come as text.

    Column names are compared in lower case, blanks as underscores. A header without rows gives no points.
    Raises InputError if the file cannot be read, has no position columns, or no row has a position.
    """
    numeric = {column_name(name) for name in numbers}
    left_out: list[str] = []
    table = read_csv_table(path, lambda name: _is_position(name) or name in numeric, left_out)
    count = len(table.rows) + len(left_out)
    latitude_deg, longitude_deg = _positions(table, _position_columns(table, what), left_out)
    placed = np.flatnonzero(np.isfinite(latitude_deg))
    warnings = list(table.warnings)
    if left_out:
        if not placed.size:
            few = "\n  ".join(grouped(left_out)[:3])
            raise InputError(f"{path.name} ({what}): none of its {count} rows has a position.\n  {few}")
        warnings.append(f"{path.name}: {len(left_out)} of {count} rows are left out. {left_out[0]}")
    frame = _as_points(
        table, [table.rows[row] for row in placed], latitude_deg[placed], longitude_deg[placed], numeric
    )
    return frame, tuple(warnings)


def _as_points(
    table: TextTable, rows: Sequence[Row], latitude_deg: NDArray, longitude_deg: NDArray, numeric: set[str]
) -> geopandas.GeoDataFrame:
    """Return rows as a layer of points in WGS 84; numeric columns as float."""
    import geopandas  # heavy

    columns = {
        name: [as_number(row.text(name), row.comma) if name in numeric else row.text(name) for row in rows]
        for name in table.columns
        if not _is_position(name)
    }
    points = geopandas.points_from_xy(longitude_deg, latitude_deg)
    return geopandas.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")


def _is_position(column: str) -> bool:
    return OTHER_NAMES.get(column, column) in (LATITUDE, LONGITUDE)


def _position_columns(table: TextTable, what: str) -> dict[str, str]:
    """Return which columns hold positions. Raises InputError where one is missing or twice."""
    if POSITION in table.columns and not any(_is_position(column) for column in table.columns):
        return {POSITION: POSITION}
    found = {}
    for wanted in (LATITUDE, LONGITUDE):
        columns = [column for column in table.columns if OTHER_NAMES.get(column, column) == wanted]
        if len(columns) != 1:
            near = meant_for([wanted], table.columns)
            right = f"no column {wanted}.{near}" if not columns else f"both {' and '.join(columns)}."
            raise InputError(
                f"{table.file} ({what}), header: found {', '.join(table.columns[:20])}; {right}\n"
                "  A table of places has latitude_deg and longitude_deg, each once, or position. "
                "Correct the header."
            )
        found[wanted] = columns[0]
    return found


def _positions(
    table: TextTable, columns: dict[str, str], left_out: list[str]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return latitude and longitude of each row, NaN where there is none: its sentence goes to left_out."""
    # Plain numbers in one go: a list of a million addresses is read by columns, the odd cell by itself below.
    latitude_deg, longitude_deg = (
        np.array(
            [as_number(row.text(columns.get(name, "")), row.comma) for row in table.rows], dtype=np.float64
        )
        for name in (LATITUDE, LONGITUDE)
    )
    plain = (np.abs(latitude_deg) <= HIGHEST_LATITUDE_DEG) & (np.abs(longitude_deg) <= 180.0)
    plain &= (latitude_deg != 0.0) | (longitude_deg != 0.0)
    for index in np.flatnonzero(~plain):
        row = table.rows[index]
        cells = {name: row.cells[column] for name, column in columns.items()}
        try:
            place = _written_otherwise(Row(row.file, row.place, cells, row.comma))
        except InputError as error:
            left_out.append(str(error))
            place = np.nan, np.nan
        latitude_deg[index], longitude_deg[index] = place
    return latitude_deg, longitude_deg


def _written_otherwise(row: Row) -> tuple[float, float]:
    """Return latitude and longitude of a row that are no plain numbers. Raises InputError."""
    return read_place(row, [])
