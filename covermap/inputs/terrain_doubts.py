"""What the terrain leaves in doubt: masts beyond it, services lost with them, filed grounds that differ."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.grid.frame import Grid, to_wgs84
from covermap.inputs.stations_that_count import named_carriers, without_carriers
from covermap.scenario import Scenario, compare_ground
from covermap.terrain import Terrain, check_masts

SAMPLED_ROWS = 100  # of squares whose ground is looked at before a run; as many columns


def positions(scenario: Scenario) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of the stations in degrees."""
    stations = scenario.stations
    return np.array([s.longitude_deg for s in stations]), np.array([s.latitude_deg for s in stations])


def on_terrain(scenario: Scenario, terrain: Terrain) -> tuple[Scenario, list[str]]:
    """Return the scenario whose lists of everything hold what stands on known ground, and a sentence."""
    longitude_deg, latitude_deg = positions(scenario)
    beyond = np.isnan(terrain.elevation_m(longitude_deg, latitude_deg))
    beyond |= np.isnan(terrain.ground_m(longitude_deg, latitude_deg))
    narrowed = without_carriers(scenario, beyond)
    lists = zip(scenario.wanted, narrowed.wanted, strict=True)
    lost = {service for one, other in lists for service in set(one.services) - set(other.services)}
    if not lost:
        return narrowed, []
    names = sorted(lost)
    return narrowed, [
        f"{len(lost)} service(s) in reach (such as {', '.join(names[:3])}) are not in a list of "
        "everything: the elevation does not reach their masts. Add elevation there to have them predicted."
    ]


def squares_of_area(
    grid: Grid, area: shapely.Geometry | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of the middles of squares spread over the area, shape (n,), WGS 84."""
    col = np.unique(np.linspace(0, grid.cols - 1, SAMPLED_ROWS).astype(int))
    row = np.unique(np.linspace(0, grid.rows - 1, SAMPLED_ROWS).astype(int))
    x, y = (
        axis.ravel()
        for axis in np.meshgrid(
            grid.x_min + (col + 0.5) * grid.cell_m, grid.y_max - (row + 0.5) * grid.cell_m
        )
    )
    inside = np.ones(x.shape, dtype=bool) if area is None else shapely.contains_xy(area, x, y)
    longitude_deg, latitude_deg = to_wgs84(grid.crs_wkt).transform(x[inside], y[inside])
    return longitude_deg, latitude_deg


def _masts(scenario: Scenario) -> list[tuple[str, float, float, bool]]:
    """Return label, latitude, longitude and whether a list names a service there, one a position."""
    # Of lists that name their services alone: a service of a list of everything may be lost without a
    # refusal.
    wanted = named_carriers(scenario)
    places: dict[tuple[str, float, float], bool] = {}
    for index, station in enumerate(scenario.stations):
        key = (station.mast, station.latitude_deg, station.longitude_deg)
        places[key] = places.get(key, False) or index in wanted
    return [(*key, has_wanted) for key, has_wanted in places.items()]


def terrain_warnings(scenario: Scenario, terrain: Terrain) -> list[str]:
    """Return what the terrain leaves in doubt. Raises InputError where it does not reach a named mast."""
    warnings = [*check_masts(terrain, _masts(scenario))]
    if scenario.settings.prediction.model == "itm" and terrain.has_clutter:
        warnings.append(
            '[prediction] model = "itm" knows terrain alone: trees and buildings take '
            "nothing from fields at 10 m and above."
        )
    return [*warnings, *terrain.warnings, *_ground_warnings(scenario, terrain)]


def _ground_warnings(scenario: Scenario, terrain: Terrain) -> list[str]:
    """Return a sentence for each station whose filed ground differs from the terrain."""
    longitude_deg = np.array([station.longitude_deg for station in scenario.stations])
    latitude_deg = np.array([station.latitude_deg for station in scenario.stations])
    return compare_ground(scenario.stations, terrain.ground_m(longitude_deg, latitude_deg).tolist())
