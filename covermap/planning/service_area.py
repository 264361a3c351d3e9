"""Where a business works: a polygon of the user's, or a circle around its depot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from covermap.grid.frame import Grid
from covermap.planning.polygons import polygons_only, read_layer

if TYPE_CHECKING:
    from covermap.scenario.settings import AreasSettings

CIRCLE_POINTS = 360


def read_service_area(settings: AreasSettings | None, grid: Grid) -> shapely.Geometry | None:
    """Return the service area in the grid's CRS; None where the scenario names none: all of the grid.

    A depot's circle is geodesic (WGS 84). Raises InputError if the layer is not usable.
    """
    if settings is None:
        return None
    if settings.service_area is not None:
        frame = read_layer(settings.service_area, grid, "service_area")
        polygons, _ = polygons_only(np.asarray(frame.geometry.array, dtype=object), settings.service_area)
        return shapely.union_all(polygons)
    if settings.depot is None or settings.radius_km is None:
        return None
    return circle(*settings.depot, settings.radius_km, grid)


def circle(longitude_deg: float, latitude_deg: float, radius_km: float, grid: Grid) -> shapely.Polygon:
    """Return the places within radius_km of a place, as a polygon of 360 corners in the grid's CRS."""
    azimuth_deg = np.linspace(0.0, 360.0, CIRCLE_POINTS, endpoint=False)
    ones = np.ones(CIRCLE_POINTS)
    longitudes, latitudes, _ = pyproj.Geod(ellps="WGS84").fwd(
        longitude_deg * ones, latitude_deg * ones, azimuth_deg, 1000.0 * radius_km * ones
    )
    outline = shapely.Polygon(np.c_[longitudes, latitudes])
    return gpd.GeoSeries([outline], crs="EPSG:4326").to_crs(grid.crs_wkt).iloc[0]
