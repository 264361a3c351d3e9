"""Trees and buildings that are assumed near homes, where no input says what stands on the ground."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from covermap.grid.frame import Grid
from covermap.grid.make_grid import lay_grid
from covermap.inputs.counted import read_homes
from covermap.planning.homes import Homes
from covermap.scenario import Scenario
from covermap.scenario.settings import Settings
from covermap.terrain import Terrain, look_at_terrain, read_terrain
from covermap.terrain.clutter import HeightsByCell, assumed_everywhere
from covermap.terrain.layer import RasterLayer

NEAR_HOMES_M = 100.0  # our own choice: what grazes the path stands within a few steps of the home
TILE_CELLS = 512


def assumes_clutter(settings: Settings) -> bool:
    """Return whether heights are assumed: no input tells them, and the scenario does not forbid it."""
    return not settings.terrain.tells_clutter and settings.terrain.assumed_clutter_m > 0.0


def with_assumed_clutter(terrain: Terrain, settings: Settings, grid: Grid, homes: Homes | None) -> Terrain:
    """Return the terrain with what is assumed on it: near homes, everywhere where homes are not known."""
    if not assumes_clutter(settings):
        return terrain
    height_m = settings.terrain.assumed_clutter_m
    if homes is None or not homes.total > 0.0:
        return replace(terrain, assumed=assumed_everywhere(height_m))
    near = RasterLayer("near homes", near_homes(homes, grid), grid.transform, grid.crs_wkt)
    by_value = np.zeros(256, dtype=np.float32)
    by_value[1] = height_m
    return replace(terrain, assumed=HeightsByCell(near, by_value, 0.0))


def near_homes(homes: Homes, grid: Grid) -> NDArray[np.uint8]:
    """Return 1 in cells with homes and in those whose middles lie within 100 m of such a cell's, else 0.

    Homes without a count are homes. Shape (rows, cols) of the grid.
    """
    with_homes = np.zeros(grid.shape, dtype=bool)
    for tile in grid.tiles(TILE_CELLS):
        with_homes[tile.window] = ~(homes.window(tile) == 0.0)  # NaN: homes, how many is not known
    around = math.floor(NEAR_HOMES_M / grid.cell_m)
    if around == 0:
        return with_homes.astype(np.uint8)
    row, col = np.mgrid[-around : around + 1, -around : around + 1]
    disc = np.hypot(row, col) * grid.cell_m <= NEAR_HOMES_M
    return np.asarray(ndimage.binary_dilation(with_homes, structure=disc)).astype(np.uint8)


def read_terrain_of(scenario: Scenario) -> Terrain:
    """Return a scenario's whole terrain as its map has it: with what is assumed near homes.

    Raises InputError if the terrain, the grid or the homes cannot be read.
    """
    settings = scenario.settings
    terrain = read_terrain(settings)
    if not assumes_clutter(settings):
        return terrain
    # The grid is the whole elevation's, whatever part of it is read: homes must fall into the map's own
    # squares.
    whole = look_at_terrain(settings).whole
    grid, area = lay_grid(settings.grid, whole)
    homes, _ = read_homes(settings, terrain, grid, area)
    return with_assumed_clutter(terrain, settings, grid, homes)
