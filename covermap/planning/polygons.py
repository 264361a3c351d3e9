"""Layers of the user's polygons and points, read into the grid's CRS and repaired where that is safe."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.scenario.csv_dialect import column_name
from covermap.scenario.point_table import is_table, read_point_table
from covermap.scenario.vector_file import FARTHEST, MOST_FEATURES, read_vector_file

REPAIR_AREA_SHARE = 0.01  # a repair that moves more of the area than this is for a person


def read_layer(
    path: Path, grid: Grid | None, what: str, *, numbers: tuple[str, ...] = (), most: int = MOST_FEATURES
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Return the first layer of a vector file, or the points of a CSV, and sentences on rows left out.

    In the grid's CRS, or in its own without a grid. Only a CSV may be empty.

    numbers : columns of a CSV that hold numbers; most : features it may have
    Raises InputError if it is not readable, has no CRS or too many features; `what` names it in the message.
    """
    if is_table(path):
        frame, warnings = read_point_table(path, what, numbers)
    else:
        frame, warnings = read_vector_file(path, what, most=most), ()
    return (frame if grid is None else frame.to_crs(grid.crs_wkt)), warnings


def find_column(frame: gpd.GeoDataFrame, name: str, key: str, path: Path) -> str:
    """Return a column's name in a layer; a CSV's columns are found whatever their capital letters.

    Raises InputError, naming the columns there are, if it has none of that name.
    """
    if name in frame.columns:
        return name
    if is_table(path) and column_name(name) in frame.columns:
        return column_name(name)
    columns = ", ".join(str(column) for column in frame.columns if column != frame.geometry.name) or "none"
    raise InputError(f"{key} = {name!r}: {path.name} has no such column. Its columns are: {columns}.")


def usable_places(geometry: NDArray[Any]) -> NDArray[np.bool_]:
    """Return which geometries lie somewhere: not missing, not empty, all coordinates on Earth."""
    return np.asarray((np.abs(shapely.bounds(geometry)) <= FARTHEST).all(axis=-1))


def usable_polygons(
    geometry: NDArray[Any], path: Path
) -> tuple[NDArray[Any], NDArray[np.int64], tuple[str, ...]]:
    """Return the usable features as valid polygons, their row numbers, and sentences on all others.

    Lines and points inside collections go. A feature is left out, and said to be, where it has no geometry,
    no polygon, or an outline that a repair would change by 1 % of its area or more.

    Raises InputError, with the first reason, if no feature is usable.
    """
    kept: list[int] = []
    polygons: list[shapely.Geometry] = []
    repaired: list[int] = []
    left_out: list[str] = []
    # One by one, not as an array: a single shape that no repair can mend would otherwise stop all.
    for row, (shape, placed) in enumerate(zip(geometry, usable_places(geometry), strict=True)):
        try:
            polygon, reason = _valid_polygon(shape) if placed else (None, "it has no geometry")
        except shapely.errors.ShapelyError as error:
            polygon, reason = None, f"invalid beyond repair ({error})"
        if polygon is None:
            left_out.append(f"feature {row + 1}: {reason}")
            continue
        if not shape.is_valid:
            repaired.append(row + 1)
        kept.append(row)
        polygons.append(polygon)
    if not kept:
        first = left_out[0] if left_out else "it has no features"
        raise InputError(f"{path.name}: no polygon in it can be used ({first}). Give a layer of polygons.")
    found = np.empty(len(polygons), dtype=object)
    found[:] = polygons
    return found, np.array(kept), _told(path, len(geometry), repaired, left_out)


def _told(path: Path, count: int, repaired: list[int], left_out: list[str]) -> tuple[str, ...]:
    warnings = []
    if repaired:
        listed = ", ".join(str(row) for row in repaired[:5]) + (" and more" if len(repaired) > 5 else "")
        warnings.append(f"{path.name}: {len(repaired)} invalid polygons were repaired (feature {listed}).")
    if left_out:
        more = f" The next: {'; '.join(left_out[1:3])}." if len(left_out) > 1 else ""
        warnings.append(
            f"{path.name}: {len(left_out)} of {count} features cannot be used and are left out. "
            f"The first, {left_out[0]}.{more}"
        )
    return tuple(warnings)


def _valid_polygon(shape: shapely.Geometry) -> tuple[shapely.Geometry | None, str]:
    """Return one feature as a valid polygon or multipolygon, or None and why it cannot be one."""
    whole = shape if shape.is_valid else shapely.make_valid(shape)
    parts = [part for part in _parts(whole) if shapely.get_dimensions(part) == 2]
    if not parts:
        return None, f"it is a {shape.geom_type}, not a polygon"
    polygon = parts[0] if len(parts) == 1 else shapely.union_all(parts)
    # A bow tie drawn twice over itself can lose half of its area in a repair without a word.
    before, after = _outline_area(shape), polygon.area
    if not shape.is_valid and abs(after - before) >= REPAIR_AREA_SHARE * max(before, after):
        return None, (
            f"invalid ({shapely.is_valid_reason(shape)}); a repair would change its area from "
            f"{before / 1e6:.3g} to {after / 1e6:.3g} km2, so repair it in a GIS and look at the result"
        )
    if not polygon.area > 0.0:
        return None, "its area is 0"
    return polygon, ""


def _outline_area(shape: shapely.Geometry) -> float:
    """Return the area as drawn, holes taken off, whether rings cross or not."""
    return float(sum(part.area for part in _parts(shape) if shapely.get_dimensions(part) == 2))


def _parts(shape: shapely.Geometry) -> list[shapely.Geometry]:
    """Return the single geometries inside any nesting of collections."""
    if hasattr(shape, "geoms"):
        return [single for part in shape.geoms for single in _parts(part)]
    return [shape]
