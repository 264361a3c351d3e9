"""The woods around places: asked again and again within a few hundred metres of each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from covermap.constants import METRES_A_DEGREE
from covermap.terrain.land_cover_file import UNKNOWN_CLASS, LandCover
from covermap.terrain.layer import Floats
from covermap.terrain.lookup import classes_of
from covermap.terrain.terrain import Terrain

STRIDE_M = 100.0  # a step to the east and one to the north, by which positions in the land cover are moved


@dataclass(frozen=True, eq=False)
class WoodsAround:
    """N places in WGS 84 degrees, shape (N,), and where they stand in the land cover.

    east_deg : degrees of longitude a metre
    positions : column and row of each place, in cells; looked up once, as each look costs more than a step
    cols_a_m, rows_a_m : (2, N), what a metre to the east and a metre to the north add to them
    """

    terrain: Terrain
    longitude_deg: Floats
    latitude_deg: Floats
    east_deg: Floats
    positions: tuple[Floats, Floats]
    cols_a_m: Floats
    rows_a_m: Floats

    def some(self, places: NDArray[np.int64]) -> WoodsAround:
        """Return some of the places."""
        col, row = self.positions
        return replace(
            self,
            longitude_deg=self.longitude_deg[places],
            latitude_deg=self.latitude_deg[places],
            east_deg=self.east_deg[places],
            positions=(col[places], row[places]),
            cols_a_m=self.cols_a_m[:, places],
            rows_a_m=self.rows_a_m[:, places],
        )

    def stand(self, east_m: Floats, north_m: Floats, above_m: float) -> NDArray[np.bool_]:
        """Return where woods stand higher than above_m, so far from each place; False without land cover.

        Woods are classes with a height that are neither built up nor open nor water.
        """
        cover = self.terrain.land_cover
        if cover is None:
            return np.zeros(self.longitude_deg.size, np.bool_)
        woods = woods_of(cover)
        if not self.terrain.has_heights:  # then a class is as high as its table says
            woods = woods & (cover.clutter_height_m > above_m)
        col, row = self.positions
        there = (
            col + east_m * self.cols_a_m[0] + north_m * self.cols_a_m[1],
            row + east_m * self.rows_a_m[0] + north_m * self.rows_a_m[1],
        )
        found = woods[classes_of(cover.layer, *there, UNKNOWN_CLASS)]
        if self.terrain.has_heights:
            longitude_deg = self.longitude_deg[found] + east_m[found] * self.east_deg[found]
            latitude_deg = self.latitude_deg[found] + north_m[found] / METRES_A_DEGREE
            found[found] = self.terrain.clutter_height_m(longitude_deg, latitude_deg) > above_m
        return found


def woods_around(terrain: Terrain, latitude_deg: Floats, longitude_deg: Floats) -> WoodsAround:
    """Return the woods around places, shape (N,), WGS 84."""
    east_deg = 1.0 / (METRES_A_DEGREE * np.cos(np.radians(latitude_deg)))
    position, cols_a_m, rows_a_m = np.zeros((3, 2, longitude_deg.size))
    if terrain.land_cover is not None:
        longitude = longitude_deg[:, np.newaxis] + STRIDE_M * east_deg[:, np.newaxis] * [0.0, 1.0, 0.0]
        latitude = latitude_deg[:, np.newaxis] + STRIDE_M / METRES_A_DEGREE * np.array([0.0, 0.0, 1.0])
        col, row = terrain.land_cover.layer.line_positions(longitude, latitude)
        position = np.stack([col[:, 0], row[:, 0]])
        cols_a_m, rows_a_m = ((axis[:, 1:] - axis[:, :1]).T / STRIDE_M for axis in (col, row))
    return WoodsAround(
        terrain, longitude_deg, latitude_deg, east_deg, (position[0], position[1]), cols_a_m, rows_a_m
    )


def woods_of(cover: LandCover) -> NDArray[np.bool_]:
    """Return which classes of a land cover are woods, shape (256,)."""
    return (cover.clutter_height_m > 0.0) & ~cover.built_up & ~cover.open_land & ~cover.water
