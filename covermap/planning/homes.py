"""Homes in each cell, from points, polygons or a raster with counts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile, to_wgs84
from covermap.planning.homes_points import PointHomes
from covermap.planning.homes_polygons import BuiltUp, PolygonHomes
from covermap.planning.homes_raster import MOST_HOMES, RasterHomes
from covermap.planning.homes_totals import refuse_totals_with_parts
from covermap.planning.polygons import find_column, read_layer, usable_places, usable_polygons
from covermap.reception.entry import BUILDINGS

if TYPE_CHECKING:
    from covermap.scenario.settings import HomesSettings


class Homes(Protocol):
    """Homes over a grid, asked tile by tile, so that memory does not grow with the grid.

    total : homes with a count, on the map or not
    outside : the part of total that lies outside the map: its grid, or the area asked for
    features_without_count : points, polygons or raster cells whose count is blank, negative or suppressed
    warnings : sentences for people
    without_roof : the part of the homes that may use no roof (flats), as homes; None where all may
    efficient : the part of the homes in thermally efficient buildings; None where no column tells
    """

    total: float
    outside: float
    features_without_count: int
    warnings: tuple[str, ...]

    @property
    def without_roof(self) -> Homes | None:
        """Return the homes of flats that may use no roof."""
        ...

    @property
    def efficient(self) -> Homes | None:
        """Return the homes in thermally efficient buildings."""
        ...

    def window(self, tile: Tile) -> NDArray[np.float32]:
        """Return homes per cell, shape (rows, cols); 0 no homes, NaN only homes without a count."""
        ...

    def places_without_count(self) -> tuple[NDArray, NDArray] | None:
        """Return x and y of the features without a count; None where their places are not kept."""
        ...


def homes_per_cell(
    settings: HomesSettings,
    grid: Grid,
    built_up: BuiltUp | NDArray[np.bool_] | None = None,
    area: shapely.Geometry | None = None,
    building: str = BUILDINGS[0],
) -> PointHomes | PolygonHomes | RasterHomes | None:
    """Return the homes of a scenario on its map; None from a table that has no row yet.

    Parameters
    ----------
    settings : file (any vector or raster file GDAL reads) and the name of its count column; without
        one each point is one home
    grid : Grid
    built_up : which cells are built up, as an array (rows, cols) of the grid or a function of a tile;
        None without land cover. Only polygons use it.
    area : of grid.area.area_outline(): homes stand in cells whose middle lies in it; None is all of the grid
    building : of homes whose building column is blank

    Returns
    -------
    a Homes: window(tile), total, outside, features_without_count, warnings

    Raises
    ------
    InputError
        If the file is not readable, has no CRS, no such column, neither points nor polygons, totals beside
        their parts, no feature that can be used, or no home on the map.
    """
    homes = _homes(settings, grid, _as_function(built_up), area, building)
    # a hair under all: polygons' shares of the map are float32
    if homes is not None and homes.total > 0 and homes.outside >= (1.0 - 1e-9) * homes.total:
        raise InputError(_all_outside(homes.total, Path(settings.file), grid))
    return homes


def _homes(
    settings: HomesSettings,
    grid: Grid,
    built_up: BuiltUp | None,
    area: shapely.Geometry | None,
    building: str,
) -> PointHomes | PolygonHomes | RasterHomes | None:
    path = Path(settings.file)
    if _is_raster(path):
        for key in ("roof_access_percent", "building"):
            if getattr(settings, key) is not None:
                raise InputError(
                    f"[homes] {key} = {getattr(settings, key)!r}: {path.name} is a raster, "
                    "which has no such column. Give points or polygons, or leave it out."
                )
        return RasterHomes(path, grid, area)
    numbers = tuple(name for name in (settings.count, settings.roof_access_percent) if name)
    frame, warnings = read_layer(path, grid, "[homes] file", numbers=numbers)
    if frame.empty:
        return None
    count, doubts = _counts(frame, settings.count, path)
    without, roof_doubts = _share_without_roof(frame, settings.roof_access_percent, path)
    efficient, building_doubts = _share_efficient(frame, settings.building, building, path)
    layer = _Layer(path, grid, built_up, area)
    geometry, rows, notes = layer.usable(np.asarray(frame.geometry.array, dtype=object), count)
    homes = layer.homes(geometry, count[rows], (*warnings, *doubts, *roof_doubts, *building_doubts, *notes))
    if without is not None:
        # No warnings a second time: the same features have been told of above.
        homes.without_roof = layer.homes(geometry, (count * without)[rows], ())
    if efficient is not None:
        homes.efficient = layer.homes(geometry, (count * efficient)[rows], ())
    return homes


def _all_outside(total: float, path: Path, grid: Grid) -> str:
    west, north = grid.x_min, grid.y_max
    x, y = [west, west + grid.cols * grid.cell_m], [north - grid.rows * grid.cell_m, north]
    longitude_deg, latitude_deg = to_wgs84(grid.crs_wkt).transform(x, y)
    return (
        f"{path.name} ([homes] file): all {total:,.0f} homes lie outside the map, which reaches from "
        f"latitude {latitude_deg[0]:.3f}, longitude {longitude_deg[0]:.3f} to "
        f"latitude {latitude_deg[1]:.3f}, longitude {longitude_deg[1]:.3f}.\n"
        "  Is it the homes of this area, in the CRS the file declares, latitude and longitude not exchanged? "
        "Correct the file, or the area under [grid]."
    )


@dataclass(frozen=True, eq=False)
class _Layer:
    """A layer of points or of polygons over a grid."""

    path: Path
    grid: Grid
    built_up: BuiltUp | None
    area: shapely.Geometry | None

    def usable(
        self, geometry: NDArray[Any], count: NDArray[np.float64]
    ) -> tuple[NDArray[Any], NDArray[np.int64], tuple[str, ...]]:
        """Return the points or valid polygons, their row numbers, and sentences on the others.

        Raises InputError where there is anything else, both, or nothing usable.
        """
        placed = np.flatnonzero(usable_places(geometry))
        if not placed.size:
            raise InputError(
                f"{self.path.name} ([homes] file): no feature has a geometry. Give a layer with places."
            )
        kinds = set(shapely.get_dimensions(geometry[placed]).tolist())
        if kinds == {2}:
            polygons, rows, warnings = usable_polygons(geometry, self.path)
            refuse_totals_with_parts(polygons, count[rows], self.path)
            return polygons, rows, warnings + self._lost(count, rows)
        if kinds == {0}:
            centre = shapely.centroid(geometry[placed])  # a multipoint of one address counts once
            return centre, placed, self._lost(count, placed)
        found = ", ".join(sorted({shape.geom_type for shape in geometry[placed]}))
        raise InputError(
            f"{self.path.name}: found {found}. "
            "Homes are points or polygons, one kind in a layer. Give a layer of one kind."
        )

    def homes(
        self, geometry: NDArray[Any], count: NDArray[np.float64], warnings: tuple[str, ...]
    ) -> PointHomes | PolygonHomes:
        """Return usable points or polygons as homes."""
        if shapely.get_dimensions(geometry[0]) == 0:
            x, y = shapely.get_x(geometry), shapely.get_y(geometry)
            return PointHomes(x, y, count, self.grid, warnings, self.area)
        return PolygonHomes(geometry, count, self.grid, self.built_up, warnings, self.area)

    def _lost(self, count: NDArray[np.float64], rows: NDArray[np.int64]) -> tuple[str, ...]:
        """Return a sentence on the homes of features left out; '' of none."""
        left_out = np.delete(count, rows)
        if not left_out.size:
            return ()
        return (
            f"{self.path.name}: {left_out.size} features have no place on the map; their "
            f"{float(np.nansum(left_out)):g} homes are left out.",
        )


def _counts(
    frame: gpd.GeoDataFrame, column: str | None, path: Path
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Return the count of each feature, NaN where it is blank, negative or not a number."""
    if column is None:
        # Without a column a point is a home; a polygon so counts one as well.
        return np.ones(len(frame)), ()
    column = find_column(frame, column, "[homes] count", path)
    given = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    # Statistics write -1 or another negative number for what they suppress: not known is not 0.
    count = np.where((given >= 0) & (given <= MOST_HOMES), given, np.nan)
    negative, absurd = int((given < 0).sum()), int((given > MOST_HOMES).sum())
    without = int(np.isnan(count).sum())
    if len(count) and without == len(count):
        raise InputError(
            f"{path.name}, column {column}: not one of {len(count)} features has a count, the first says "
            f'"{frame[column].iloc[0]}". Name a column of numbers of 0 or more.'
        )
    if not without:
        return count, ()
    below = f" ({negative} of them negative, read as a code for suppressed)" if negative else ""
    below += f" ({absurd} of them say over {MOST_HOMES:,.0f}, which no place holds)" if absurd else ""
    return count, (
        f"{path.name}: {without} of {len(count)} features have no count{below}; their homes are not known.",
    )


def _share_without_roof(
    frame: gpd.GeoDataFrame, column: str | None, path: Path
) -> tuple[NDArray[np.float64] | None, tuple[str, ...]]:
    """Return the share of each feature's homes that may use no roof, 0 to 1; blank means all may."""
    if column is None:
        return None, ()
    column = find_column(frame, column, "[homes] roof_access_percent", path)
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


def _share_efficient(
    frame: gpd.GeoDataFrame, column: str | None, blank: str, path: Path
) -> tuple[NDArray[np.float64] | None, tuple[str, ...]]:
    """Return 1 for each feature of thermally efficient buildings, else 0; blank : building of blank cells."""
    if column is None:
        return None, ()
    column = find_column(frame, column, "[homes] building", path)
    given = frame[column].fillna("").astype(str).str.strip().str.lower().str.replace(" ", "_")
    wrong = np.flatnonzero(~given.isin(["", *BUILDINGS]))
    if wrong.size:
        raise InputError(
            f'{path.name}, feature {wrong[0] + 1}, column {column}: found "{frame[column].iloc[wrong[0]]}". '
            f"Write {' or '.join(BUILDINGS)}, or leave the cell empty."
        )
    empty = int((given == "").sum())
    words = blank.replace("_", " ")
    warning = f"{path.name}: {empty} features do not say of what their building is; there it is {words}."
    building = given.replace("", blank)
    return (building == BUILDINGS[1]).to_numpy(np.float64), (warning,) if empty else ()


def _as_function(built_up: BuiltUp | NDArray[np.bool_] | None) -> BuiltUp | None:
    if built_up is None or callable(built_up):
        return built_up
    mask = np.asarray(built_up, dtype=bool)
    return lambda tile: mask[tile.window]


def _is_raster(path: Path) -> bool:
    """Return whether GDAL reads no vector layer from the file."""
    try:
        return len(pyogrio.list_layers(path)) == 0
    # A file that no vector driver opens is left to the raster reader, whose message then is the right one.
    except pyogrio.errors.DataSourceError:
        return True
