"""What stands around homes and of what they are built: every kind there can be, and that of each cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.grid.cover_change import CLASS_HEIGHTS_M
from covermap.grid.frame import Tile
from covermap.planning.homes import Homes
from covermap.reception.entry import BUILDINGS
from covermap.reception.surroundings import ENVIRONMENT_NAMES, OF_OPTIONS, Surroundings
from covermap.terrain import Terrain


def every_kind(terrain: Terrain, *, noise_by_class: bool, buildings: bool, other_cover: bool) -> Surroundings:
    """Return every kind of surroundings that a place can have.

    noise_by_class : each class has a noise environment of its own; buildings : homes tell of theirs
    other_cover : also those of the other classes of cover that are tried
    """
    heights_m, open_land = terrain.surroundings()
    if other_cover:
        # The lowest class (0 m) twice, as closed and as open land: cover that is tried more open may be
        # either.
        heights_m = np.concatenate([heights_m, CLASS_HEIGHTS_M, CLASS_HEIGHTS_M[:1]]).astype(np.float32)
        open_land = np.concatenate([open_land, np.zeros(len(CLASS_HEIGHTS_M), bool), [True]])
    of_noise = np.arange(len(ENVIRONMENT_NAMES)) if noise_by_class else np.empty(0)
    of_building = np.arange(len(BUILDINGS)) if buildings else np.empty(0)
    # Every combination is listed once, and cells name theirs by number: reception works each out a single
    # time.
    kind, environment, building = (
        axis.ravel()
        for axis in np.meshgrid(
            np.arange(heights_m.size), np.append(of_noise, OF_OPTIONS), np.append(of_building, OF_OPTIONS)
        )
    )
    return Surroundings(
        heights_m[kind], open_land[kind], environment.astype(np.uint8), building.astype(np.uint8)
    )


def tells_buildings(homes: Homes | None) -> bool:
    """Return whether homes tell of what their buildings are."""
    return homes is not None and homes.efficient is not None


def building_of_cells(homes: Homes | None, tile: Tile) -> NDArray[np.uint8] | None:
    """Return of what most homes of each cell are built, shape (cells,); None where homes do not tell.

    An index into BUILDINGS; 255 where there are no homes.
    """
    if homes is None or homes.efficient is None:
        return None
    in_cell = np.nan_to_num(homes.window(tile).ravel())
    most = np.nan_to_num(homes.efficient.window(tile).ravel()) > 0.5 * in_cell
    efficient, other = (BUILDINGS.index(name) for name in ("thermally_efficient", "traditional"))
    return np.where(in_cell > 0.0, np.where(most, efficient, other), OF_OPTIONS).astype(np.uint8)
