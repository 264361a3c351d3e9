"""Which masts can reach a part of the grid: told from their positions, before any path is followed."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.grid.blocks import BlockRequest
from covermap.grid.frame import Grid, Tile, to_wgs84
from covermap.grid.loss_block import LossBlock, unknown_block

SLACK = 1.02  # the nearest point in the plane may be a little farther off than the nearest on the ground
_GEOD = pyproj.Geod(ellps="WGS84")


def nearest_km(
    grid: Grid, longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how far the nearest point of a grid is from each place; far ones may be put nearer."""
    transformer = to_wgs84(grid.crs_wkt)
    width_m, height_m = grid.cols * grid.cell_m, grid.rows * grid.cell_m
    middle = transformer.transform(grid.x_min + width_m / 2.0, grid.y_max - height_m / 2.0)
    to_x, to_y = (np.full(longitude_deg.size, coordinate) for coordinate in middle)
    nearest_km = _GEOD.inv(longitude_deg, latitude_deg, to_x, to_y)[2] / 1000.0
    half_km = 0.51 * math.hypot(width_m, height_m) / 1000.0  # 2 % for the scale of the projection
    near = nearest_km < 1000.0 + half_km  # a projection may have no value farther off
    there = longitude_deg[near], latitude_deg[near]
    x, y = transformer.transform(*there, direction="INVERSE")
    # The nearest point of the box in the plane; on the ground another may be a little nearer, hence SLACK.
    x = np.clip(x, grid.x_min, grid.x_min + width_m)
    y = np.clip(y, grid.y_max - height_m, grid.y_max)
    nearest_km = np.maximum(nearest_km - half_km, 0.0)
    nearest_km[near] = _GEOD.inv(*there, *transformer.transform(x, y))[2] / 1000.0
    return np.asarray(nearest_km)


def reaching(requests: Sequence[BlockRequest], part: Tile) -> NDArray[np.bool_]:
    """Return which masts may have a cell of a part of their grid within reach; those beyond have none."""
    if not requests:
        return np.zeros(0, dtype=bool)
    longitude_deg, latitude_deg = (
        np.array([getattr(request, name) for request in requests])
        for name in ("longitude_deg", "latitude_deg")
    )
    reach_km = np.array([request.reach_km for request in requests])
    here = nearest_km(requests[0].grid.part(part), longitude_deg, latitude_deg)
    return here <= SLACK * reach_km


def unreached_block(request: BlockRequest, tile: Tile) -> LossBlock:
    """Return the block of a tile beyond a mast's reach: nothing in it is known. Its arrays are read-only."""
    one = unknown_block(len(request.frequencies), len(request.heights_m), 1, 1)

    def of_tile(array: NDArray) -> NDArray:  # one value for all cells: most masts of a country are far away
        return np.broadcast_to(array, (*array.shape[:-2], tile.rows, tile.cols))

    return LossBlock(
        of_tile(one.loss_db),
        of_tile(one.spread_db),
        of_tile(one.departure_deg),
        of_tile(one.near),
        of_tile(one.path_class),
    )
