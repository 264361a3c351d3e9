"""What the homes of each neighbourhood need: one row a neighbourhood and wanted list."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
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
from covermap.planning.further_tally import SHIFTS
from covermap.planning.homes import Homes, PointHomes
from covermap.planning.list_tally import (
    DECIMALS,
    HOMES_PREFIX,
    LAND_PREFIX,
    TIER_NUMBERS,
    ListTally,
    whole_numbers,
)
from covermap.planning.results import Results

Declination = Callable[[float, float], float | None]
LandMask = Callable[[Tile], NDArray[np.bool_]]
"""Gives which cells of a tile are land, shape (rows, cols)."""


def _counted(prefix: str, of_what: str) -> tuple[str, ...]:
    """Return the counted columns in order, for homes or for shares of land."""
    return (
        f"{prefix}total",
        f"{prefix}unknown",
        *(f"{prefix}tier_{tier}" for tier in TIER_NUMBERS),
        *(f"{prefix}expected_tier_{tier}" for tier in TIER_NUMBERS),
        f"{prefix}rooftop_or_more",
        f"{prefix}rooftop_or_more_3db_weaker",
        f"{prefix}rooftop_or_more_3db_stronger",
        f"{prefix}expected_rooftop_or_more",
        f"{prefix}expected_rooftop_or_more_low",
        f"{prefix}expected_rooftop_or_more_high",
        f"{prefix}without",
        f"{prefix}without_low",
        f"{prefix}without_high",
        f"{prefix}without_3db_weaker",
        f"{prefix}without_3db_stronger",
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
    "tier_half_without_deciding",
    "aim_deg_true",
    "aim_deg_magnetic",
    "second_aim_deg_true",
    "two_antennas_percent",
    "high_vhf_percent",
    "amplifier_helps_percent",
    "amplifier_harms_percent",
    "main_cause",
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
    coverage: Results,
    neighbourhoods: gpd.GeoDataFrame,
    homes: Homes | None,
    land: LandMask | None = None,
    declination_deg: Declination | None = None,
) -> gpd.GeoDataFrame:
    """Return what each neighbourhood's homes need, for every wanted list.

    Parameters
    ----------
    coverage : the result
    neighbourhoods : of read_neighbourhoods()
    homes : of homes_per_cell(); None without homes: the columns are then shares of land
    land : which cells are land; without it all cells count. Only used without homes.
    declination_deg : gives degrees east of true north at latitude and longitude, or None; without it
        aim_deg_magnetic is missing

    Returns
    -------
    GeoDataFrame in the grid's CRS, one row a neighbourhood and list, columns in the order of
    NEIGHBOURHOOD_ORDER. Homes given as points count where they stand; other homes of a cell on an edge
    are shared by area. homes_total = the tiers + homes_unknown. What is not known is missing, never 0.
    """
    polygons = np.asarray(neighbourhoods.geometry.array, dtype=object)
    cells = PolygonCells(polygons, coverage.grid)
    share_out = sharing(homes, polygons, cells, land)
    tallies = {
        name: ListTally(coverage, name, len(polygons), of_homes=homes is not None) for name in coverage.lists
    }
    known_cells = {name: np.zeros(len(polygons)) for name in coverage.lists}
    for tile in coverage.grid.tiles():
        if cells.touching(tile).size == 0:
            continue
        covered = cells.fractions(tile)
        parts = share_out(tile, covered)
        for name in coverage.lists:
            results = tallies[name].add(tile, *parts)
            known = results.tier[covered.cell] <= TIER_NOT_PROMISED
            known_cells[name] += np.bincount(
                covered.polygon[known], covered.fraction[known], minlength=len(polygons)
            )
    common = _common_columns(coverage, neighbourhoods, homes)
    tables = []
    for name in coverage.lists:
        table = tallies[name].table()
        known_share = known_cells[name] * coverage.grid.cell_m**2 / np.maximum(shapely.area(polygons), 1e-9)
        table["unknown_area_percent"] = np.clip(100.0 * (1.0 - known_share), 0.0, 100.0).round(DECIMALS)
        table["aim_deg_magnetic"] = _magnetic(table["aim_deg_true"], neighbourhoods, declination_deg)
        tables.append(pd.concat([common.assign(wanted_list=name), table], axis=1))
    return _assemble(tables, polygons, coverage.grid.crs_wkt)


@dataclass(frozen=True, eq=False)
class WholeSummary:
    """One list over the whole asked area.

    columns : as of one neighbourhood: homes_total, homes_unknown, homes_tier_1, ..., deciding_service, ...
        or share_of_land_percent_... without homes
    decided : service -> homes (without homes: cells) for which it decides
    bars : homes (without homes: cells) unknown and in tiers 1 to 8, under `predicted`, and where the
        result holds them under `3db_weaker` and `3db_stronger`
    """

    columns: pd.Series
    decided: dict[str, float]
    bars: dict[str, list[float]] = field(default_factory=dict)


def summarise_whole(coverage: Results) -> dict[str, WholeSummary]:
    """Return what all cells of the asked area need together, by list name.

    Homes are those of the raster `homes`; without it the columns are shares of the area's cells.
    """
    of_homes = coverage.has("homes")
    tallies = {name: ListTally(coverage, name, 1, of_homes=of_homes) for name in coverage.lists}
    for tile in coverage.grid.tiles():
        if of_homes:
            weight = np.nan_to_num(coverage.read("homes", tile).ravel().astype(np.float64))
        else:
            weight = coverage.inside_area(tile).ravel().astype(np.float64)
        without_roof = None
        cell = np.flatnonzero(weight)
        if of_homes and coverage.has("homes_without_roof"):
            without_roof = np.nan_to_num(coverage.read("homes_without_roof", tile).ravel()[cell])
        for tally in tallies.values():
            tally.add(tile, np.zeros_like(cell), cell, weight[cell], without_roof)
    return {name: _whole_summary(tally) for name, tally in tallies.items()}


def _whole_summary(tally: ListTally) -> WholeSummary:
    decided = tally.tally.by_service[0].round(DECIMALS).tolist()
    return WholeSummary(tally.table().iloc[0], dict(zip(tally.services, decided, strict=True)), _bars(tally))


def _bars(tally: ListTally) -> dict[str, list[float]]:
    """Return the weight by tier, unknown first, as predicted and with every field 3 dB down and up."""
    found = {"predicted": tally.tally.by_tier[0].round(DECIMALS).tolist()}
    for shift in SHIFTS:
        by_tier = tally.further.table(f"tier_{shift}")
        if by_tier is not None:
            # Unknown is what is left of the total: at some shifts other cells are unknown, and all bars must
            # be as long.
            by_tier[0, 0] = max(0.0, tally.tally.total[0] - by_tier[0, 1:].sum())
            found[shift] = by_tier[0].round(DECIMALS).tolist()
    return found


def area_km2(polygons: NDArray[Any], crs_wkt: str) -> NDArray[np.float64]:
    """Return the areas on the WGS 84 ellipsoid in km2 (geodesic, pyproj.Geod)."""
    geod = pyproj.Geod(ellps="WGS84")
    geographic = gpd.GeoSeries(polygons, crs=crs_wkt).to_crs("EPSG:4326")
    return np.array(
        [abs(geod.geometry_area_perimeter(shape)[0]) / 1e6 if shape else 0.0 for shape in geographic]
    )


Sharing = Callable[[Tile, Fractions], tuple[NDArray, NDArray, NDArray, NDArray | None]]


def sharing(
    homes: Homes | None, polygons: NDArray[Any], cells: PolygonCells, land: LandMask | None
) -> Sharing:
    """Return a function that gives area, cell, weight and weight without a roof of every part of a tile."""
    if isinstance(homes, PointHomes):
        return _PointSharing(homes, polygons)
    if homes is not None:
        without_roof = getattr(homes, "without_roof", None)

        def share_of(layer: Homes, tile: Tile, covered: Fractions) -> NDArray:
            in_cell = np.nan_to_num(layer.window(tile).ravel().astype(np.float64))
            return covered.fraction * in_cell[covered.cell]

        def by_homes(tile: Tile, covered: Fractions) -> tuple[NDArray, NDArray, NDArray, NDArray | None]:
            roofless = None if without_roof is None else share_of(without_roof, tile, covered)
            return covered.polygon, covered.cell, share_of(homes, tile, covered), roofless

        return by_homes

    def by_land(tile: Tile, covered: Fractions) -> tuple[NDArray, NDArray, NDArray, None]:
        if land is None:
            return covered.polygon, covered.cell, covered.fraction, None
        return covered.polygon, covered.cell, covered.fraction * land(tile).ravel()[covered.cell], None

    return by_land


class _PointSharing:
    """Shares homes out by where each point stands; a point on a common edge counts once."""

    def __init__(self, homes: PointHomes, polygons: NDArray[Any]) -> None:
        self.homes = homes
        # Sorted by point, so that the areas of a tile's points are a slice of it found by bisection.
        self.point, self.area = points_in_polygons(homes.x, homes.y, polygons)

    def __call__(self, tile: Tile, covered: Fractions) -> tuple[NDArray, NDArray, NDArray, NDArray | None]:
        homes = self.homes
        chosen = np.sort(homes.points_in(tile)[~np.isnan(homes.count[homes.points_in(tile)])])
        first = np.searchsorted(self.point, chosen, side="left")
        pairs = np.searchsorted(self.point, chosen, side="right") - first
        # For each chosen point the run of its (point, area) pairs, without a loop over points.
        pair = np.repeat(first - np.r_[0, np.cumsum(pairs)[:-1]] if len(pairs) else first, pairs) + np.arange(
            pairs.sum()
        )
        point = self.point[pair]
        cell = (homes.row[point] - tile.row) * tile.cols + homes.col[point] - tile.col
        roofless = None if homes.without_roof is None else np.nan_to_num(homes.without_roof.count[point])
        return self.area[pair], cell, homes.count[point], roofless


def points_in_polygons(x: NDArray, y: NDArray, polygons: NDArray[Any]) -> tuple[NDArray, NDArray]:
    """Return point and polygon indices of every point inside a polygon, sorted by point.

    A point inside overlapping polygons stands with each; one on an edge alone with the first.
    """
    points = shapely.points(x, y)
    tree = shapely.STRtree(polygons)
    point, polygon = tree.query(points, predicate="within")
    # "within" leaves points on an edge out, "intersects" gives them to both sides: those that have no polygon
    # yet go to the first that touches them, and none counts twice.
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
    table["homes_year"] = whole_numbers([year] * len(table))
    table["stations_as_of"] = pd.array(
        [coverage.run.get("stations_as_of_oldest") or coverage.run.get("stations_as_of") or None]
        * len(table),
        dtype="string",
    )
    table["features_without_count"] = whole_numbers(_without_count(homes, polygons))
    table["run_id"] = coverage.run.get("run_id", "")
    return table


def _magnetic(
    aim_deg_true: pd.Series, neighbourhoods: gpd.GeoDataFrame, declination_deg: Declination | None
) -> pd.api.extensions.ExtensionArray:
    """Return whole degrees from magnetic north at the middle of each neighbourhood, missing where unknown."""
    if declination_deg is None:
        return whole_numbers([None] * len(aim_deg_true))
    middles = neighbourhoods.geometry.representative_point().to_crs("EPSG:4326")
    found: list[int | None] = []
    for aim, middle in zip(aim_deg_true, middles, strict=True):
        east = None if pd.isna(aim) or middle.is_empty else declination_deg(middle.y, middle.x)
        # floor(x + 0.5): round() goes to even numbers, so that two neighbours half a degree apart could say
        # the same
        found.append(None if east is None else int(np.floor(aim - east + 0.5)) % 360)
    return whole_numbers(found)


def _without_count(homes: Homes | None, polygons: NDArray[Any]) -> list[int | None]:
    """Return how many features without a count stand in each neighbourhood; None where it is not known."""
    places = None if homes is None else homes.places_without_count()
    if places is None:
        return [None] * len(polygons)
    _, polygon = points_in_polygons(*places, polygons)
    return np.bincount(polygon, minlength=len(polygons)).tolist()


def _assemble(tables: list[pd.DataFrame], polygons: NDArray[Any], crs_wkt: str) -> gpd.GeoDataFrame:
    """Return the lists under each other, columns in their promised order, empty outlines without numbers."""
    # such as the row outside every neighbourhood where they cover the map: nothing was counted there
    empty = shapely.is_empty(polygons)
    for table in tables:
        counted = [name for name in table.columns if name.startswith((HOMES_PREFIX, LAND_PREFIX))]
        table.loc[empty, [name for name in counted if name != "homes_year"]] = np.nan
        table.loc[empty, "unknown_area_percent"] = np.nan
    rows = pd.concat(tables, ignore_index=True)
    ordered = [name for name in NEIGHBOURHOOD_ORDER if name in rows.columns]
    geometry = np.concatenate([polygons] * len(tables))
    return gpd.GeoDataFrame(rows[ordered], geometry=geometry, crs=crs_wkt)
