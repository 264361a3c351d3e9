"""terrain: elevation, land cover and sea as one Terrain value. It opens rasters; it knows no stations or physics."""
