"""grid: cells, tiles, the radial sweep, store and executors. Terrain and masts become path losses."""
