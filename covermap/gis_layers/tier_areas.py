"""Patches of one tier as polygons, without the smallest speckles."""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio.features
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.results import read_chances
from covermap.result.coverage import Coverage

SMALLEST_PATCH_CELLS = 3
# a block's labels and polygons are held at once
BLOCK_CELLS = 2048


def tier_area_blocks(coverage: Coverage, list_name: str) -> Iterator[gpd.GeoDataFrame]:
    """Yield the patches of a list, block by block, so that memory does not grow with the grid.

    Grids up to 2048 cells a side are one block; beyond, patches end at the edges of blocks.

    Yields
    ------
    GeoDataFrame in the grid's CRS: patch_id ('LIST-1', ...), wanted_list, tier, tier_name, area_km2,
    homes (missing where homes are not known), confidence_median_percent, geometry (single polygons that
    do not overlap)
    """
    count = 0
    for tile in coverage.grid.tiles(BLOCK_CELLS):
        tier = join_small_patches(coverage.read(f"{list_name}/tier", tile))
        patches = _patches(coverage, list_name, tile, tier, count)
        count += len(patches)
        if len(patches):
            yield patches


def join_small_patches(tier: NDArray[np.uint8], smallest: int = SMALLEST_PATCH_CELLS) -> NDArray[np.uint8]:
    """Return the tiers with patches under `smallest` cells given to their most common neighbour.

    Cells touch along edges. A patch joins the class that most of its edges touch among patches that are
    large enough, the lower tier of equals; patches that touch only small ones wait for these to join.
    Unknown cells stay unknown, and a patch that touches only unknown stays as it is.
    """
    tier = tier.copy()
    while True:
        labels, count = label_patches(tier)
        sizes = np.bincount(labels.ravel(), minlength=count + 1)
        small = sizes < smallest
        # label 0 is what is unknown: it joins nothing, however few cells it has
        small[0] = False
        votes = _votes(tier, labels, small)
        joined = small & (votes.max(axis=1) > 0)
        # Ends: each round that joins leaves fewer patches.
        if not joined.any():
            return tier
        # All patches of a round by the same votes, so that the result does not hang on their order; argmax
        # takes the first of equals, the lower tier.
        winner = (votes.argmax(axis=1) + 1).astype(np.uint8)
        change = joined[labels]
        tier[change] = winner[labels[change]]


def label_patches(tier: NDArray[np.uint8]) -> tuple[NDArray[np.int32], int]:
    """Return the number of each cell's patch, from 1, and how many there are; unknown cells have 0."""
    labels = np.zeros(tier.shape, dtype=np.int32)
    count = 0
    # Tier by tier: ndimage.label() knows only zero and the rest, and would join patches of different tiers.
    for number in range(1, TIER_NOT_PROMISED + 1):
        of_tier = tier == number
        numbers, found = ndimage.label(of_tier)
        numbers += count
        np.copyto(labels, numbers, where=of_tier)
        count += found
    return labels, count


def _votes(tier: NDArray, labels: NDArray, small: NDArray) -> NDArray[np.int64]:
    """Return for each patch how many edges of its cells touch large patches of tiers 1 to 8."""
    votes = np.zeros((small.size, TIER_NOT_PROMISED), dtype=np.int64)
    for here, there in (
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[:, 1:], np.s_[:, :-1]),
        (np.s_[:-1], np.s_[1:]),
        (np.s_[1:], np.s_[:-1]),
    ):
        counts = small[labels[here]] & ~small[labels[there]] & (tier[there] != UNKNOWN_UINT8)
        # add.at and not +=, which counts a patch once however many of its edges are listed.
        np.add.at(votes, (labels[here][counts], tier[there][counts].astype(np.int64) - 1), 1)
    return votes


def _patches(
    coverage: Coverage, list_name: str, tile: Tile, tier: NDArray[np.uint8], before: int
) -> gpd.GeoDataFrame:
    """Return the patches of one block as polygons."""
    labels, count = label_patches(tier)
    grid = coverage.grid
    west, north = grid.x_min + tile.col * grid.cell_m, grid.y_max - tile.row * grid.cell_m
    transform = Affine(grid.cell_m, 0.0, west, 0.0, -grid.cell_m, north)
    # 4 as label_patches(): each number then is one polygon. With 8 a patch that meets itself at a corner
    # would touch itself there, which no valid polygon does.
    found = rasterio.features.shapes(labels, mask=labels > 0, connectivity=4, transform=transform)
    polygons = np.empty(count, dtype=object)
    for shape, value in found:
        outer, *holes = map(np.array, shape["coordinates"])
        polygons[int(value) - 1] = shapely.Polygon(outer, holes)
    # All cells of a patch have one tier: any of them would do.
    numbers = ndimage.maximum(tier, labels, np.arange(1, count + 1)) if count else np.empty(0)
    tiers = np.asarray(numbers, dtype=np.int64)
    cells = np.bincount(labels.ravel(), minlength=count + 1)[1:]
    homes = pd.array([None] * count, dtype="Float64")
    if coverage.has("homes"):
        in_cell = np.nan_to_num(coverage.read("homes", tile).ravel().astype(np.float64))
        homes = pd.array(
            np.bincount(labels.ravel(), in_cell, minlength=count + 1)[1:].astype(np.float64).round(3),
            dtype="Float64",
        )
    return gpd.GeoDataFrame(
        {
            "patch_id": [f"{list_name}-{before + number}" for number in range(1, count + 1)],
            "wanted_list": list_name,
            "tier": tiers,
            "tier_name": [coverage.tier_names[int(number) - 1] for number in tiers],
            "area_km2": cells * grid.cell_m**2 / 1e6,
            "homes": homes,
            "confidence_median_percent": _median_confidence(coverage, list_name, tile, labels, count),
        },
        geometry=polygons,
        crs=grid.crs_wkt,
    )


def _median_confidence(
    coverage: Coverage, list_name: str, tile: Tile, labels: NDArray[np.int32], count: int
) -> pd.api.extensions.ExtensionArray:
    """Return the median over each patch's cells of the chance of the stored plan, in whole percent.

    Cells that joined a patch of another tier count with their own plan's chance.
    """
    if not count:
        return pd.array([], dtype="Int64")
    tier = coverage.read(f"{list_name}/tier", tile).ravel()
    chance = read_chances(coverage, list_name, tile).reshape(TIER_COUNT, -1)
    # Tier 8 takes tier 7's chance; unknown (255) takes some row, but its label 0 is not asked for.
    stored = np.take_along_axis(chance, np.clip(tier, 1, TIER_COUNT)[np.newaxis] - 1, axis=0)[0]
    return pd.array(medians(stored, labels.ravel(), count), dtype="Int64")


def medians(values: NDArray[np.uint8], labels: NDArray[np.int32], count: int) -> NDArray[np.int64]:
    """Return the median of the values of each label from 1 to count, which all occur; in whole numbers."""
    # One sort of whole numbers, of which the label comes first: a block's cells take 8 bytes each meanwhile.
    ordered = labels.astype(np.int64)
    ordered <<= 8
    ordered |= values
    ordered.sort()
    ends = np.cumsum(np.bincount(labels, minlength=count + 1))
    first, last = ends[:-1], ends[1:] - 1
    middle = ordered[(first + last) // 2] & 255, ordered[(first + last + 1) // 2] & 255
    return np.rint((middle[0] + middle[1]) / 2.0).astype(np.int64)
