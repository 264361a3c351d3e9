"""Invented ground for the tests of skylines and path profiles: known everywhere, as formulas."""

import numpy as np
from web_map_case import place_of_cell

M_PER_DEGREE_LATITUDE = 111_120.0  # near 44 N, within 0.1 %: only the hill's shape hangs on it
HILL_CELL = (15, 20)  # row, col of its top
HILL_M, HILL_WIDTH_M = 300.0, 600.0


class FlatGround:
    """Ground at one level."""

    finest_cell_m = 60.0
    bounds_deg = (-180.0, -90.0, 180.0, 90.0)

    def __init__(self, level_m=0.0):
        self.level_m = level_m

    def elevation_m(self, longitude_deg, latitude_deg):
        return np.full(np.broadcast(longitude_deg, latitude_deg).shape, self.level_m)

    ground_m = elevation_m


class OneHill(FlatGround):
    """Flat ground with one round hill, HILL_M high, as a bell of HILL_WIDTH_M."""

    def elevation_m(self, longitude_deg, latitude_deg):
        top_longitude_deg, top_latitude_deg = place_of_cell(*HILL_CELL)
        north_m = (np.asarray(latitude_deg) - top_latitude_deg) * M_PER_DEGREE_LATITUDE
        east_m = (np.asarray(longitude_deg) - top_longitude_deg) * M_PER_DEGREE_LATITUDE
        east_m = east_m * np.cos(np.radians(top_latitude_deg))
        return HILL_M * np.exp(-(north_m**2 + east_m**2) / (2.0 * HILL_WIDTH_M**2))

    ground_m = elevation_m


class GapInTheNorth(OneHill):
    """The same with nothing known north of the grid's first row."""

    def elevation_m(self, longitude_deg, latitude_deg):
        level_m = super().elevation_m(longitude_deg, latitude_deg)
        return np.where(np.asarray(latitude_deg) > place_of_cell(0, 20)[1], np.nan, level_m)

    ground_m = elevation_m
