"""terrain_tiles: which tiles of an open source an area needs, fetched and checked. It knows no physics."""
