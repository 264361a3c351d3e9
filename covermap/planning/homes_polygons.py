"""Homes from polygons with counts, spread over the cells they cover."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.grid.area import area_mask
from covermap.grid.frame import Grid, Tile
from covermap.planning.cell_fractions import Fractions, PolygonCells
from covermap.planning.homes_points import homes_or_unknown

BuiltUp = Callable[[Tile], NDArray[np.bool_]]
"""Gives which cells of a tile are built up, shape (rows, cols)."""

OVERLAP_SHARE = 1.05  # judgement: a cell covered more often than this by home polygons counts as overlap


class PolygonHomes:
    """Homes as polygons with a count, spread over their cells by area.

    With built_up a polygon's homes stand in its built-up cells alone; one without any keeps its area.

    polygons, count : one a feature; polygons in the grid's CRS, NaN without a count
    map_area : of grid.area.area_outline(); homes stand in cells whose middle lies in it
    """

    def __init__(
        self,
        polygons: NDArray[Any],
        count: NDArray,
        grid: Grid,
        built_up: BuiltUp | None = None,
        warnings: tuple[str, ...] = (),
        map_area: shapely.Geometry | None = None,
    ) -> None:
        self.count = count
        self.grid = grid
        self.map_area = map_area
        self.without_roof: PolygonHomes | None = None
        self.efficient: PolygonHomes | None = None
        self.built_up = built_up
        self._cells = PolygonCells(polygons, grid)
        self._polygons = polygons
        self.total = float(np.nansum(count))
        self.features_without_count = int(np.isnan(count).sum())
        # A pass over the whole grid before the first answer: what a cell gets depends on all cells of its
        # polygon.
        area, built, overlap = self._measure()
        with np.errstate(invalid="ignore", divide="ignore"):
            inside = self._share_on_map(area)
            self._per_area = np.where(area > 0, count * inside / area, 0.0)
            self._per_built = np.where(built > 0, count * inside / built, 0.0)
        self._use_built = built > 0
        self.outside = float(np.nansum(count * (1.0 - inside)))
        self.warnings = warnings + self._spread_warnings(area, overlap)

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 no homes, NaN only homes without a count."""
        part, weight = self._weights(tile)
        rate = np.where(self._use_built, self._per_built, self._per_area)[part.polygon]
        weight = np.where(self._use_built[part.polygon], weight, part.fraction)
        known = ~np.isnan(rate)
        size = tile.rows * tile.cols
        homes = np.bincount(part.cell[known], (rate * weight)[known], minlength=size)
        return homes_or_unknown(
            homes,
            np.bincount(part.cell, weight, minlength=size) > 0,
            np.bincount(part.cell[known], weight[known], minlength=size) > 0,
            tile,
        )

    def places_without_count(self) -> tuple[NDArray, NDArray]:
        """Return x and y of a point inside each polygon without a count."""
        inside = shapely.point_on_surface(self._polygons[np.isnan(self.count)])
        return shapely.get_x(inside), shapely.get_y(inside)

    def _share_on_map(self, area: NDArray) -> NDArray[np.float64]:
        """Return which part of each polygon lies on the map; none of one that covers no cell of it.

        area : covered on the map, in cells. Where an area is asked for its own outline cuts the polygons, not
            its cells, or a shore would lose homes.
        """
        whole = shapely.area(self._polygons) / self.grid.cell_m**2
        if self.map_area is None:
            cut = area
        else:
            cut = whole.copy()
            # Intersections only where the outlines cross; most polygons lie inside.
            crossing = np.flatnonzero(~shapely.contains(self.map_area, self._polygons))
            common = shapely.intersection(self._polygons[crossing], self.map_area)
            cut[crossing] = shapely.area(common) / self.grid.cell_m**2
        inside = np.where((whole > 0) & (area > 0), np.minimum(cut / whole, 1.0), 0.0)
        inside[inside > 1.0 - 1e-6] = 1.0  # float32 coverage
        return inside

    def _weights(self, tile: Tile) -> tuple[Fractions, NDArray]:
        """Return the fractions of a tile, and the part of each that is built up (all without land cover)."""
        part = self._cells.fractions(tile)
        if self.map_area is not None and part.cell.size:
            kept = area_mask(self.grid, tile, self.map_area).ravel()[part.cell]
            part = Fractions(part.polygon[kept], part.cell[kept], part.fraction[kept])
        if self.built_up is None or part.cell.size == 0:
            return part, part.fraction
        return part, part.fraction * self.built_up(tile).ravel()[part.cell]

    def _measure(self) -> tuple[NDArray, NDArray, int]:
        """Return each polygon's area and built-up area on the grid in cells, and the overlapped cells."""
        area, built = np.zeros(self.count.size), np.zeros(self.count.size)
        overlap = 0
        for tile in self.grid.tiles():
            part, weight = self._weights(tile)
            area += np.bincount(part.polygon, part.fraction, minlength=area.size)
            built += np.bincount(part.polygon, weight, minlength=area.size)
            overlap += int((np.bincount(part.cell, part.fraction) > OVERLAP_SHARE).sum())
        return area, built, overlap

    def _spread_warnings(self, area: NDArray, overlap: int) -> tuple[str, ...]:
        found = []
        bare = int(((area > 0) & ~self._use_built & (self.count > 0)).sum())
        if self.built_up is not None and bare:
            found.append(
                f"homes: {bare} areas have no built-up cell; their homes are spread over the whole area."
            )
        if overlap:
            found.append(
                f"homes: areas overlap in {overlap} cells, where homes are counted twice. "
                "Keep totals and parts in different files."
            )
        return tuple(found)
