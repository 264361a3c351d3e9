"""The user's neighbourhoods: key, name and a valid outline each, in the grid's CRS."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from covermap.errors import Faults, InputError
from covermap.grid.frame import Grid
from covermap.planning.cell_fractions import tile_box
from covermap.planning.polygons import find_column, read_layer, usable_polygons
from covermap.tables.plain_text import with_blanks

if TYPE_CHECKING:
    from covermap.scenario.settings import AreasSettings

OUTSIDE_ID, OUTSIDE_NAME = "", "Outside every neighbourhood"
MOST_NEIGHBOURHOODS = 100_000
MOST_TOLD = 5  # of one kind of fault
OVERLAP_SHARE = 0.01  # judgement: two neighbourhoods that share more of the smaller one are told


def read_neighbourhoods(settings: AreasSettings, grid: Grid) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Return the neighbourhoods and sentences about what was repaired or looks wrong.

    Parameters
    ----------
    settings : with neighbourhoods (a polygon layer), and the names of its key and name columns; without
        a key the ids are 1, 2, ... in file order, without a name column the name is the id

    Returns
    -------
    GeoDataFrame in the grid's CRS: neighbourhood_id (text), neighbourhood_name (text), geometry; a row a
    feature of the file that can be used. Left out are those without a key or an outline, and those whose
    outline cannot be repaired with its area within 1 %. Names are kept as written.

    Raises
    ------
    InputError
        If the layer is not readable, a column is missing, a key stands twice, no feature can be used, or all
        lie outside the grid.
    """
    if settings.neighbourhoods is None:
        raise InputError("[areas] names no neighbourhoods. Add neighbourhoods = a polygon layer.")
    path = Path(settings.neighbourhoods)
    frame, unread = read_layer(path, grid, "[areas] neighbourhoods", most=MOST_NEIGHBOURHOODS)
    numbers = pd.Series([str(row + 1) for row in range(len(frame))])
    keys = _column(frame, settings.neighbourhood_key, "neighbourhood_key", path, numbers)
    names = _column(frame, settings.neighbourhood_name, "neighbourhood_name", path, keys)
    polygons, rows, warnings = usable_polygons(np.asarray(frame.geometry.array, dtype=object), path)
    table = gpd.GeoDataFrame(
        {
            "neighbourhood_id": keys[rows].array,
            "neighbourhood_name": names.where(names != "", keys)[rows].array,
        },
        geometry=polygons,
        crs=grid.crs_wkt,
    )
    table, no_key = _with_keys(table, rows, settings.neighbourhood_key, path)
    return table, (*unread, *warnings, *no_key, *_off_the_map(table, grid, path), *_overlaps(table, path))


def with_outside(neighbourhoods: gpd.GeoDataFrame, grid: Grid) -> gpd.GeoDataFrame:
    """Return the neighbourhoods and, as a last row, what of the grid lies in none of them.

    Its id is empty; its outline is empty where the neighbourhoods cover the grid.
    """
    west, north = grid.x_min, grid.y_max
    whole = shapely.box(west, north - grid.rows * grid.cell_m, west + grid.cols * grid.cell_m, north)
    covered = shapely.union_all(np.asarray(neighbourhoods.geometry.array, dtype=object))
    parts = shapely.get_parts(shapely.difference(whole, covered))
    # Differences leave slivers of lines along common edges: only areas stay.
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
    found = find_column(frame, column, f"[areas] {setting}", path)
    return pd.Series([as_text(value) for value in frame[found]])


def as_text(value: object) -> str:
    """Return a value as people write it: no .0 behind a whole number, '' for none.

    A control character, which no output can write and nobody sees, is a blank.
    """
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return with_blanks(str(value)).strip()


def _with_keys(
    table: gpd.GeoDataFrame, rows: NDArray[np.int64], column: str | None, path: Path
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Return the neighbourhoods that have a key, and a sentence on the others.

    rows : of the file, one a neighbourhood
    Raises InputError if none has, or two have the same.
    """
    keys = table["neighbourhood_id"]
    blank = np.flatnonzero(keys == "")
    if blank.size == len(keys):
        raise InputError(
            f"{path.name}, column {column}: it is blank in every feature. Name the column of keys."
        )
    faults = Faults()
    for key in keys[keys.duplicated() & (keys != "")].unique()[:MOST_TOLD]:
        features = ", ".join(str(row + 1) for row in rows[keys == key][:MOST_TOLD])
        faults.sentences.append(
            f"{path.name}, column {column}: {key!r} stands in features {features}. "
            "Give each neighbourhood its own key, or join its parts into one feature."
        )
    faults.tell()
    if not blank.size:
        return table, ()
    first = rows[blank[0]] + 1
    return table[keys != ""].reset_index(drop=True), (
        f"{path.name}: {blank.size} of {len(keys)} features have no key in column {column} and are left out "
        f"(the first is feature {first}); their homes stand outside every neighbourhood.",
    )


def _off_the_map(table: gpd.GeoDataFrame, grid: Grid, path: Path) -> tuple[str, ...]:
    """Return a sentence on neighbourhoods that no part of the grid touches. InputError where all are."""
    touching = shapely.intersects(np.asarray(table.geometry.array, dtype=object), tile_box(grid, grid.whole))
    off = int((~touching).sum())
    if off == len(table):
        raise InputError(
            f"{path.name} ([areas] neighbourhoods): all {off} of them lie outside the map. Is it the "
            "layer of this area, in the CRS the file declares? Correct the file, or the area under [grid]."
        )
    if not off:
        return ()
    return (f"{path.name}: {off} of {len(table)} neighbourhoods lie outside the map and stay empty.",)


def _overlaps(table: gpd.GeoDataFrame, path: Path) -> tuple[str, ...]:
    """Return a sentence about overlapping neighbourhoods."""
    found = []
    geometry = np.asarray(table.geometry.array, dtype=object)
    tree = shapely.STRtree(geometry)
    first, second = tree.query(geometry, predicate="overlaps")
    # "overlaps" does not hold for one that lies whole inside another
    inner, outer = tree.query(geometry, predicate="within")
    first, second = np.r_[first, inner], np.r_[second, outer]
    once = first != second
    # each pair once, whichever way round it was found
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
