"""Functions of the public door that need tables or terrain: for someone at a Python prompt."""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import numpy as np

from covermap.errors import InputError
from covermap.grid.point_field import point_field
from covermap.scenario.records import Scenario, Station
from covermap.terrain import Terrain, read_terrain


def field_at(
    scenario: Scenario,
    points: gpd.GeoSeries | gpd.GeoDataFrame,
    *,
    height_m: float = 10.0,
    time_percent: float = 50.0,
    exact: bool = True,
) -> gpd.GeoDataFrame:
    """Return the field each station makes at points, by the exact path to each.

    Parameters
    ----------
    scenario : Scenario
        From read_scenario.
    points : GeoSeries or GeoDataFrame
        Points in any CRS.
    height_m : float
        Mount above ground; under 10 m the field at 10 m less ITU-R P.2108-1 section 3.1. [m]
    time_percent : float
        Share of time for which the field is exceeded, 1 to 50. [%]
    exact : bool
        Must be True; values of the grid's cells are read with open_coverage().at().

    Returns
    -------
    GeoDataFrame
        One row a point and station, point order then file order: point (0-based), station_id,
        field_dbuvm (ERP and pattern in, no variability; NaN unknown), path_loss_db, distance_km,
        azimuth_deg (at the point towards the mast), status (ok, near, unknown), geometry as given.

    Raises
    ------
    InputError
        If points have no CRS or are not points, or a number is out of range.
    """
    if not exact:
        raise InputError("exact is False. Values of cells are read with open_coverage(output).at(lat, lon).")
    if not 0.5 <= height_m <= 300.0:
        raise InputError(f"height_m is {height_m}; mounts stand 0.5 to 300 m above ground.")
    if not 1.0 <= time_percent <= 50.0:
        raise InputError(f"time_percent is {time_percent}; ITU-R P.1812-8 answers 1 to 50 %.")
    geometry = points.geometry
    if geometry.crs is None:
        raise InputError("points have no CRS. Set it with points.set_crs(...).")
    if not (geometry.geom_type == "Point").all():
        raise InputError(f"points hold {sorted(set(geometry.geom_type))}; only points have one field.")
    terrain = read_terrain(scenario.settings)
    rows: list[dict[str, Any]] = []
    for index, place in enumerate(geometry.to_crs("EPSG:4326")):
        for station in scenario.stations:
            row = _field_of(scenario, terrain, station, place.y, place.x, height_m, time_percent)
            rows.append({"point": index, **row})
    repeated = geometry.iloc[np.repeat(np.arange(len(geometry)), len(scenario.stations))]
    return gpd.GeoDataFrame(rows, geometry=repeated.to_numpy(), crs=geometry.crs)


def _field_of(
    scenario: Scenario,
    terrain: Terrain,
    station: Station,
    latitude_deg: float,
    longitude_deg: float,
    height_m: float,
    time_percent: float,
) -> dict[str, Any]:
    field = point_field(scenario, terrain, station, latitude_deg, longitude_deg, height_m, time_percent)
    return {
        "station_id": station.station_id,
        "field_dbuvm": field.field_dbuvm,
        "path_loss_db": field.path_loss_db,
        "distance_km": field.profile.length_km,
        "azimuth_deg": field.profile.back_azimuth_deg,
        "status": "unknown" if math.isnan(field.field_dbuvm) else "near" if field.near else "ok",
    }
