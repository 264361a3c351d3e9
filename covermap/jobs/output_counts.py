"""What is counted from the rasters of a result before layers and pages are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import pandas as pd
import pyproj

from covermap.bearings import compass_day, declination
from covermap.inputs.preparation import Preparation
from covermap.jobs.side_by_side import side_by_side
from covermap.planning.areas import WholeSummary, summarise_areas, summarise_whole
from covermap.planning.dead_zones import NamedPlace, find_dead_zones
from covermap.planning.neighbourhoods import with_outside
from covermap.planning.not_promised import NotPromised, not_promised
from covermap.planning.places import Place
from covermap.planning.shading import shading_ridges
from covermap.planning.stock import parts_of_tier, stock_table
from covermap.planning.suppression import round_summary
from covermap.planning.tier_totals import tier_totals
from covermap.result.coverage import Coverage
from covermap.result.public import public_areas, public_ridges, public_totals, public_zones


@dataclass(frozen=True)
class Counts:
    """What is counted from the rasters before anything is written.

    areas : neighbourhoods, and the row outside them; None without
    behind : homes not promised the first list, by reason
    """

    whole: dict[str, WholeSummary]
    areas: gpd.GeoDataFrame | None
    zones: gpd.GeoDataFrame
    ridges: gpd.GeoDataFrame
    totals: pd.DataFrame
    stock: pd.DataFrame | None
    behind: NotPromised


def counts_of(prepared: Preparation, coverage: Coverage) -> Counts:
    """Return everything that is counted."""
    with side_by_side(2) as begin:
        whole = begin(summarise_whole, coverage)
        areas = begin(_areas, prepared, coverage)
        zones = begin(_dead_zones, coverage, prepared.counted.places)
        ridges = begin(_ridges, prepared, coverage)
        totals = begin(tier_totals, coverage, coverage.tier_names)
        stock = begin(_stock, prepared, coverage)
        behind = begin(not_promised, coverage, coverage.lists[0])
        return Counts(whole(), areas(), zones(), ridges(), totals(), stock(), behind())


def public_counts(counts: Counts) -> Counts:
    """Return the counts without small ones and what would reveal them, and without the stock."""
    return replace(
        counts,
        whole={name: round_summary(summary) for name, summary in counts.whole.items()},
        areas=public_areas(counts.areas),
        zones=public_zones(counts.zones),
        ridges=public_ridges(counts.ridges),
        totals=public_totals(counts.totals),
        stock=None,
        behind=counts.behind.rounded(),
    )


def _areas(prepared: Preparation, coverage: Coverage) -> gpd.GeoDataFrame | None:
    neighbourhoods = prepared.counted.neighbourhoods
    if neighbourhoods is None:
        return None
    on = compass_day(coverage.run.get("stations_as_of", ""))

    def declination_deg(latitude_deg: float, longitude_deg: float) -> float | None:
        found = declination(latitude_deg, longitude_deg, on)
        return None if found is None else found.declination_deg

    if prepared.homes is not None:
        neighbourhoods = with_outside(neighbourhoods, coverage.grid)
    return summarise_areas(coverage, neighbourhoods, prepared.homes, prepared.land, declination_deg)


def _stock(prepared: Preparation, coverage: Coverage) -> pd.DataFrame | None:
    """Return the stock of the service area; None without homes or prices."""
    counted = prepared.counted
    if counted.prices is None or counted.homes is None:
        return None
    return stock_table(
        coverage,
        counted.homes,
        counted.service_area,
        counted.prices,
        amplified=[tier.tier for tier in prepared.tiers if "amplifier" in parts_of_tier(tier)],
        masts=[tier.tier for tier in prepared.tiers if "mast" in parts_of_tier(tier)],
    )


def _ridges(prepared: Preparation, coverage: Coverage) -> gpd.GeoDataFrame:
    """Return the ridges that shade homes, of all lists."""
    dn = prepared.scenario.settings.prediction.dn
    found = [
        shading_ridges(coverage, prepared.scenario.stations, prepared.terrain, name, dn)
        for name in coverage.lists
    ]
    return gpd.GeoDataFrame(
        pd.concat(found, ignore_index=True), geometry="geometry", crs=coverage.grid.crs_wkt
    )


def _dead_zones(coverage: Coverage, named: Sequence[Place]) -> gpd.GeoDataFrame:
    """Return the dead and doubtful zones of all lists, named after the nearest of the places."""
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", coverage.grid.crs, always_xy=True)
    places = [
        NamedPlace(place.name, *to_grid.transform(place.longitude_deg, place.latitude_deg)) for place in named
    ]
    zones = [find_dead_zones(coverage, name, places) for name in coverage.lists]
    return gpd.GeoDataFrame(
        pd.concat(zones, ignore_index=True), geometry="geometry", crs=coverage.grid.crs_wkt
    )
