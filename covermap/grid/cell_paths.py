"""The cells of several tiles as ends of paths: where each lies on the radials of a mast, sorted by radial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from covermap.constants import NEAR_MAST_KM
from covermap.grid.frame import Grid, Tile
from covermap.grid.geodesy import mast_geometry
from covermap.grid.path_terrain import PathTerrain
from covermap.grid.radials import Radials
from covermap.propagation.compiling import kernel


@dataclass(frozen=True, eq=False)
class CellPaths:
    """The N cells of some tiles, tile after tile and row by row within each, as ends of paths.

    ground_m : height at the cell's centre, NaN unknown
    distance_km : from the mast
    near : within 250 m of the mast
    in_reach : within the radials' reach
    radial, step : the nearest radial and step
    order : the cells whose path is marched (known, in reach, far enough), by radial, then by step
    first : shape (radials + 1,), where each radial begins in order
    """

    ground_m: NDArray[np.float64]
    distance_km: NDArray[np.float64]
    near: NDArray[np.bool_]
    in_reach: NDArray[np.bool_]
    radial: NDArray[np.int32]
    step: NDArray[np.int32]
    order: NDArray[np.int64]
    first: NDArray[np.int64]


def cell_paths(
    radials: Radials, grid: Grid, tiles: Sequence[Tile], terrain: PathTerrain, begins_km: float
) -> CellPaths:
    """Return the cells of tiles as ends of paths from a mast. No cell's answer depends on the others.

    begins_km : cells closer to the mast are not marched
    """
    places = [grid.centres_lonlat(tile) for tile in tiles]
    longitude_deg = np.concatenate([longitude.ravel() for longitude, _ in places])
    latitude_deg = np.concatenate([latitude.ravel() for _, latitude in places])
    ground_m = np.concatenate([_ground_m(terrain, grid, tile) for tile in tiles])
    geometry = mast_geometry(radials.latitude_deg, radials.longitude_deg, longitude_deg, latitude_deg)
    radial, step = radials.nearest(geometry)
    near = geometry.distance_km < NEAR_MAST_KM
    in_reach = geometry.distance_km <= radials.reach_km
    far_enough = geometry.distance_km >= begins_km
    marched = np.flatnonzero(in_reach & far_enough & ~np.isnan(ground_m))
    # Sorted by the lesser key first: the second sort keeps the order of equals, which leaves steps rising
    # within each radial, as the sweep asks.
    by_step, _ = counting_sort(step, marched, radials.steps + 1)
    order, first = counting_sort(radial, by_step, radials.count)
    return CellPaths(ground_m, geometry.distance_km, near, in_reach, radial, step, order, first)


@lru_cache(maxsize=64)  # 131 kB a tile of 128 cells; the masts of a tile share it
def _ground_m(terrain: PathTerrain, grid: Grid, tile: Tile) -> NDArray[np.float64]:
    """Return the ground at the cell centres of a tile, shape (cells,)."""
    longitude_deg, latitude_deg = grid.centres_lonlat(tile)
    return np.asarray(terrain.ground_m(longitude_deg.ravel(), latitude_deg.ravel()), dtype=np.float64)


@kernel
def counting_sort(key, cells, keys):
    """Return cells sorted by key[cell], equals in their old order, and where each key begins in them.

    key : whole numbers from 0 below keys, one a cell; cells : indices into key
    The second array has shape (keys + 1,); its last value is the number of cells.
    """
    first = np.zeros(keys + 1, dtype=np.int64)
    for cell in cells:
        first[key[cell] + 1] += 1
    for value in range(keys):
        first[value + 1] += first[value]
    place = first[:-1].copy()
    out = np.empty(cells.size, dtype=np.int64)
    for cell in cells:
        out[place[key[cell]]] = cell
        place[key[cell]] += 1
    return out, first
