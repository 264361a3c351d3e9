"""Homes in each cell, from points, polygons or a raster with counts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.planning.cell_fractions import PolygonCells
from covermap.planning.homes_raster import RasterHomes
from covermap.planning.polygons import polygons_only, read_layer

if TYPE_CHECKING:
    from covermap.scenario.settings import HomesSettings

BuiltUp = Callable[[Tile], NDArray[np.bool_]]
"""Gives which cells of a tile are built up, shape (rows, cols)."""

OVERLAP_SHARE = 1.05  # judgement: a cell covered more often than this by home polygons counts as overlap


class Homes(Protocol):
    """Homes over a grid, asked tile by tile, so that memory does not grow with the grid.

    total : homes with a count, inside the grid or not
    outside : the part of total that lies outside the grid
    features_without_count : points, polygons or raster cells whose count is blank, negative or suppressed
    warnings : sentences for people
    """

    total: float
    outside: float
    features_without_count: int
    warnings: tuple[str, ...]

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 no homes, NaN only homes without a count."""
        ...


class PointHomes:
    """Homes as points: each counts in the cell that holds it.

    x, y : in the grid's CRS. [m]
    count : homes at each point, NaN without a count
    """

    def __init__(
        self, x: NDArray, y: NDArray, count: NDArray, grid: Grid, warnings: tuple[str, ...] = ()
    ) -> None:
        self.x, self.y, self.count = x, y, count
        self.grid = grid
        self.warnings = warnings
        self.row = np.floor((grid.y_max - y) / grid.cell_m).astype(np.int64)
        self.col = np.floor((x - grid.x_min) / grid.cell_m).astype(np.int64)
        inside = (self.row >= 0) & (self.row < grid.rows) & (self.col >= 0) & (self.col < grid.cols)
        self.total = float(np.nansum(count))
        self.outside = float(np.nansum(count[~inside]))
        self.features_without_count = int(np.isnan(count).sum())
        self._by_row = np.argsort(self.row, kind="stable")

    def points_in(self, tile: Tile) -> NDArray[np.int64]:
        """Return the indices of the points in a tile."""
        low, high = np.searchsorted(self.row[self._by_row], [tile.row, tile.row + tile.rows])
        band = self._by_row[low:high]
        return band[(self.col[band] >= tile.col) & (self.col[band] < tile.col + tile.cols)]

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 no homes, NaN only homes without a count."""
        chosen = self.points_in(tile)
        cell = (self.row[chosen] - tile.row) * tile.cols + self.col[chosen] - tile.col
        known = ~np.isnan(self.count[chosen])
        size = tile.rows * tile.cols
        homes = np.bincount(cell[known], self.count[chosen][known], minlength=size)
        return _with_unknown(
            homes, np.bincount(cell, minlength=size) > 0, np.bincount(cell[known], minlength=size) > 0, tile
        )


class PolygonHomes:
    """Homes as polygons with a count, spread over their cells by area.

    With built_up a polygon's homes stand in its built-up cells alone; one without any keeps its area.

    polygons, count : one a feature; polygons in the grid's CRS, NaN without a count
    """

    def __init__(
        self,
        polygons: NDArray[Any],
        count: NDArray,
        grid: Grid,
        built_up: BuiltUp | None = None,
        warnings: tuple[str, ...] = (),
    ) -> None:
        self.count = count
        self.grid = grid
        self.built_up = built_up
        self._cells = PolygonCells(polygons, grid)
        self.total = float(np.nansum(count))
        self.features_without_count = int(np.isnan(count).sum())
        area, built, overlap = self._measure()
        whole = shapely.area(polygons) / grid.cell_m**2
        with np.errstate(invalid="ignore", divide="ignore"):
            inside = np.where(whole > 0, np.minimum(area / whole, 1.0), 0.0)
            inside[inside > 1.0 - 1e-6] = 1.0  # float32 coverage
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
        return _with_unknown(
            homes,
            np.bincount(part.cell, weight, minlength=size) > 0,
            np.bincount(part.cell[known], weight[known], minlength=size) > 0,
            tile,
        )

    def _weights(self, tile: Tile):
        """Return the fractions of a tile, and the part of each that is built up (all without land cover)."""
        part = self._cells.fractions(tile)
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


def homes_per_cell(
    settings: HomesSettings, grid: Grid, built_up: BuiltUp | NDArray[np.bool_] | None = None
) -> PointHomes | PolygonHomes | RasterHomes:
    """Return the homes of a scenario over its grid.

    Parameters
    ----------
    settings : file (any vector or raster file GDAL reads) and the name of its count column; without
        one each point is one home
    grid : Grid
    built_up : which cells are built up, as an array (rows, cols) of the grid or a function of a tile;
        None without land cover. Only polygons use it.

    Returns
    -------
    a Homes: window(tile), total, outside, features_without_count, warnings

    Raises
    ------
    InputError
        If the file is not readable, has no CRS, no such column, or neither points nor polygons.
    """
    path = Path(settings.file)
    if _is_raster(path):
        return RasterHomes(path, grid)
    frame = read_layer(path, grid, "homes")
    count, warnings = _counts(frame, settings.count, path)
    return _vector_homes(frame, count, grid, _as_function(built_up), warnings, path)


def _vector_homes(
    frame: gpd.GeoDataFrame,
    count: NDArray,
    grid: Grid,
    built_up: BuiltUp | None,
    warnings: tuple[str, ...],
    path: Path,
) -> PointHomes | PolygonHomes:
    """Return points or polygons as homes. Raises InputError for anything else."""
    geometry = np.asarray(frame.geometry.array, dtype=object)
    present = ~(shapely.is_missing(geometry) | shapely.is_empty(geometry))
    if not present.all():
        missing = int((~present).sum())
        homes = float(np.nansum(count[~present]))
        warnings += (
            f"{path.name}: {missing} features have no geometry; their {homes:g} homes are left out.",
        )
    geometry, count = geometry[present], count[present]
    dimension = set(shapely.get_dimensions(geometry).tolist())
    if dimension <= {0}:
        centre = shapely.centroid(geometry)  # a multipoint of one address counts once
        return PointHomes(shapely.get_x(centre), shapely.get_y(centre), count, grid, warnings)
    if dimension == {2}:
        polygons, repairs = polygons_only(geometry, path)
        return PolygonHomes(polygons, count, grid, built_up, warnings + repairs)
    raise InputError(
        f"{path.name}: found {', '.join(sorted(frame.geom_type.dropna().unique()))}. "
        "Homes are points or polygons, one kind in a layer. Give a layer of one kind."
    )


def _counts(
    frame: gpd.GeoDataFrame, column: str | None, path: Path
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Return the count of each feature, NaN where it is blank, negative or not a number."""
    if column is None:
        return np.ones(len(frame)), ()
    if column not in frame.columns:
        columns = ", ".join(str(name) for name in frame.columns if name != frame.geometry.name) or "none"
        raise InputError(
            f"[homes] count = {column!r}: {path.name} has no such column. Its columns are: {columns}."
        )
    count = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    count = np.where(np.isfinite(count) & (count >= 0), count, np.nan)
    without = int(np.isnan(count).sum())
    if len(count) and without == len(count):
        raise InputError(
            f"{path.name}, column {column}: not one of {len(count)} features has a count, the first says "
            f"{frame[column].iloc[0]!r}. Name a column of numbers."
        )
    if not without:
        return count, ()
    return count, (
        f"{path.name}: {without} of {len(count)} features have no count; their homes are not known.",
    )


def _with_unknown(homes: NDArray, covered: NDArray, counted: NDArray, tile: Tile) -> NDArray[np.float32]:
    """Return homes as a tile, NaN in cells that only features without a count reach."""
    return np.where(covered & ~counted, np.nan, homes).astype(np.float32).reshape(tile.rows, tile.cols)


def _as_function(built_up: BuiltUp | NDArray[np.bool_] | None) -> BuiltUp | None:
    if built_up is None or callable(built_up):
        return built_up
    mask = np.asarray(built_up, dtype=bool)
    return lambda tile: mask[tile.window]


def _is_raster(path: Path) -> bool:
    """Return whether GDAL reads no vector layer from the file."""
    try:
        return len(pyogrio.list_layers(path)) == 0
    except pyogrio.errors.DataSourceError:
        return True
