"""Dead zones: connected patches where not even a tall mast brings the listed services, or may not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.carriers import groups_of
from covermap.planning.further_tally import FurtherResults
from covermap.planning.list_tally import causes_of, lost_parts
from covermap.planning.patches import PatchCells, Patches, Votes
from covermap.planning.ranges import RangeTally
from covermap.planning.results import Results
from covermap.planning.shared_errors import spread_of
from covermap.planning.tally import read_results

DEAD_BELOW_PERCENT, DOUBTFUL_BELOW_PERCENT = 10, 50
KINDS = ("dead", "doubtful")
SMALLEST_CELLS = 3
ZONES_AT_ONCE = 5000  # whose ranges are drawn together, 400 draws each: 16 MB an array


@dataclass(frozen=True)
class NamedPlace:
    """A place by which people find a zone: name and position in the grid's CRS. [m]"""

    name: str
    x: float
    y: float


def find_dead_zones(results: Results, list_name: str, places: Sequence[NamedPlace] = ()) -> gpd.GeoDataFrame:
    """Return the dead and doubtful zones of a list, most homes first, in the grid's CRS.

    Columns: zone_id ('LIST-1', ...), wanted_list, kind, main_cause, deciding_service, area_km2, homes,
    homes_low, homes_high, near_name. What is not known is missing. homes are expected homes with none of
    the listed services. Cause and service are those of most homes, in zones without homes of most cells.
    """
    patches = Patches(results.grid, lambda tile: _kinds(results, list_name, tile))
    # One pass over the blocks for what is summed, one for the ranges of zones with homes, one for outlines:
    # memory holds a block at a time (docs/decisions/one_map_in_parts.md).
    sums = _Sums(results, list_name, patches)
    kept = np.flatnonzero((sums.cells >= SMALLEST_CELLS) | (sums.lived > 0))
    number = np.full(patches.count, -1, dtype=np.int64)
    number[kept] = np.arange(kept.size)
    middle, low, high = _homes(results, list_name, patches, sums, kept)
    outlines = patches.outlines(number, kept.size)
    zones = pd.DataFrame(
        {
            "zone_id": pd.array([""] * kept.size, dtype="string"),
            "wanted_list": pd.array([list_name] * kept.size, dtype="string"),
            "kind": pd.array([KINDS[kind - 1] for kind in patches.kind[kept]], dtype="string"),
            "main_cause": _named(sums.causes, sums.cause, kept),
            "deciding_service": _named(results.services(list_name), sums.service, kept),
            "area_km2": sums.cells[kept] * results.grid.cell_m**2 / 1e6,
            "homes": pd.array(middle, dtype="Float64"),
            "homes_low": pd.array(low, dtype="Float64"),
            "homes_high": pd.array(high, dtype="Float64"),
            "near_name": _near(outlines, places),
            "geometry": outlines,
        }
    )
    homes = zones["homes"].fillna(0.0).astype(float)
    # lexsort: the last key counts first, here homes, then area
    order = np.lexsort((-zones["area_km2"].to_numpy(), -homes.to_numpy()))
    zones = zones.iloc[order].reset_index(drop=True)
    zones["zone_id"] = [f"{list_name}-{place}" for place in range(1, len(zones) + 1)]
    return gpd.GeoDataFrame(zones, geometry="geometry", crs=results.grid.crs_wkt)


def zone_kinds(dead_zone_percent: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return 1 in dead cells, 2 in doubtful ones, 0 elsewhere and where unknown; any shape."""
    known = dead_zone_percent != UNKNOWN_UINT8
    kinds = np.where(dead_zone_percent < DEAD_BELOW_PERCENT, 1, 2)
    return np.where(known & (dead_zone_percent < DOUBTFUL_BELOW_PERCENT), kinds, 0).astype(np.uint8)


def _kinds(results: Results, list_name: str, tile: Tile) -> NDArray[np.uint8]:
    """Return zone_kinds of a tile, 0 outside the asked area."""
    kinds = zone_kinds(results.read(f"{list_name}/dead_zone_chance", tile))
    kinds[~results.inside_area(tile)] = 0
    return kinds


class _Sums:
    """What is counted of all P patches in one pass: each (P,).

    cells; lived : homes in them; lost : expected homes without any service
    first, last : block of the first and of the last cell; cause, service : Votes for them
    """

    def __init__(self, results: Results, list_name: str, patches: Patches) -> None:
        count = patches.count
        self.has_homes = results.has("homes")
        self.causes = causes_of(results, list_name)
        self.cells = np.zeros(count, dtype=np.int64)
        self.lived, self.lost = np.zeros(count), np.zeros(count)
        self.first, self.last = np.full(count, patches.blocks), np.zeros(count, dtype=np.int64)
        self.cause = Votes(count, len(self.causes))
        self.service = Votes(count, len(results.services(list_name)))
        for part in patches.cells():
            homes = _homes_of(results, part) if self.has_homes else np.zeros(part.cell.size)
            voice = (homes if self.has_homes else 1.0) + 1e-6  # zones without homes go by their cells
            chance = results.read(f"{list_name}/dead_zone_chance", part.tile).ravel()[part.cell]
            self.cells += np.bincount(part.patch, minlength=count)
            self.lived += np.bincount(part.patch, homes, minlength=count)
            self.lost += np.bincount(part.patch, homes * (1.0 - chance / 100.0), minlength=count)
            here = np.unique(part.patch)
            self.first[here] = np.minimum(self.first[here], part.block)
            self.last[here] = part.block
            for votes, kind in ((self.cause, "main_cause"), (self.service, "deciding_service")):
                if results.has(f"{list_name}/{kind}"):
                    index = results.read(f"{list_name}/{kind}", part.tile).ravel()[part.cell]
                    votes.add(part.patch, index, np.broadcast_to(voice, index.shape))


def _homes_of(results: Results, part: PatchCells) -> NDArray[np.float64]:
    """Return the homes in the cells of a block's patches."""
    return np.nan_to_num(results.read("homes", part.tile).astype(np.float64)).ravel()[part.cell]


def _homes(
    results: Results, list_name: str, patches: Patches, sums: _Sums, kept: NDArray[np.int64]
) -> tuple[list[Any], list[Any], list[Any]]:
    """Return expected homes without, low and high of each zone; missing where not known."""
    nothing: list[Any] = [None] * kept.size
    if not sums.has_homes:
        return nothing, nothing, nothing
    expected = sums.lost[kept]
    groups, spread = groups_of(results), spread_of(results.run)
    if groups is None or spread is None:
        return expected.round(3).tolist(), nothing, nothing
    low, high = expected.copy(), expected.copy()
    lived = np.flatnonzero(sums.lived[kept] > 0)
    for start in range(0, lived.size, ZONES_AT_ONCE):
        some = lived[start : start + ZONES_AT_ONCE]
        tally = RangeTally(some.size, len(groups), spread.home_correlation)
        _add_cells(tally, results, list_name, patches, sums, kept[some])
        low[some], high[some] = tally.ranges(expected[some])
    return expected.round(3).tolist(), low.round(3).tolist(), high.round(3).tolist()


def _add_cells(
    tally: RangeTally,
    results: Results,
    list_name: str,
    patches: Patches,
    sums: _Sums,
    some: NDArray[np.int64],
) -> None:
    """Add the cells with homes of some patches to a tally, of which they are the areas."""
    place = np.full(patches.count, -1, dtype=np.int64)
    place[some] = np.arange(some.size)
    for part in patches.cells(int(sums.first[some].min()), int(sums.last[some].max())):
        homes = _homes_of(results, part)
        chosen = (place[part.patch] >= 0) & (homes > 0)
        if chosen.any():
            of_tile = read_results(results, list_name, part.tile)
            further = FurtherResults(results, list_name, part.tile)
            parts = lost_parts(results, list_name, part.tile, part.cell[chosen], of_tile, further)
            areas = place[part.patch[chosen]]
            tally.add(areas, parts.cell_id, homes[chosen], parts.deviations, parts.shared)


def _named(names: Sequence[str], votes: Votes, kept: NDArray[np.int64]) -> pd.api.extensions.ExtensionArray:
    """Return what most of each zone says by name, missing where nothing is known."""
    most = votes.most()[kept]
    return pd.array([names[place] if place >= 0 else None for place in most], dtype="string")


def _near(polygons: NDArray[Any], places: Sequence[NamedPlace]) -> pd.api.extensions.ExtensionArray:
    """Return the name of the place nearest to each zone, missing without places."""
    if not places or len(polygons) == 0:
        return pd.array([None] * len(polygons), dtype="string")
    tree = shapely.STRtree([shapely.Point(place.x, place.y) for place in places])
    return pd.array([places[int(index)].name for index in tree.nearest(polygons)], dtype="string")
