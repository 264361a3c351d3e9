"""grid: cells, tiles, the radial sweep, the store and executors. It turns terrain and masts into path losses per cell."""
