"""Dead zones: connected patches where not even a tall mast brings the listed services, or may not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio.features
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.carriers import groups_of
from covermap.planning.further_tally import FurtherResults
from covermap.planning.list_tally import causes_of, lost_parts
from covermap.planning.ranges import RangeTally
from covermap.planning.results import Results
from covermap.planning.shared_errors import spread_of
from covermap.planning.tally import read_results

DEAD_BELOW_PERCENT, DOUBTFUL_BELOW_PERCENT = 10, 50
KINDS = ("dead", "doubtful")
BLOCK_CELLS = 2048  # patches of larger grids end at the edges of blocks
SMALLEST_CELLS = 3
ZONES_AT_ONCE = 5000  # whose ranges are drawn together, 400 draws each: 16 MB an array
DESCRIPTION = (
    "Connected patches where the chance that a tall mast brings any of the listed services (as many as "
    "dead_zone_services) is under 10 % (dead) or 10 to 50 % (doubtful). homes: expected homes with none "
    f"of them, with its 80 % range. Patches under {SMALLEST_CELLS} cells without homes are left out."
)


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
    tables = [_block(results, list_name, tile, places) for tile in results.grid.tiles(BLOCK_CELLS)]
    zones = pd.concat(tables, ignore_index=True)
    homes = zones["homes"].fillna(0.0).astype(float)
    order = np.lexsort((-zones["area_km2"].to_numpy(), -homes.to_numpy()))
    zones = zones.iloc[order].reset_index(drop=True)
    zones["zone_id"] = [f"{list_name}-{number}" for number in range(1, len(zones) + 1)]
    return gpd.GeoDataFrame(zones, geometry="geometry", crs=results.grid.crs_wkt)


def zone_kinds(dead_zone_percent: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return 1 in dead cells, 2 in doubtful ones, 0 elsewhere and where unknown; any shape."""
    known = dead_zone_percent != UNKNOWN_UINT8
    kinds = np.where(dead_zone_percent < DEAD_BELOW_PERCENT, 1, 2)
    return np.where(known & (dead_zone_percent < DOUBTFUL_BELOW_PERCENT), kinds, 0).astype(np.uint8)


def _block(results: Results, list_name: str, tile: Tile, places: Sequence[NamedPlace]) -> pd.DataFrame:
    """Return the zones of one block of cells."""
    kinds = zone_kinds(results.read(f"{list_name}/dead_zone_chance", tile))
    kinds[~results.inside_area(tile)] = 0
    homes = None
    if results.has("homes"):
        homes = np.nan_to_num(results.read("homes", tile).astype(np.float64))
    labels, count = _labelled(kinds, homes)
    label = labels.ravel()
    cell = np.flatnonzero(label)
    zone = label[cell] - 1
    weight = np.ones(cell.size) if homes is None else homes.ravel()[cell]
    by_cells = np.bincount(zone, minlength=count)
    middle, low, high = _homes(results, list_name, tile, cell, zone, None if homes is None else weight, count)
    voice = weight + 1e-6  # zones without homes go by their cells
    polygons = _polygons(results, tile, labels, count)
    kind = np.zeros(count, dtype=np.int64)
    kind[zone] = kinds.ravel()[cell]
    return pd.DataFrame(
        {
            "zone_id": pd.array([""] * count, dtype="string"),
            "wanted_list": pd.array([list_name] * count, dtype="string"),
            "kind": pd.array([KINDS[number - 1] for number in kind], dtype="string"),
            "main_cause": _most(results, list_name, tile, "main_cause", cell, zone, voice, count),
            "deciding_service": _most(results, list_name, tile, "deciding_service", cell, zone, voice, count),
            "area_km2": by_cells * results.grid.cell_m**2 / 1e6,
            "homes": pd.array(middle, dtype="Float64"),
            "homes_low": pd.array(low, dtype="Float64"),
            "homes_high": pd.array(high, dtype="Float64"),
            "near_name": _near(polygons, places),
            "geometry": polygons,
        }
    )


def _labelled(kinds: NDArray[np.uint8], homes: NDArray | None) -> tuple[NDArray[np.int32], int]:
    """Return each cell's zone from 1, 0 outside zones, and how many; cells touch along edges."""
    labels = np.zeros(kinds.shape, dtype=np.int32)
    count = 0
    for number in (1, 2):
        found, patches = ndimage.label(kinds == number)
        labels[found > 0] = found[found > 0] + count
        count += patches
    cells = np.bincount(labels.ravel(), minlength=count + 1)
    held = np.zeros(count + 1) if homes is None else np.bincount(labels.ravel(), homes.ravel(), count + 1)
    kept = (cells >= SMALLEST_CELLS) | (held > 0)
    kept[0] = False
    renumbered = np.where(kept, np.cumsum(kept), 0).astype(np.int32)
    return renumbered[labels], int(kept.sum())


def _homes(
    results: Results,
    list_name: str,
    tile: Tile,
    cell: NDArray,
    zone: NDArray,
    homes: NDArray | None,
    count: int,
) -> tuple[list[Any], list[Any], list[Any]]:
    """Return expected homes without, low and high of each zone; missing where not known."""
    nothing: list[Any] = [None] * count
    if homes is None:
        return nothing, nothing, nothing
    of_tile = read_results(results, list_name, tile)
    lost = homes * (1.0 - of_tile.dead_zone_percent[cell] / 100.0)
    expected = np.bincount(zone, lost, minlength=count)
    groups, spread = groups_of(results), spread_of(results.run)
    if groups is None or spread is None:
        return expected.round(3).tolist(), nothing, nothing
    further = FurtherResults(results, list_name, tile)
    low, high = expected.copy(), expected.copy()
    for first in range(0, count, ZONES_AT_ONCE):
        some = slice(first, min(first + ZONES_AT_ONCE, count))
        tally = RangeTally(some.stop - first, len(groups), spread.home_correlation)
        lived = (homes > 0) & (zone >= first) & (zone < some.stop)
        if lived.any():
            parts = lost_parts(results, list_name, tile, cell[lived], of_tile, further)
            tally.add(zone[lived] - first, parts.cell_id, homes[lived], parts.deviations, parts.shared)
        low[some], high[some] = tally.ranges(expected[some])
    return expected.round(3).tolist(), low.round(3).tolist(), high.round(3).tolist()


def _most(
    results: Results,
    list_name: str,
    tile: Tile,
    kind: str,
    cell: NDArray,
    zone: NDArray,
    voice: NDArray,
    count: int,
) -> pd.api.extensions.ExtensionArray:
    """Return the service or cause with most weight in each zone, missing where none is known."""
    name = f"{list_name}/{kind}"
    names = results.services(list_name) if kind == "deciding_service" else causes_of(results, list_name)
    if not names or not results.has(name):
        return pd.array([None] * count, dtype="string")
    index = results.read(name, tile).ravel()[cell]
    known = index < len(names)
    votes = np.zeros((count, len(names)))
    np.add.at(votes, (zone[known], index[known]), voice[known])
    return pd.array([names[int(row.argmax())] if row.sum() > 0 else None for row in votes], dtype="string")


def _polygons(results: Results, tile: Tile, labels: NDArray[np.int32], count: int) -> NDArray[Any]:
    """Return the outline of each zone."""
    grid = results.grid
    west, north = grid.x_min + tile.col * grid.cell_m, grid.y_max - tile.row * grid.cell_m
    transform = Affine(grid.cell_m, 0.0, west, 0.0, -grid.cell_m, north)
    polygons = np.empty(count, dtype=object)
    found = rasterio.features.shapes(labels, mask=labels > 0, connectivity=4, transform=transform)
    for shape, value in found:
        polygons[int(value) - 1] = shapely.Polygon(shape["coordinates"][0], shape["coordinates"][1:])
    return polygons


def _near(polygons: NDArray[Any], places: Sequence[NamedPlace]) -> pd.api.extensions.ExtensionArray:
    """Return the name of the place nearest to each zone, missing without places."""
    if not places or len(polygons) == 0:
        return pd.array([None] * len(polygons), dtype="string")
    tree = shapely.STRtree([shapely.Point(place.x, place.y) for place in places])
    return pd.array([places[int(index)].name for index in tree.nearest(polygons)], dtype="string")
