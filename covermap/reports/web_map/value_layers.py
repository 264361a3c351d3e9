"""The value layers of the page, one after the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT
from covermap.planning.results import read_chances
from covermap.reports.web_map.layers import (
    OUTSIDE,
    UNKNOWN,
    chance_bytes,
    field_bytes,
    homes_tenths,
    two_bytes,
)
from covermap.reports.web_map.map_layers import area_layers, counted_homes, zone_layers
from covermap.reports.web_map.own_antennas import PageAntennas
from covermap.reports.web_map.own_list import OwnList
from covermap.reports.web_map.page_grid import PageGrid
from covermap.reports.web_map.plan_layers import plan_layers
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import OUTSIDE_FLAG, bits_of


def whole_layers(
    coverage: Coverage,
    grid: PageGrid,
    lists: Sequence[str],
    relief: NDArray[np.uint8],
    areas: gpd.GeoDataFrame | None,
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield name and bytes of the layers with a value for every pixel, one in memory at a time.

    lists : names. relief : of the pixels
    """
    yield "relief", relief
    yield "flags", grid.spread(bits_of(coverage.read("flags")), 0)
    if coverage.has("homes"):
        tenths = grid.spread(homes_tenths(coverage.read("homes")), 0)
        yield "homes_low", two_bytes(tenths)[0]
        yield "homes_high", two_bytes(tenths)[1]
        yield "homes_any", counted_homes(grid, tenths)
    yield from area_layers(areas, grid, lists[0])
    if coverage.has("services_count") and coverage.has("service_tiers"):
        for tier, count in enumerate(coverage.read("services_count"), start=1):
            yield f"services_count/{tier}", grid.spread(count, UNKNOWN)
    outside = outside_area(coverage)
    for name in lists:
        yield f"{name}/tier", inside_map(grid, coverage.read(f"{name}/tier"), outside)
        low, high = two_bytes(grid.spread(coverage.read(f"{name}/aim"), -1))
        yield f"{name}/aim_low", low
        yield f"{name}/aim_high", high
        for kind in ("limiting_service", "deciding_service"):
            yield f"{name}/{kind}", grid.spread(coverage.read(f"{name}/{kind}"), UNKNOWN)
        yield from zone_layers(coverage, grid, name)
        yield from plan_layers(coverage, grid, name)


def block_layers(
    coverage: Coverage,
    grid: PageGrid,
    facts: dict[str, Any],
    own: OwnList | None,
    antennas: PageAntennas | None,
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield name and bytes of the layers of single stations and services, and of chances.

    They depend on facts["station_step"], of which pixels they have a value and in which steps chances stand.
    """
    step = facts["station_step"]
    yield from _station_layers(coverage, grid, facts)
    if own is not None:
        yield from own.layers(grid, step)
    if antennas is not None:
        yield from antennas.layers(grid, step)
    if facts["every_service"]:
        for order, tiers in enumerate(coverage.read("service_tiers")):
            yield f"service_tiers/{order}", grid.spread_to_blocks(tiers, UNKNOWN, step)
    for wanted in facts["lists"]:
        yield from _chance_layers(coverage, grid, wanted["name"], step)


def _station_layers(
    coverage: Coverage, grid: PageGrid, facts: dict[str, Any]
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield each station's field."""
    for station in facts["stations"]:
        if station["has_field"]:
            name = f"field/{station['station_id']}"
            field_dbuvm = grid.spread_to_blocks(coverage.read(name), np.nan, facts["station_step"])
            yield name, field_bytes(field_dbuvm)


def _chance_layers(
    coverage: Coverage, grid: PageGrid, name: str, step: int
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield the chances of a list: with each class, and of each service."""
    for number, chance in zip(range(1, TIER_COUNT + 1), read_chances(coverage, name), strict=True):
        yield f"{name}/tier_chance_{number}", chance_bytes(grid.spread(chance, UNKNOWN), step)
    for kind in ("service_chance", "service_chance_one_lower"):
        for order, chance in enumerate(coverage.read(f"{name}/{kind}")):
            yield f"{name}/{kind}_{order}", grid.spread_to_blocks(chance, UNKNOWN, step)


def outside_area(coverage: Coverage) -> NDArray[np.bool_]:
    """Return which cells lie beyond the asked area."""
    return (bits_of(coverage.read("flags")) & OUTSIDE_FLAG) > 0


def inside_map(grid: PageGrid, tier: NDArray[np.uint8], outside: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return the pixels' tiers with OUTSIDE beyond the grid and beyond the asked area."""
    return grid.spread(np.where(outside, np.uint8(OUTSIDE), tier), OUTSIDE)
