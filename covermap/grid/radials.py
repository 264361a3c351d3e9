"""The radials of a mast: how many, how long, and which of them each cell takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import EARTH_RADIUS_KM
from covermap.grid.frame import Grid
from covermap.grid.geodesy import WGS84, MastGeometry, points_along
from covermap.propagation.compiling import kernel

WIDEST_SPACING_M = 100.0  # at the rim; measured, see docs/decisions/radial_spacing.md
STEPS_PER_KNOT = 64  # 3.2 km at 50 m: a cubic through four knots strays 1e-5 m at most at latitude 65


@dataclass(frozen=True)
class Radials:
    """The fan of radials that leaves a mast, the same whatever tile is asked for.

    count : radials at equal geodesic azimuths, the first due north
    steps : steps of step_km on each, as far as reach_km
    """

    latitude_deg: float
    longitude_deg: float
    reach_km: float
    step_km: float
    count: int
    steps: int

    def azimuth_deg(self, radial: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the azimuth at the mast of radials by their number."""
        return np.asarray(radial, dtype=np.float64) * (360.0 / self.count)

    def knots(self, radial: NDArray[np.int64], steps: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude [deg] of every 64th point of radials, each (R, K).

        The knots reach at least one knot beyond the given number of steps, and are four at least: a curve
        laid through the four knots around a step is then the same however far the radial is followed.
        """
        return points_along(
            self.latitude_deg, self.longitude_deg, self.azimuth_deg(radial), self._knot_km(steps)
        )

    def _knot_km(self, steps: int) -> NDArray[np.float64]:
        """Return the distances of the knots that steps need, shape (K,)."""
        knots = np.arange(max(4, -(-steps // STEPS_PER_KNOT) + 2), dtype=np.float64)
        return np.asarray(knots * (STEPS_PER_KNOT * self.step_km), dtype=np.float64)

    def nearest(self, geometry: MastGeometry) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Return for each cell the number of its nearest radial and step."""
        # The last half spacing before north rounds up to count, which is radial 0.
        radial = np.rint(geometry.azimuth_deg * (self.count / 360.0)).astype(np.int32) % self.count
        step = np.rint(geometry.distance_km / self.step_km).astype(np.int32)
        # A path needs two steps; closer cells are free space, or are taken over two (LONGEST_STEP_M in
        # blocks.py).
        return radial.astype(np.int32), np.clip(step, 2, self.steps)

    def mid_latitude_deg(self, radial: NDArray[np.int64], steps: int) -> NDArray[np.float64]:
        """Return the latitude half way to each step of radials, shape (R, steps + 1).

        On the sphere of P.1812's Earth, straight between knots (1e-5 degrees); the model needs it for the
        incidence of ducting alone (ITU-R P.1812-8 section 3.6).
        """
        latitude = math.radians(self.latitude_deg)
        arc = self._knot_km(steps) * (0.5 / EARTH_RADIUS_KM)
        along = np.cos(np.radians(self.azimuth_deg(radial)))[:, np.newaxis]
        sine = math.sin(latitude) * np.cos(arc) + math.cos(latitude) * np.sin(arc) * along
        out = np.empty((along.shape[0], steps + 1))
        fill_between_knots(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))), STEPS_PER_KNOT, out)
        return out


@kernel
def fill_between_knots(knots, steps_per_knot, out):
    """Write values that run straight between knots, shape (R, K), into out, shape (R, steps + 1)."""
    radials, points = out.shape
    for radial in range(radials):
        for step in range(points):
            knot = step // steps_per_knot
            share = (step - knot * steps_per_knot) / steps_per_knot
            first = knots[radial, knot]
            out[radial, step] = first + share * (knots[radial, knot + 1] - first)


def make_radials(
    latitude_deg: float, longitude_deg: float, grid: Grid, reach_km: float, step_km: float
) -> Radials:
    """Return the radials of a mast over a grid.

    They end at reach_km or at the grid's farthest corner. At the rim they stand at most one cell and at
    most 100 m apart; their number is a multiple of 4, so that the four quadrants are alike.
    """
    corner_lon, corner_lat = grid.corners_lonlat()
    _, _, corner_m = WGS84.inv(np.full(4, longitude_deg), np.full(4, latitude_deg), corner_lon, corner_lat)
    reach_km = min(reach_km, float(np.max(corner_m)) / 1000.0)
    count = math.ceil(2000.0 * math.pi * reach_km / min(grid.cell_m, WIDEST_SPACING_M))
    steps = max(2, math.ceil(reach_km / step_km))
    return Radials(latitude_deg, longitude_deg, reach_km, step_km, count=4 * -(-count // 4), steps=steps)
