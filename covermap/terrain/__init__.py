"""terrain: elevation, land cover and sea as one Terrain value. It opens rasters; it knows no physics."""

from covermap.terrain.checks import check_area, check_clutter_heights, check_masts
from covermap.terrain.read import look_at_terrain, read_terrain
from covermap.terrain.relief import relief_grey
from covermap.terrain.terrain import Terrain

__all__ = [
    "Terrain",
    "check_area",
    "check_clutter_heights",
    "check_masts",
    "look_at_terrain",
    "read_terrain",
    "relief_grey",
]
