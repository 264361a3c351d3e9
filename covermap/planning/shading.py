"""Ridges ranked by the homes they shade from the station that decides there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pyproj
from numpy.typing import NDArray
from scipy import ndimage

from covermap.constants import TIER_NOT_PROMISED
from covermap.grid.exact_path import GEODESIC, point_profile
from covermap.planning.carriers import carrying_station
from covermap.planning.results import Results
from covermap.planning.tally import FIRST_ROOFTOP_TIER
from covermap.propagation import Profile, ridges
from covermap.scenario.records import Station
from covermap.terrain import Terrain

MOST_PATHS = 800  # exact paths a list, a few milliseconds each; beyond, a sample stands for all
BIN_M = 500.0  # places of one ridge nearer than this are one piece of it
RX_HEIGHT_M = 10.0
SHORTEST_KM = 0.25  # the model's limit
COLUMNS = ("ridge_id", "service", "above_line_m", "homes_shaded")


@dataclass(frozen=True)
class _Shade:
    """One cell's homes behind one ridge: where it stands in the grid's CRS and how far it rises. [m]"""

    service: str
    station_id: str
    x: float
    y: float
    above_line_m: float
    homes: float


def shading_ridges(
    results: Results, stations: Sequence[Station], terrain: Terrain, list_name: str, dn: float = 45.0
) -> gpd.GeoDataFrame:
    """Return the ridges that shade homes of tiers 6 to 8, most homes first, as points in the grid's CRS.

    For each such cell the path from the station that carries its deciding service is looked at; its ridge
    with the largest nu takes the cell's homes. Pieces that touch are one ridge, whose point stands where
    most homes cross it. No rows without homes. Columns: COLUMNS.
    """
    shades = _shades(results, stations, terrain, list_name, dn) if results.has("homes") else []
    rows = []
    for key in dict.fromkeys((shade.service, shade.station_id) for shade in shades):
        rows += _joined([shade for shade in shades if (shade.service, shade.station_id) == key])
    rows.sort(key=lambda row: -row[1])
    found = {
        "ridge_id": [f"{list_name}-{number}" for number in range(1, len(rows) + 1)],
        "service": [shade.service for shade, _ in rows],
        "above_line_m": [round(shade.above_line_m, 1) for shade, _ in rows],
        "homes_shaded": [round(homes, 1) for _, homes in rows],
    }
    points = gpd.points_from_xy([shade.x for shade, _ in rows], [shade.y for shade, _ in rows])
    return gpd.GeoDataFrame(found, geometry=points, crs=results.grid.crs_wkt)


def _shades(
    results: Results, stations: Sequence[Station], terrain: Terrain, list_name: str, dn: float
) -> list[_Shade]:
    grid = results.grid
    homes = np.nan_to_num(results.read("homes").astype(np.float64)).ravel()
    tier = results.read(f"{list_name}/tier").ravel()
    cells = np.flatnonzero((homes > 0) & (tier > FIRST_ROOFTOP_TIER) & (tier <= TIER_NOT_PROMISED))
    cells, scale = _sampled(cells, homes)
    deciding = results.read(f"{list_name}/deciding_service").ravel()[cells]
    longitude_deg, latitude_deg = (values.ravel()[cells] for values in grid.centres_lonlat(grid.whole))
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)
    by_id = {station.station_id: station for station in stations}
    found = []
    for index, service in enumerate(results.services(list_name)):
        rows = results.run.get("carriers", {}).get(service, [])
        if not rows:
            continue
        carrying = carrying_station(results, service, grid.whole)[cells]
        for place in np.flatnonzero(deciding == index):
            station = by_id[rows[int(carrying[place])]["station_id"]]
            spot = _highest(station, terrain, float(latitude_deg[place]), float(longitude_deg[place]), dn)
            if spot is not None:
                x, y = to_grid.transform(spot[0], spot[1])
                count = float(homes[cells[place]]) * scale
                found.append(_Shade(service, station.station_id, x, y, spot[2], count))
    return found


def _sampled(cells: NDArray[np.int64], homes: NDArray[np.float64]) -> tuple[NDArray[np.int64], float]:
    """Return at most MOST_PATHS of the cells, evenly over the grid, and what each home of them stands for."""
    if cells.size <= MOST_PATHS:
        return cells, 1.0
    kept = cells[np.linspace(0, cells.size - 1, MOST_PATHS).round().astype(np.int64)]
    return kept, float(homes[cells].sum() / homes[kept].sum())


def _highest(
    station: Station, terrain: Terrain, latitude_deg: float, longitude_deg: float, dn: float
) -> tuple[float, float, float] | None:
    """Return longitude, latitude and height above the line of the ridge that shades most; None without."""
    path = point_profile(terrain, station.latitude_deg, station.longitude_deg, latitude_deg, longitude_deg)
    if path.length_km < SHORTEST_KM or np.isnan(path.ground_m).any():
        return None
    found = ridges(
        Profile(path.distance_km, path.ground_m),
        frequency_mhz=station.frequency_mhz,
        tx_height_m=station.antenna_height_m,
        rx_height_m=RX_HEIGHT_M,
        dn=dn,
    )
    in_the_way = [ridge for ridge in found if ridge.height_above_line_m > 0]
    if not in_the_way:
        return None
    worst = max(in_the_way, key=lambda ridge: ridge.nu)
    longitude, latitude, _ = GEODESIC.fwd(
        station.longitude_deg, station.latitude_deg, path.azimuth_deg, 1000.0 * worst.distance_km
    )
    return float(longitude), float(latitude), worst.height_above_line_m


def _joined(shades: list[_Shade]) -> list[tuple[_Shade, float]]:
    """Return ridges of one station: the shade with most homes of each group of touching pieces, all homes."""
    col = np.array([int(shade.x // BIN_M) for shade in shades])
    row = np.array([int(shade.y // BIN_M) for shade in shades])
    row, col = row - row.min(), col - col.min()
    filled = np.zeros((row.max() + 1, col.max() + 1), dtype=bool)
    filled[row, col] = True
    labels, count = ndimage.label(filled, structure=np.ones((3, 3)))
    found = []
    for number in range(1, count + 1):
        members = [shade for shade, label in zip(shades, labels[row, col], strict=True) if label == number]
        found.append((max(members, key=lambda shade: shade.homes), sum(shade.homes for shade in members)))
    return found
