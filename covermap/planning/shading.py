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
from covermap.grid.exact_path import GEODESIC, ground_line
from covermap.grid.frame import Tile
from covermap.planning.carriers import carrying_station_of
from covermap.planning.results import Results, read_cells, some_are_enough
from covermap.planning.tally import FIRST_ROOFTOP_TIER
from covermap.propagation import Profile, ridges
from covermap.scenario.records import Station
from covermap.terrain import Terrain

MOST_PATHS = 800  # exact paths a list, a few milliseconds each; beyond, a sample stands for all
BIN_M = 500.0  # places of one ridge nearer than this are one piece of it
RX_HEIGHT_M = 10.0
SHORTEST_KM = 0.25  # the model's limit
COLUMNS = ("ridge_id", "wanted_list", "station_id", "service", "above_line_m", "homes_shaded")


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

    For each such cell the path from the station that carries its deciding service (of a list of which some
    are enough, the weakest with its plan) is looked at; its ridge with the largest nu takes the cell's homes.
    Pieces that touch are one ridge, whose point stands where most homes cross it. No rows without homes.
    Columns: COLUMNS.
    """
    shades = _shades(results, stations, terrain, list_name, dn) if results.has("homes") else []
    rows = []
    for key in dict.fromkeys((shade.service, shade.station_id) for shade in shades):
        rows += _joined([shade for shade in shades if (shade.service, shade.station_id) == key])
    rows.sort(key=lambda row: -row[1])
    found = {
        "ridge_id": [f"{list_name}-{number}" for number in range(1, len(rows) + 1)],
        "wanted_list": [list_name] * len(rows),
        "station_id": [shade.station_id for shade, _ in rows],
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
    row, col, homes = _far_homes(results, list_name)
    kind = "limiting_service" if some_are_enough(results, list_name) else "deciding_service"
    deciding = read_cells(results, f"{list_name}/{kind}", row, col)
    longitude_deg, latitude_deg = grid.lonlat_of(row, col)
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)
    by_id = {station.station_id: station for station in stations}
    found = []
    for index, service in enumerate(results.services(list_name)):
        rows = results.run.get("carriers", {}).get(service, [])
        places = np.flatnonzero(deciding == index)
        if not rows or not places.size:
            continue
        carrying = carrying_station_of(results, service, row[places], col[places])
        for place, carrier in zip(places, carrying, strict=True):
            station = by_id[rows[int(carrier)]["station_id"]]
            spot = _highest(station, terrain, float(latitude_deg[place]), float(longitude_deg[place]), dn)
            if spot is not None:
                x, y = to_grid.transform(spot[0], spot[1])
                found.append(_Shade(service, station.station_id, x, y, spot[2], float(homes[place])))
    return found


def _far_homes(
    results: Results, list_name: str
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return row, col and homes of at most MOST_PATHS cells with homes of tiers 6 to 8.

    Where there are more, those taken lie evenly over the grid and their homes stand for all.
    """
    bands = list(results.grid.bands())
    sizes, total = [], 0.0
    for band in bands:
        cells, homes = _far_homes_in(results, list_name, band)
        sizes.append(cells.size)
        total += float(homes.sum())
    count = sum(sizes)
    kept = np.arange(count)
    if count > MOST_PATHS:
        # evenly in the order of the grid, not at random: the same result gives the same ridges
        kept = np.linspace(0, count - 1, MOST_PATHS).round().astype(np.int64)
    found = []
    for band, size, first in zip(bands, sizes, np.cumsum([0, *sizes]), strict=False):
        mine = kept[(kept >= first) & (kept < first + size)] - first
        if mine.size:
            cells, homes = _far_homes_in(results, list_name, band)
            row, col = np.divmod(cells[mine], band.cols)
            found.append(np.stack([row + band.row, col, homes[mine]]))
    row, col, homes = np.concatenate(found, axis=1) if found else np.zeros((3, 0))
    scale = total / homes.sum() if count > MOST_PATHS else 1.0
    return row.astype(np.int64), col.astype(np.int64), homes * scale


def _far_homes_in(
    results: Results, list_name: str, tile: Tile
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the cells of a tile with homes of tiers 6 to 8, as indices into it, and their homes."""
    homes = np.nan_to_num(results.read("homes", tile).astype(np.float64)).ravel()
    tier = results.read(f"{list_name}/tier", tile).ravel()
    cells = np.flatnonzero((homes > 0) & (tier > FIRST_ROOFTOP_TIER) & (tier <= TIER_NOT_PROMISED))
    return cells, homes[cells]


def _highest(
    station: Station, terrain: Terrain, latitude_deg: float, longitude_deg: float, dn: float
) -> tuple[float, float, float] | None:
    """Return longitude, latitude and height above the line of the ridge that shades most; None without."""
    path = ground_line(terrain, station.latitude_deg, station.longitude_deg, latitude_deg, longitude_deg)
    distance_km = path.along_m / 1000.0
    if distance_km[-1] < SHORTEST_KM or np.isnan(path.ground_m).any():
        return None
    found = ridges(
        Profile(distance_km, path.ground_m),
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
        station.longitude_deg, station.latitude_deg, path.azimuth_deg % 360.0, 1000.0 * worst.distance_km
    )
    return float(longitude), float(latitude), worst.height_above_line_m


def _joined(shades: list[_Shade]) -> list[tuple[_Shade, float]]:
    """Return ridges of one station: the shade with most homes of each group of touching pieces, all homes."""
    # Bins and labels, not distances between all pairs: pieces in touching bins are one ridge.
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
