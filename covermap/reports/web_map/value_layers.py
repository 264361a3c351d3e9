"""The value layers of the page, one after the other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT
from covermap.planning.results import read_chances
from covermap.reports.web_map.layers import (
    OUTSIDE,
    UNKNOWN,
    block_middles,
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


def value_layers(
    coverage: Coverage,
    grid: PageGrid,
    facts: dict[str, Any],
    relief: NDArray[np.uint8],
    areas: gpd.GeoDataFrame | None,
    own: OwnList | None,
    antennas: PageAntennas | None,
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield name and bytes of every value layer, one in memory at a time."""
    yield "relief", relief
    yield "flags", grid.spread(bits_of(coverage.read("flags")), 0)
    if facts["has_homes"]:
        tenths = grid.spread(homes_tenths(coverage.read("homes")), 0)
        yield "homes_low", two_bytes(tenths)[0]
        yield "homes_high", two_bytes(tenths)[1]
        yield "homes_any", counted_homes(grid, tenths)
    yield from area_layers(areas, grid, facts["lists"][0]["name"])
    yield from _station_layers(coverage, grid, facts)
    if own is not None:
        yield from own.layers(grid, facts["station_step"])
    if antennas is not None:
        yield from antennas.layers(grid, facts["station_step"])
    yield from _service_layers(coverage, grid, facts)
    outside = outside_area(coverage)
    for wanted in facts["lists"]:
        yield from _list_layers(coverage, grid, wanted, outside, facts["station_step"])


def _station_layers(
    coverage: Coverage, grid: PageGrid, facts: dict[str, Any]
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield each station's field."""
    for station in facts["stations"]:
        if station["has_field"]:
            name = f"field/{station['station_id']}"
            field = grid.spread(field_bytes(coverage.read(name)), UNKNOWN)
            yield name, block_middles(field, facts["station_step"])


def _service_layers(
    coverage: Coverage, grid: PageGrid, facts: dict[str, Any]
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield how many services each class brings, and for each service the classes that bring it."""
    if not facts["every_service"]:
        return
    for tier, count in enumerate(coverage.read("services_count"), start=1):
        yield f"services_count/{tier}", grid.spread(count, UNKNOWN)
    for order, tiers in enumerate(coverage.read("service_tiers")):
        yield f"service_tiers/{order}", block_middles(grid.spread(tiers, UNKNOWN), facts["station_step"])


def _list_layers(
    coverage: Coverage,
    grid: PageGrid,
    wanted: dict[str, Any],
    outside: NDArray[np.bool_],
    station_step: int,
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    name = wanted["name"]
    yield f"{name}/tier", inside_map(grid, coverage.read(f"{name}/tier"), outside)
    for number, chance in zip(range(1, TIER_COUNT + 1), read_chances(coverage, name), strict=True):
        yield f"{name}/tier_chance_{number}", chance_bytes(grid.spread(chance, UNKNOWN), station_step)
    low, high = two_bytes(grid.spread(coverage.read(f"{name}/aim"), -1))
    yield f"{name}/aim_low", low
    yield f"{name}/aim_high", high
    for kind in ("limiting_service", "deciding_service"):
        yield f"{name}/{kind}", grid.spread(coverage.read(f"{name}/{kind}"), UNKNOWN)
    yield from zone_layers(coverage, grid, name)
    yield from plan_layers(coverage, grid, name)
    for kind in ("service_chance", "service_chance_one_lower"):
        for order, chance in enumerate(coverage.read(f"{name}/{kind}")):
            yield f"{name}/{kind}_{order}", block_middles(grid.spread(chance, UNKNOWN), station_step)


def outside_area(coverage: Coverage) -> NDArray[np.bool_]:
    """Return which cells lie beyond the asked area."""
    return (bits_of(coverage.read("flags")) & OUTSIDE_FLAG) > 0


def inside_map(grid: PageGrid, tier: NDArray[np.uint8], outside: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return the pixels' tiers with OUTSIDE beyond the grid and beyond the asked area."""
    return grid.spread(np.where(outside, np.uint8(OUTSIDE), tier), OUTSIDE)
