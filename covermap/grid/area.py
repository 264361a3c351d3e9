"""What a map is of: polygons, a box in degrees or the elevation's extent; which cells stand inside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile, to_wgs84
from covermap.scenario.vector_file import lies_on_earth, made_valid, read_vector_file
from covermap.terrain.extent import covered_part

MOST_POLYGONS = 100_000

Rim = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Longitude and latitude of points around a shape, in order."""

Bounds = tuple[float, float, float, float]
"""West, south, east, north in degrees; east may pass 180."""

EDGE_POINTS = 65  # points along each side of a box in degrees, whose sides bend in the CRS
ROUNDING_M = 0.01  # a centre on the very edge is inside

if TYPE_CHECKING:
    from covermap.scenario.settings import GridSettings
    from covermap.terrain.layer import RasterLayer


def read_area(settings: GridSettings) -> geopandas.GeoSeries | None:
    """Return the polygons of the [grid] settings' area file, with their CRS; None where no area is named.

    Invalid polygons are made valid. Raises InputError when the file cannot be read, names no CRS or
    holds anything else than polygons.
    """
    path = settings.area
    if path is None:
        return None
    shapes = read_vector_file(path, "[grid] area", most=MOST_POLYGONS).geometry
    shapes = shapes[lies_on_earth(shapes)]
    if shapes.empty:
        raise InputError(f"[grid] area: {path} holds no shape. It needs at least one polygon.")
    kinds = sorted(set(shapes.geom_type) - {"Polygon", "MultiPolygon"})
    if kinds:
        raise InputError(f"[grid] area: {path} holds {', '.join(kinds)}. It must hold polygons only.")
    return made_valid(shapes)


def box_ring(bounds_deg: Bounds) -> Rim:
    """Return longitude and latitude of points around a box in degrees, counter-clockwise."""
    west, south, east, north = bounds_deg
    along_x, along_y = np.linspace(west, east, EDGE_POINTS), np.linspace(south, north, EDGE_POINTS)
    longitude = [along_x, np.full(EDGE_POINTS, east), along_x[::-1], np.full(EDGE_POINTS, west)]
    latitude = [np.full(EDGE_POINTS, south), along_y, np.full(EDGE_POINTS, north), along_y[::-1]]
    return np.concatenate(longitude), np.concatenate(latitude)


def map_outline(
    grid: Grid, settings: GridSettings, area: geopandas.GeoSeries | None, elevation: Sequence[RasterLayer]
) -> shapely.Geometry | None:
    """Return what the map is of as one shape in the grid's CRS; None where that is every square.

    That is the area's polygons. Without an area it is the elevation with the box asked for, if there is
    one: squares in the grid's corners that lie in neither are outside the map, not unknown.
    """
    if area is not None:
        return area_outline(grid, area)
    x_max, y_min = grid.x_min + grid.cols * grid.cell_m, grid.y_max - grid.rows * grid.cell_m
    frame = shapely.segmentize(
        shapely.box(grid.x_min, y_min, x_max, grid.y_max), max(grid.shape) * grid.cell_m / EDGE_POINTS
    )
    rings = covered_part(elevation, to_wgs84(grid.crs_wkt).transform(*shapely.get_coordinates(frame).T))
    sides = (settings.west, settings.south, settings.east, settings.north)
    west, south, east, north = (math.nan if side is None else side for side in sides)
    if not math.isnan(west):
        rings.append(box_ring((west, south, east + 360.0 if east < west else east, north)))
    to_grid = to_wgs84(grid.crs_wkt)
    shapes = [
        shapely.make_valid(shapely.Polygon(np.column_stack(to_grid.transform(*ring, direction="INVERSE"))))
        for ring in rings
    ]
    outline = shapely.buffer(shapely.union_all(shapes), ROUNDING_M, join_style="mitre")
    # Only centres are ever asked for, so an outline that covers all of them leaves nothing out: no mask is
    # needed.
    half = grid.cell_m / 2.0
    if outline.covers(shapely.box(grid.x_min + half, y_min + half, x_max - half, grid.y_max - half)):
        return None
    shapely.prepare(outline)
    return outline


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
