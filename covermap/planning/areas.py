"""What the homes of each neighbourhood need: one row a neighbourhood and wanted list."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.grid.frame import Tile
from covermap.planning.cell_fractions import Fractions, PolygonCells
from covermap.planning.homes import Homes, PointHomes
from covermap.planning.results import Results
from covermap.planning.tally import HALF, NINETY_PERCENT, Tally, read_results

LandMask = Callable[[Tile], NDArray[np.bool_]]
"""Gives which cells of a tile are land, shape (rows, cols)."""

TIER_NUMBERS = range(1, TIER_NOT_PROMISED + 1)
HOMES_PREFIX = "homes_"
LAND_PREFIX = "share_of_land_percent_"
DECIMALS = 3


def _counted(prefix: str, of_what: str) -> tuple[str, ...]:
    """Return the counted columns in order, for homes or for shares of land."""
    return (
        f"{prefix}total",
        f"{prefix}unknown",
        *(f"{prefix}tier_{tier}" for tier in TIER_NUMBERS),
        *(f"{prefix}expected_tier_{tier}" for tier in TIER_NUMBERS),
        f"{prefix}rooftop_or_more",
        f"{prefix}without",
        f"tier_half_of_{of_what}",
        f"tier_ninety_percent_of_{of_what}",
    )


NEIGHBOURHOOD_ORDER: tuple[str, ...] = (
    "neighbourhood_id",
    "neighbourhood_name",
    "wanted_list",
    *_counted(HOMES_PREFIX, "homes"),
    *_counted(LAND_PREFIX, "land"),
    "deciding_service",
    "deciding_share_percent",
    "aim_deg_true",
    "confidence_median_percent",
    "area_km2",
    "unknown_area_percent",
    "homes_year",
    "stations_as_of",
    "features_without_count",
    "run_id",
)
"""Columns of the neighbourhoods layer and table; those of homes or those of land are there, not both."""


def summarise_areas(
    coverage: Results, neighbourhoods: gpd.GeoDataFrame, homes: Homes | None, land: LandMask | None = None
) -> gpd.GeoDataFrame:
    """Return what each neighbourhood's homes need, for every wanted list.

    Parameters
    ----------
    coverage : the result
    neighbourhoods : of read_neighbourhoods()
    homes : of homes_per_cell(); None without homes: the columns are then shares of land
    land : which cells are land; without it all cells count. Only used without homes.

    Returns
    -------
    GeoDataFrame in the grid's CRS, one row a neighbourhood and list, columns in the order of
    NEIGHBOURHOOD_ORDER. Homes given as points count where they stand; other homes of a cell on an edge
    are shared by area. homes_total = the tiers + homes_unknown. What is not known is missing, never 0.
    """
    polygons = np.asarray(neighbourhoods.geometry.array, dtype=object)
    cells = PolygonCells(polygons, coverage.grid)
    share_out = _sharing(homes, polygons, cells, land)
    weights = {name: Tally(len(polygons), len(coverage.services(name))) for name in coverage.lists}
    known_cells = {name: np.zeros(len(polygons)) for name in coverage.lists}
    for tile in coverage.grid.tiles():
        if cells.touching(tile).size == 0:
            continue
        covered = cells.fractions(tile)
        area, cell, weight = share_out(tile, covered)
        for name in coverage.lists:
            results = read_results(coverage, name, tile)
            weights[name].add(area, cell, weight, results)
            known = results.tier[covered.cell] <= TIER_NOT_PROMISED
            known_cells[name] += np.bincount(
                covered.polygon[known], covered.fraction[known], minlength=len(polygons)
            )
    common = _common_columns(coverage, neighbourhoods, homes)
    tables = []
    for name in coverage.lists:
        table = tally_table(weights[name], coverage.services(name), of_homes=homes is not None)
        known_share = known_cells[name] * coverage.grid.cell_m**2 / np.maximum(shapely.area(polygons), 1e-9)
        table["unknown_area_percent"] = np.clip(100.0 * (1.0 - known_share), 0.0, 100.0).round(DECIMALS)
        tables.append(pd.concat([common.assign(wanted_list=name), table], axis=1))
    return _assemble(tables, polygons, coverage.grid.crs_wkt)


@dataclass(frozen=True, eq=False)
class WholeSummary:
    """One list over the whole asked area.

    columns : as of one neighbourhood: homes_total, homes_unknown, homes_tier_1, ..., deciding_service, ...
        or share_of_land_percent_... without homes
    decided : service -> homes (without homes: cells) for which it decides
    """

    columns: pd.Series
    decided: dict[str, float]


def summarise_whole(coverage: Results) -> dict[str, WholeSummary]:
    """Return what all cells of the asked area need together, by list name.

    Homes are those of the raster `homes`; without it the columns are shares of the area's cells.
    """
    of_homes = coverage.has("homes")
    tallies = {name: Tally(1, len(coverage.services(name))) for name in coverage.lists}
    for tile in coverage.grid.tiles():
        if of_homes:
            weight = np.nan_to_num(coverage.read("homes", tile).ravel().astype(np.float64))
        else:
            weight = coverage.inside_area(tile).ravel().astype(np.float64)
        cell = np.flatnonzero(weight)
        for name, tally in tallies.items():
            tally.add(np.zeros_like(cell), cell, weight[cell], read_results(coverage, name, tile))
    return {
        name: WholeSummary(
            tally_table(tally, coverage.services(name), of_homes=of_homes).iloc[0],
            dict(zip(coverage.services(name), tally.by_service[0].round(DECIMALS).tolist(), strict=True)),
        )
        for name, tally in tallies.items()
    }


def tally_table(tally: Tally, services: tuple[str, ...], *, of_homes: bool) -> pd.DataFrame:
    """Return the columns of a tally; without homes as shares of land in percent."""
    prefix = HOMES_PREFIX if of_homes else LAND_PREFIX
    of_what = "homes" if of_homes else "land"
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = np.ones(len(tally.total)) if of_homes else 100.0 / tally.total
        scale = np.where(np.isfinite(scale), scale, np.nan)
    columns: dict[str, Any] = {f"{prefix}total": tally.total * scale} if of_homes else {}
    columns[f"{prefix}unknown"] = tally.by_tier[:, 0] * scale
    columns |= {f"{prefix}tier_{tier}": tally.by_tier[:, tier] * scale for tier in TIER_NUMBERS}
    columns |= {f"{prefix}expected_tier_{tier}": tally.expected[:, tier - 1] * scale for tier in TIER_NUMBERS}
    columns[f"{prefix}rooftop_or_more"] = tally.rooftop_or_more * scale
    columns[f"{prefix}without"] = tally.without * scale
    columns = {name: np.round(values, DECIMALS) for name, values in columns.items()}
    columns[f"tier_half_of_{of_what}"] = _whole(tally.tier_reaching(HALF))
    columns[f"tier_ninety_percent_of_{of_what}"] = _whole(tally.tier_reaching(NINETY_PERCENT))
    deciding = tally.deciding()
    names = [None if index is None else services[index] for index, _ in deciding]
    columns["deciding_service"] = pd.array(names, dtype="string")
    shares = [np.nan if share is None else share for _, share in deciding]
    columns["deciding_share_percent"] = np.round(np.array(shares, dtype=float), DECIMALS)
    columns["aim_deg_true"] = _whole(tally.common_aim())
    columns["confidence_median_percent"] = _whole(tally.median_confidence())
    return pd.DataFrame(columns)


def area_km2(polygons: NDArray[Any], crs_wkt: str) -> NDArray[np.float64]:
    """Return the areas on the WGS 84 ellipsoid in km2 (geodesic, pyproj.Geod)."""
    geod = pyproj.Geod(ellps="WGS84")
    geographic = gpd.GeoSeries(polygons, crs=crs_wkt).to_crs("EPSG:4326")
    return np.array(
        [abs(geod.geometry_area_perimeter(shape)[0]) / 1e6 if shape else 0.0 for shape in geographic]
    )


Sharing = Callable[[Tile, Fractions], tuple[NDArray, NDArray, NDArray]]


def _sharing(
    homes: Homes | None, polygons: NDArray[Any], cells: PolygonCells, land: LandMask | None
) -> Sharing:
    """Return a function that gives area, cell and weight of every part of a tile."""
    if isinstance(homes, PointHomes):
        return _PointSharing(homes, polygons)
    if homes is not None:

        def by_homes(tile: Tile, covered: Fractions) -> tuple[NDArray, NDArray, NDArray]:
            in_cell = np.nan_to_num(homes.window(tile).ravel().astype(np.float64))
            return covered.polygon, covered.cell, covered.fraction * in_cell[covered.cell]

        return by_homes

    def by_land(tile: Tile, covered: Fractions) -> tuple[NDArray, NDArray, NDArray]:
        if land is None:
            return covered.polygon, covered.cell, covered.fraction
        return covered.polygon, covered.cell, covered.fraction * land(tile).ravel()[covered.cell]

    return by_land


class _PointSharing:
    """Shares homes out by where each point stands; a point on a common edge counts once."""

    def __init__(self, homes: PointHomes, polygons: NDArray[Any]) -> None:
        self.homes = homes
        self.point, self.area = points_in_polygons(homes.x, homes.y, polygons)

    def __call__(self, tile: Tile, covered: Fractions) -> tuple[NDArray, NDArray, NDArray]:
        homes = self.homes
        chosen = np.sort(homes.points_in(tile)[~np.isnan(homes.count[homes.points_in(tile)])])
        first = np.searchsorted(self.point, chosen, side="left")
        pairs = np.searchsorted(self.point, chosen, side="right") - first
        pair = np.repeat(first - np.r_[0, np.cumsum(pairs)[:-1]] if len(pairs) else first, pairs) + np.arange(
            pairs.sum()
        )
        point = self.point[pair]
        cell = (homes.row[point] - tile.row) * tile.cols + homes.col[point] - tile.col
        return self.area[pair], cell, homes.count[point]


def points_in_polygons(x: NDArray, y: NDArray, polygons: NDArray[Any]) -> tuple[NDArray, NDArray]:
    """Return point and polygon indices of every point inside a polygon, sorted by point.

    A point inside overlapping polygons stands with each; one on an edge alone with the first.
    """
    points = shapely.points(x, y)
    tree = shapely.STRtree(polygons)
    point, polygon = tree.query(points, predicate="within")
    edge = np.setdiff1d(np.arange(len(points)), point)
    on_edge, edge_polygon = tree.query(points[edge], predicate="intersects")
    order = np.lexsort((edge_polygon, on_edge))
    on_edge, edge_polygon = on_edge[order], edge_polygon[order]
    _, first = np.unique(on_edge, return_index=True)
    point, polygon = np.r_[point, edge[on_edge[first]]], np.r_[polygon, edge_polygon[first]]
    order = np.lexsort((polygon, point))
    return point[order].astype(np.int64), polygon[order].astype(np.int64)


def _common_columns(coverage: Results, neighbourhoods: gpd.GeoDataFrame, homes: Homes | None) -> pd.DataFrame:
    """Return the columns that do not depend on the list."""
    polygons = np.asarray(neighbourhoods.geometry.array, dtype=object)
    year = (coverage.run.get("homes") or {}).get("year")
    table = pd.DataFrame(
        {
            "neighbourhood_id": neighbourhoods["neighbourhood_id"].to_numpy(),
            "neighbourhood_name": neighbourhoods["neighbourhood_name"].to_numpy(),
            "area_km2": area_km2(polygons, coverage.grid.crs_wkt).round(6),
        }
    )
    table["homes_year"] = _whole([year] * len(table))
    table["stations_as_of"] = pd.array(
        [coverage.run.get("stations_as_of") or None] * len(table), dtype="string"
    )
    table["features_without_count"] = _whole(_without_count(homes, polygons))
    table["run_id"] = coverage.run.get("run_id", "")
    return table


def _without_count(homes: Homes | None, polygons: NDArray[Any]) -> list[int | None]:
    """Return how many features without a count stand in each neighbourhood; None where it is not known."""
    places = None if homes is None else homes.places_without_count()
    if places is None:
        return [None] * len(polygons)
    _, polygon = points_in_polygons(*places, polygons)
    return np.bincount(polygon, minlength=len(polygons)).tolist()


def _assemble(tables: list[pd.DataFrame], polygons: NDArray[Any], crs_wkt: str) -> gpd.GeoDataFrame:
    """Return the lists under each other, columns in their promised order, empty outlines without numbers."""
    empty = shapely.is_empty(polygons)
    for table in tables:
        counted = [name for name in table.columns if name.startswith((HOMES_PREFIX, LAND_PREFIX))]
        table.loc[empty, [name for name in counted if name != "homes_year"]] = np.nan
        table.loc[empty, "unknown_area_percent"] = np.nan
    rows = pd.concat(tables, ignore_index=True)
    ordered = [name for name in NEIGHBOURHOOD_ORDER if name in rows.columns]
    geometry = np.concatenate([polygons] * len(tables))
    return gpd.GeoDataFrame(rows[ordered], geometry=geometry, crs=crs_wkt)


def _whole(values: list[Any]) -> pd.api.extensions.ExtensionArray:
    """Return whole numbers with gaps."""
    return pd.array(values, dtype="Int64")
