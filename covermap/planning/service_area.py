"""Where a business works: a polygon of the user's, or a circle around its depot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.planning.cell_fractions import tile_box
from covermap.planning.polygons import read_layer, usable_polygons

if TYPE_CHECKING:
    from covermap.scenario.settings import AreasSettings

CIRCLE_POINTS = 360
MOST_POLYGONS = 100_000


def read_service_area(
    settings: AreasSettings | None, grid: Grid
) -> tuple[shapely.Geometry | None, tuple[str, ...]]:
    """Return the service area in the grid's CRS, and sentences on what was repaired or left out.

    None where the scenario names none: all of the grid. A depot's circle is geodesic (WGS 84). Raises
    InputError if the layer is not usable, or no part of the area lies on the grid.
    """
    warnings: tuple[str, ...] = ()
    if settings is None:
        return None, ()
    if settings.service_area is not None:
        path, key = settings.service_area, "service_area"
        frame, unread = read_layer(path, grid, f"[areas] {key}", most=MOST_POLYGONS)
        polygons, _, told = usable_polygons(np.asarray(frame.geometry.array, dtype=object), path)
        area, warnings = shapely.union_all(polygons), (*unread, *told)
    elif settings.depot is not None and settings.radius_km is not None:
        key, area = "depot", circle(*settings.depot, settings.radius_km, grid)
    else:
        return None, ()
    if not shapely.intersects(area, tile_box(grid, grid.whole)):
        raise InputError(
            f"[areas] {key}: no part of the service area lies on the map. Correct it (a depot is longitude, "
            "then latitude), or the area under [grid]."
        )
    return area, warnings


def circle(longitude_deg: float, latitude_deg: float, radius_km: float, grid: Grid) -> shapely.Polygon:
    """Return the places within radius_km of a place, as a polygon of 360 corners in the grid's CRS."""
    azimuth_deg = np.linspace(0.0, 360.0, CIRCLE_POINTS, endpoint=False)
    ones = np.ones(CIRCLE_POINTS)
    longitudes, latitudes, _ = pyproj.Geod(ellps="WGS84").fwd(
        longitude_deg * ones, latitude_deg * ones, azimuth_deg, 1000.0 * radius_km * ones
    )
    outline = shapely.Polygon(np.c_[longitudes, latitudes])
    return gpd.GeoSeries([outline], crs="EPSG:4326").to_crs(grid.crs_wkt).iloc[0]
