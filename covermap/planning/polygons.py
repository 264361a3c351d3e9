"""Layers of the user's polygons and points, read into the grid's CRS and repaired where that is safe."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid

REPAIR_AREA_SHARE = 0.01  # a repair that moves more of the area than this is for a person


def read_layer(path: Path, grid: Grid | None, what: str) -> gpd.GeoDataFrame:
    """Return the first layer of a vector file in the grid's CRS, or in its own without a grid.

    Raises InputError if it is not readable, empty or has no CRS; `what` names it in the message.
    """
    try:
        frame = gpd.read_file(path, engine="pyogrio")
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise InputError(
            f"{path.name} ({what}): not readable ({error}). Give a vector layer GDAL reads."
        ) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputError(f"{path.name} ({what}): it has no geometry. Give a layer of points or polygons.")
    if len(frame) == 0:
        raise InputError(f"{path.name} ({what}): it has no features. Give a layer with at least one.")
    if frame.crs is None:
        raise InputError(
            f"{path.name} ({what}): no CRS is declared, and none is guessed. Declare it in the file."
        )
    return frame if grid is None else frame.to_crs(grid.crs_wkt)


def polygons_only(geometry: NDArray[Any], path: Path) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Return geometries as valid polygons, and a sentence when some were repaired.

    Lines and points inside collections go; missing geometries become empty. Raises InputError if a
    repair would change an area by 1 % or more, or a feature holds no polygon at all.
    """
    polygons = np.empty(len(geometry), dtype=object)
    repaired = []
    for row, shape in enumerate(geometry):
        if shape is None or shape.is_empty:
            polygons[row] = shapely.Polygon()
            continue
        if not shape.is_valid:
            repaired.append(row + 1)
        polygons[row] = _valid_polygon(shape, f"{path.name}, feature {row + 1}")
    if not repaired:
        return polygons, ()
    listed = ", ".join(str(row) for row in repaired[:5]) + (" and more" if len(repaired) > 5 else "")
    return polygons, (f"{path.name}: {len(repaired)} invalid polygons were repaired (feature {listed}).",)


def _valid_polygon(shape: shapely.Geometry, where: str) -> shapely.Geometry:
    """Return one feature as a valid polygon or multipolygon."""
    whole = shape if shape.is_valid else shapely.make_valid(shape)
    parts = [part for part in _parts(whole) if shapely.get_dimensions(part) == 2]
    if not parts:
        raise InputError(f"{where}: it is a {shape.geom_type}, not a polygon. Give a layer of polygons.")
    polygon = parts[0] if len(parts) == 1 else shapely.union_all(parts)
    before, after = _outline_area(shape), polygon.area
    if not shape.is_valid and abs(after - before) >= REPAIR_AREA_SHARE * max(before, after):
        reason = shapely.is_valid_reason(shape)
        raise InputError(
            f"{where}: invalid ({reason}); a repair would change its area from {before / 1e6:.3g} to "
            f"{after / 1e6:.3g} km2. Repair it in a GIS and look at the result."
        )
    return polygon


def _outline_area(shape: shapely.Geometry) -> float:
    """Return the area as drawn, holes taken off, whether rings cross or not."""
    return float(sum(part.area for part in _parts(shape) if shapely.get_dimensions(part) == 2))


def _parts(shape: shapely.Geometry) -> list[shapely.Geometry]:
    """Return the single geometries inside any nesting of collections."""
    if hasattr(shape, "geoms"):
        return [single for part in shape.geoms for single in _parts(part)]
    return [shape]
