"""The asked area: polygons read from a file, and which cells stand inside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.scenario.vector_file import read_vector_file

MOST_POLYGONS = 100_000

if TYPE_CHECKING:
    from covermap.scenario.settings import GridSettings


def read_area(settings: GridSettings) -> geopandas.GeoSeries | None:
    """Return the polygons of the [grid] settings' area file, with their CRS; None where no area is named.

    Invalid polygons are made valid. Raises InputError when the file cannot be read, names no CRS or
    holds anything else than polygons.
    """
    path = settings.area
    if path is None:
        return None
    shapes = read_vector_file(path, "[grid] area", most=MOST_POLYGONS).geometry
    shapes = shapes[~(shapes.isna() | shapes.is_empty)]
    shapes = shapes[np.isfinite(shapes.bounds).all(axis=1)]
    if shapes.empty:
        raise InputError(f"[grid] area: {path} holds no shape. It needs at least one polygon.")
    kinds = sorted(set(shapes.geom_type) - {"Polygon", "MultiPolygon"})
    if kinds:
        raise InputError(f"[grid] area: {path} holds {', '.join(kinds)}. It must hold polygons only.")
    return shapes.make_valid()


def area_outline(grid: Grid, area: geopandas.GeoSeries | None) -> shapely.Geometry | None:
    """Return the area as one shape in the grid's CRS, prepared for many questions; None where none is asked.

    area : polygons in any CRS, as read_area gives them. Edges in degrees are cut to 0.1 so that they bend.
    """
    if area is None:
        return None
    if area.crs.is_geographic:
        area = geopandas.GeoSeries(shapely.segmentize(area.values, 0.1), crs=area.crs)
    outline = shapely.union_all(area.to_crs(grid.crs).values)
    shapely.prepare(outline)
    return outline


def cells_inside(
    grid: Grid, outline: shapely.Geometry, row: NDArray[np.int64], col: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Return which cells, by row and column, have their centre inside the area."""
    x, y = grid.x_min + (col + 0.5) * grid.cell_m, grid.y_max - (row + 0.5) * grid.cell_m
    return np.asarray(shapely.contains_xy(outline, x, y))


def area_mask(grid: Grid, tile: Tile, outline: shapely.Geometry | None) -> NDArray[np.bool_]:
    """Return which cells of a tile have their centre inside the area, shape (rows, cols).

    outline : of area_outline(); None means that every cell is asked for
    """
    if outline is None:
        return np.ones((tile.rows, tile.cols), dtype=bool)
    x, y = grid.centres(tile)
    return shapely.contains_xy(outline, x, y)
