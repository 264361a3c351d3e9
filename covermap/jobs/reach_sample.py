"""Which masts reach which squares of a map, from a sample of its squares, before any path is followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.grid.geodesy import mast_geometry
from covermap.inputs.preparation import Preparation
from covermap.scenario.records import WantedList

SAMPLED_ROWS = 48  # of places whose distance from the masts is looked at; as many columns


@dataclass(frozen=True, eq=False)
class ReachSample:
    """What reaches some squares of a map.

    reached : bool (R, N), by request and square of the sample
    asked : bool (N,), whether a square lies in the asked area
    """

    reached: NDArray[np.bool_]
    asked: NDArray[np.bool_]

    @property
    def of_requests(self) -> list[float]:
        """Return which share of all squares each request reaches."""
        return [float(part.mean()) for part in self.reached]

    @property
    def of_any(self) -> float:
        """Return the share of all squares that are asked for and within reach of some request."""
        return float((self.reached.any(axis=0) & self.asked).mean()) if len(self.reached) else 0.0

    def most_alternatives(self, wanted: WantedList, station_request: tuple[int, ...]) -> NDArray[np.int64]:
        """Return for each asked square in reach how many masts it has for a service, of the one with most."""
        within = self.asked & self.reached.any(axis=0)
        masts = [
            self.reached[sorted({station_request[station] for station in stations})][:, within].sum(axis=0)
            for stations in wanted.transmitters
        ]
        return np.max(masts, axis=0)


def sample_of_reach(prepared: Preparation) -> ReachSample:
    """Return which requests reach each square of an even sample of the map."""
    grid = prepared.grid
    axes = (spread_evenly(count, SAMPLED_ROWS) for count in (grid.rows, grid.cols))
    row, col = (axis.ravel() for axis in np.meshgrid(*axes))
    places = grid.lonlat_of(row, col)
    reached = [
        mast_geometry(request.latitude_deg, request.longitude_deg, *places).distance_km <= request.reach_km
        for request in prepared.requests
    ]
    return ReachSample(np.array(reached).reshape(-1, row.size), _asked(prepared, row, col))


def spread_evenly(count: int, sampled: int) -> NDArray[np.int64]:
    """Return some of a number of rows or columns, at most as many as are sampled."""
    return np.unique(np.linspace(0, count - 1, sampled).astype(np.int64))


def _asked(prepared: Preparation, row: NDArray, col: NDArray) -> NDArray[np.bool_]:
    """Return which squares lie in the asked area."""
    grid = prepared.grid
    if prepared.area is None:
        return np.ones(row.size, dtype=bool)
    x, y = grid.x_min + (col + 0.5) * grid.cell_m, grid.y_max - (row + 0.5) * grid.cell_m
    return np.asarray(shapely.contains_xy(prepared.area, x, y))
