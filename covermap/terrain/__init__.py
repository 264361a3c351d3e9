"""terrain: elevation, land cover and sea as one Terrain value. It opens rasters; it knows no stations or physics."""

from covermap.terrain.read import read_terrain
from covermap.terrain.terrain import Terrain

__all__ = ["Terrain", "read_terrain"]
