"""The user's neighbourhoods: key, name and a valid outline each, in the grid's CRS."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.planning.polygons import polygons_only, read_layer

if TYPE_CHECKING:
    from covermap.scenario.settings import AreasSettings

OUTSIDE_ID, OUTSIDE_NAME = "", "Outside every neighbourhood"
OVERLAP_SHARE = 0.01  # judgement: two neighbourhoods that share more of the smaller one are told


def read_neighbourhoods(settings: AreasSettings, grid: Grid) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Return the neighbourhoods and sentences about what was repaired or looks wrong.

    Parameters
    ----------
    settings : with neighbourhoods (a polygon layer), and the names of its key and name columns; without
        a key the ids are 1, 2, ... in file order, without a name column the name is the id

    Returns
    -------
    GeoDataFrame in the grid's CRS: neighbourhood_id (text), neighbourhood_name (text), geometry; as
    many rows as the file has, an empty geometry stays an empty row. Names are kept as written.

    Raises
    ------
    InputError
        If the layer is not readable, a column is missing, a key is blank or stands twice, or an outline
        cannot be repaired with its area within 1 %.
    """
    if settings.neighbourhoods is None:
        raise InputError("[areas] names no neighbourhoods. Add neighbourhoods = a polygon layer.")
    path = Path(settings.neighbourhoods)
    frame = read_layer(path, grid, "neighbourhoods")
    polygons, warnings = polygons_only(np.asarray(frame.geometry.array, dtype=object), path)
    numbers = pd.Series([str(row + 1) for row in range(len(frame))])
    keys = _column(frame, settings.neighbourhood_key, "neighbourhood_key", path, numbers)
    names = _column(frame, settings.neighbourhood_name, "neighbourhood_name", path, keys)
    _check_keys(keys, settings.neighbourhood_key, path)
    table = gpd.GeoDataFrame(
        {"neighbourhood_id": keys, "neighbourhood_name": names.where(names != "", keys)},
        geometry=polygons,
        crs=grid.crs_wkt,
    )
    return table, warnings + _outline_warnings(table, path)


def with_outside(neighbourhoods: gpd.GeoDataFrame, grid: Grid) -> gpd.GeoDataFrame:
    """Return the neighbourhoods and, as a last row, what of the grid lies in none of them.

    Its id is empty; its outline is empty where the neighbourhoods cover the grid.
    """
    west, north = grid.x_min, grid.y_max
    whole = shapely.box(west, north - grid.rows * grid.cell_m, west + grid.cols * grid.cell_m, north)
    covered = shapely.union_all(np.asarray(neighbourhoods.geometry.array, dtype=object))
    parts = shapely.get_parts(shapely.difference(whole, covered))
    outside = shapely.multipolygons([part for part in parts if shapely.get_dimensions(part) == 2])
    row = gpd.GeoDataFrame(
        {"neighbourhood_id": [OUTSIDE_ID], "neighbourhood_name": [OUTSIDE_NAME]},
        geometry=[outside],
        crs=neighbourhoods.crs,
    )
    return pd.concat([neighbourhoods, row], ignore_index=True)


def _column(
    frame: gpd.GeoDataFrame, column: str | None, setting: str, path: Path, default: pd.Series
) -> pd.Series:
    """Return a column as text, '' where blank. Raises InputError if it is not there."""
    if column is None:
        return default
    if column not in frame.columns:
        columns = ", ".join(str(name) for name in frame.columns if name != frame.geometry.name) or "none"
        raise InputError(
            f"[areas] {setting} = {column!r}: {path.name} has no such column. It has: {columns}."
        )
    return pd.Series([_as_text(value) for value in frame[column]])


def _as_text(value: object) -> str:
    """Return a value as people write it: no .0 behind a whole number, '' for none."""
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _check_keys(keys: pd.Series, column: str | None, path: Path) -> None:
    """Raise InputError for a blank key or one that stands twice."""
    blank = np.flatnonzero(keys == "")
    if blank.size:
        raise InputError(
            f"{path.name}, feature {blank[0] + 1}, column {column}: no key. Give each neighbourhood its own."
        )
    twice = keys[keys.duplicated()]
    if len(twice):
        rows = ", ".join(str(row + 1) for row in np.flatnonzero(keys == twice.iloc[0]))
        raise InputError(
            f"{path.name}, column {column}: {twice.iloc[0]!r} stands in features {rows}. "
            "Give each neighbourhood its own key, or join its parts into one feature."
        )


def _outline_warnings(table: gpd.GeoDataFrame, path: Path) -> tuple[str, ...]:
    """Return sentences about empty and overlapping neighbourhoods."""
    found = []
    geometry = np.asarray(table.geometry.array, dtype=object)
    empty = np.flatnonzero(shapely.is_empty(geometry))
    if empty.size:
        found.append(
            f"{path.name}: neighbourhood {table.neighbourhood_id[empty[0]]!r} has no outline; it stays empty."
        )
    tree = shapely.STRtree(geometry)
    first, second = tree.query(geometry, predicate="overlaps")
    inner, outer = tree.query(geometry, predicate="within")
    first, second = np.r_[first, inner], np.r_[second, outer]
    once = first != second
    first, second = np.minimum(first, second)[once], np.maximum(first, second)[once]
    pairs = np.unique(np.c_[first, second], axis=0)
    if len(pairs):
        area = shapely.area(geometry)
        common = shapely.area(shapely.intersection(geometry[pairs[:, 0]], geometry[pairs[:, 1]]))
        large = pairs[common > OVERLAP_SHARE * np.minimum(area[pairs[:, 0]], area[pairs[:, 1]])]
        if len(large):
            one, other = table.neighbourhood_id[large[0][0]], table.neighbourhood_id[large[0][1]]
            found.append(
                f"{path.name}: {len(large)} pairs of neighbourhoods overlap, first {one!r} and {other!r}; "
                "homes in both are counted in both."
            )
    return tuple(found)
