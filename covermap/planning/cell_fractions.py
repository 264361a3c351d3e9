"""How much of each cell a polygon covers."""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.grid.frame import Grid, Tile


@dataclass(frozen=True, eq=False)
class Fractions:
    """Which polygon covers how much of which cell of a tile; three arrays of equal length.

    polygon : index of the polygon
    cell : index of the cell in the flattened tile
    fraction : share of the cell that the polygon covers, above 0 up to 1
    """

    polygon: NDArray[np.int64]
    cell: NDArray[np.int64]
    fraction: NDArray[np.float64]


class PolygonCells:
    """Polygons over a grid, asked tile by tile.

    polygons : shapely polygons in the grid's CRS; None and empty ones cover nothing
    """

    def __init__(self, polygons: NDArray[Any], grid: Grid) -> None:
        self.polygons = np.asarray(polygons, dtype=object)
        self.grid = grid
        self._tree = shapely.STRtree(self.polygons)
        self._exactextract = _find_exactextract()

    def touching(self, tile: Tile) -> NDArray[np.int64]:
        """Return the sorted indices of the polygons that touch the tile."""
        return np.sort(self._tree.query(tile_box(self.grid, tile), predicate="intersects"))

    def fractions(self, tile: Tile) -> Fractions:
        """Return what the polygons cover of the tile's cells, exact to the last digits of float32.

        exactextract does it where it is installed; shapely gives the same, some 30 times slower.
        """
        chosen = self.touching(tile)
        if chosen.size == 0:
            return Fractions(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0))
        if self._exactextract is not None:
            parts = self._by_exactextract(self._exactextract, chosen, tile)
        else:
            parts = [_by_shapely(self.polygons[index], self.grid, tile) for index in chosen]
        polygon = np.repeat(chosen, [len(cell) for cell, _ in parts])
        cell = np.concatenate([cell for cell, _ in parts]).astype(np.int64)
        fraction = np.concatenate([fraction for _, fraction in parts]).astype(np.float64)
        kept = fraction > 0
        return Fractions(polygon[kept], cell[kept], fraction[kept])

    def _by_exactextract(self, module: ModuleType, chosen: NDArray[np.int64], tile: Tile) -> list[tuple]:
        import geopandas as gpd
        from exactextract.raster import NumPyRasterSource

        west, south, east, north = shapely.bounds(tile_box(self.grid, tile))
        source = NumPyRasterSource(
            np.zeros((tile.rows, tile.cols), np.uint8),
            xmin=west,
            ymin=south,
            xmax=east,
            ymax=north,
            srs_wkt=self.grid.crs_wkt,
        )
        # Polygons are cut to the tile first: exactextract 0.3 ends the process (a segmentation fault) on
        # some that reach past the raster or only touch its edge.
        clipped = shapely.clip_by_rect(self.polygons[chosen], west, south, east, north)
        covering = np.flatnonzero(shapely.area(clipped) > 0.0)
        parts: list[tuple] = [(np.empty(0, np.int64), np.empty(0))] * chosen.size
        if covering.size == 0:
            return parts
        features = gpd.GeoDataFrame(geometry=clipped[covering], crs=self.grid.crs_wkt)
        table = module.exact_extract(source, features, ["cell_id", "coverage"], output="pandas")
        for place, cell, coverage in zip(covering, table["cell_id"], table["coverage"], strict=True):
            parts[place] = (cell, coverage)
        return parts


def tile_box(grid: Grid, tile: Tile) -> shapely.Polygon:
    """Return the outline of a tile in the grid's CRS."""
    west = grid.x_min + tile.col * grid.cell_m
    north = grid.y_max - tile.row * grid.cell_m
    return shapely.box(west, north - tile.rows * grid.cell_m, west + tile.cols * grid.cell_m, north)


def _find_exactextract() -> ModuleType | None:
    """Return the module, or None where it is not installed (it has no wheel for Linux on aarch64)."""
    try:
        import exactextract
    except ImportError:
        return None
    return exactextract


def _by_shapely(polygon: shapely.Geometry, grid: Grid, tile: Tile) -> tuple[NDArray, NDArray]:
    """Return cell indices and fractions of one polygon: whole cells at once, edge cells by intersection."""
    clipped = shapely.clip_by_rect(polygon, *shapely.bounds(tile_box(grid, tile)))
    if shapely.is_empty(clipped):
        return np.empty(0, np.int64), np.empty(0)
    west, south, east, north = shapely.bounds(clipped)
    x_min = grid.x_min + tile.col * grid.cell_m
    y_max = grid.y_max - tile.row * grid.cell_m
    cols = np.arange(
        max(int((west - x_min) // grid.cell_m), 0), min(int((east - x_min) // grid.cell_m) + 1, tile.cols)
    )
    rows = np.arange(
        max(int((y_max - north) // grid.cell_m), 0), min(int((y_max - south) // grid.cell_m) + 1, tile.rows)
    )
    col, row = (axis.ravel() for axis in np.meshgrid(cols, rows))
    left, top = x_min + col * grid.cell_m, y_max - row * grid.cell_m
    boxes = shapely.box(left, top - grid.cell_m, left + grid.cell_m, top)
    shapely.prepare(clipped)
    # Whole cells first, with the prepared polygon: intersection is the slow part, and only edges need it.
    fraction = shapely.contains(clipped, boxes).astype(np.float64)
    edge = (fraction == 0) & shapely.intersects(clipped, boxes)
    fraction[edge] = shapely.area(shapely.intersection(clipped, boxes[edge])) / grid.cell_m**2
    return row * tile.cols + col, fraction
