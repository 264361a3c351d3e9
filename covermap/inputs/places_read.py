"""Where the elevation of a run is read: under the map, and on the ways from the masts to it."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.inputs.preparation import Preparation

MOST_CELLS = 40_000  # of the map that are looked at, evenly spread
ENDS, STEPS = 64, 200  # ways from each mast, spread over the map, and places on each


def places_read(prepared: Preparation) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of an even sample of the places whose height a run reads. [degrees]"""
    grid = prepared.grid
    every = max(1, math.ceil(math.sqrt(grid.cells / MOST_CELLS)))
    row, col = (axis.ravel() for axis in np.mgrid[0 : grid.rows : every, 0 : grid.cols : every])
    if prepared.area is not None:
        x, y = grid.x_min + (col + 0.5) * grid.cell_m, grid.y_max - (row + 0.5) * grid.cell_m
        inside = shapely.contains_xy(prepared.area, x, y)
        row, col = row[inside], col[inside]
    cells = np.array(grid.lonlat_of(row, col))
    masts = {(station.longitude_deg, station.latitude_deg) for station in prepared.scenario.stations}
    if not cells.size or not masts:
        return cells[0], cells[1]
    end = cells[:, np.linspace(0, cells.shape[1] - 1, ENDS).astype(int)][:, None, None, :]
    start = np.array(sorted(masts)).T[:, None, :, None]  # axis, step, mast, end
    apart = end - start
    # the short way round
    apart[0] = (apart[0] + 180.0) % 360.0 - 180.0
    ways = start + np.linspace(0.0, 1.0, STEPS)[:, None, None] * apart
    longitude_deg, latitude_deg = np.concatenate([cells, ways.reshape(2, -1)], axis=1)
    return (longitude_deg + 180.0) % 360.0 - 180.0, latitude_deg
