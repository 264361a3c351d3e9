"""Homes in each cell, from points, polygons or a raster with counts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.planning.homes_points import PointHomes
from covermap.planning.homes_polygons import BuiltUp, PolygonHomes
from covermap.planning.homes_raster import RasterHomes, raster_total
from covermap.planning.homes_totals import refuse_totals_with_parts
from covermap.planning.polygons import polygons_only, read_layer

if TYPE_CHECKING:
    from covermap.scenario.settings import HomesSettings, Settings


class Homes(Protocol):
    """Homes over a grid, asked tile by tile, so that memory does not grow with the grid.

    total : homes with a count, inside the grid or not
    outside : the part of total that lies outside the grid
    features_without_count : points, polygons or raster cells whose count is blank, negative or suppressed
    warnings : sentences for people
    without_roof : the part of the homes that may use no roof (flats), as homes; None where all may
    """

    total: float
    outside: float
    features_without_count: int
    warnings: tuple[str, ...]

    @property
    def without_roof(self) -> Homes | None:
        """Return the homes of flats that may use no roof."""
        ...

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 no homes, NaN only homes without a count."""
        ...

    def places_without_count(self) -> tuple[NDArray, NDArray] | None:
        """Return x and y of the features without a count; None where their places are not kept."""
        ...


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
        If the file is not readable, has no CRS, no such column, neither points nor polygons, or totals
        beside their parts.
    """
    path = Path(settings.file)
    if _is_raster(path):
        if settings.roof_access_percent is not None:
            raise InputError(
                f"[homes] roof_access_percent = {settings.roof_access_percent!r}: {path.name} is a raster, "
                "which has no such column. Give points or polygons, or leave it out."
            )
        return RasterHomes(path, grid)
    frame = read_layer(path, grid, "homes")
    count, warnings = _counts(frame, settings.count, path)
    without, roof_warnings = _share_without_roof(frame, settings.roof_access_percent, path)
    homes = _vector_homes(frame, count, grid, _as_function(built_up), warnings + roof_warnings, path)
    if without is not None:
        homes.without_roof = _vector_homes(frame, count * without, grid, _as_function(built_up), (), path)
    return homes


def homes_in_words(settings: Settings) -> str:
    """Return what a scenario says about homes: '4,800 in 62 neighbourhoods, 2021'.

    Raises InputError if a layer is not readable, or a column is missing.
    """
    if settings.homes is None:
        return "none given; results are shares of land"
    path = Path(settings.homes.file)
    if _is_raster(path):
        total, without = raster_total(path)
    else:
        count, _ = _counts(read_layer(path, None, "homes"), settings.homes.count, path)
        total, without = float(np.nansum(count)), int(np.isnan(count).sum())
    words = f"{total:,.0f}"
    if settings.areas is not None and settings.areas.neighbourhoods is not None:
        areas = len(read_layer(Path(settings.areas.neighbourhoods), None, "neighbourhoods"))
        words += f" in {areas:,} neighbourhoods"
    if settings.homes.year is not None:
        words += f", {settings.homes.year}"
    return words + (f"; {without:,} features without a count" if without else "")


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
        refuse_totals_with_parts(polygons, count, path)
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
    given = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    count = np.where(np.isfinite(given) & (given >= 0), given, np.nan)
    negative = int((given < 0).sum())
    without = int(np.isnan(count).sum())
    if len(count) and without == len(count):
        raise InputError(
            f"{path.name}, column {column}: not one of {len(count)} features has a count, the first says "
            f"{frame[column].iloc[0]!r}. Name a column of numbers."
        )
    if not without:
        return count, ()
    below = f" ({negative} of them negative, read as a code for suppressed)" if negative else ""
    return count, (
        f"{path.name}: {without} of {len(count)} features have no count{below}; their homes are not known.",
    )


def _share_without_roof(
    frame: gpd.GeoDataFrame, column: str | None, path: Path
) -> tuple[NDArray[np.float64] | None, tuple[str, ...]]:
    """Return the share of each feature's homes that may use no roof, 0 to 1; blank means all may."""
    if column is None:
        return None, ()
    if column not in frame.columns:
        columns = ", ".join(str(name) for name in frame.columns if name != frame.geometry.name) or "none"
        raise InputError(
            f"[homes] roof_access_percent = {column!r}: {path.name} has no such column. "
            f"Its columns are: {columns}."
        )
    access = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    wrong = np.flatnonzero((access < 0.0) | (access > 100.0))
    if wrong.size:
        raise InputError(
            f"{path.name}, feature {wrong[0] + 1}, column {column}: found {access[wrong[0]]:g}. "
            "It is the share of homes with access to a roof: write 0 to 100."
        )
    blank = int(np.isnan(access).sum())
    warning = f"{path.name}: {blank} features do not say who may use the roof; there all are taken to."
    return 1.0 - np.nan_to_num(access, nan=100.0) / 100.0, (warning,) if blank else ()


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
