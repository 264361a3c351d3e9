"""Hilltops where a relay could stand: local tops that receive every wanted service well."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from covermap.constants import TIER_NOT_PROMISED
from covermap.grid.frame import Tile
from covermap.planning.results import Results

TOP_RADIUS_M = 600.0  # a top is the highest place within this distance
DONOR_MARGIN_DB = 10.0  # above what the rooftop tier needs; common practice, no source
MOST_SITES = 200
BLOCK_CELLS = 2048
NEAR_KM = 15.0  # homes within this distance count when tops are many
MOST_LAND_CELLS = (
    40_000  # judgement: without homes each stands for the land around it; 0.1 km2 of a 60 km county
)


@dataclass(frozen=True, eq=False)
class Sites:
    """Candidate tops: row and column of their cells, ground [m] and worst donor margin [dB], each (C,)."""

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    ground_m: NDArray[np.float64]
    donor_margin_db: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class WeighedCells:
    """The cells that a relay is chosen by, in the order of the grid: row, col and weight, each (N,).

    weight : homes in the cell, or the land that it stands for [km2]
    """

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    weight: NDArray[np.float64]


def weighed_cells(results: Results, list_name: str) -> WeighedCells:
    """Return the cells of a result that hold homes; of one without homes, its known land."""
    return _home_cells(results) if results.has("homes") else _land_cells(results, list_name)


def _home_cells(results: Results) -> WeighedCells:
    found = []
    for band in results.grid.bands():
        homes = np.nan_to_num(results.read("homes", band).astype(np.float64))
        row, col = np.nonzero(homes > 0)
        found.append(np.stack([row + band.row, col, homes[row, col]]))
    row, col, homes = np.concatenate(found, axis=1)
    return WeighedCells(row.astype(np.int64), col.astype(np.int64), homes)


def _land_cells(results: Results, list_name: str) -> WeighedCells:
    """Return every cell of the asked area with a known tier; of a large grid every n-th row and column."""
    grid = results.grid
    step = math.ceil(math.sqrt(max(1.0, grid.rows * grid.cols / MOST_LAND_CELLS)))
    found = []
    for band in grid.bands():
        known = (results.read(f"{list_name}/tier", band) <= TIER_NOT_PROMISED) & results.inside_area(band)
        row, col = np.nonzero(known)
        kept = ((row + band.row) % step == step // 2) & (col % step == step // 2)
        found.append(np.stack([row[kept] + band.row, col[kept]]))
    row, col = np.concatenate(found, axis=1)
    land_km2 = np.full(row.size, (step * grid.cell_m / 1000.0) ** 2)
    return WeighedCells(row.astype(np.int64), col.astype(np.int64), land_km2)


def candidate_sites(results: Results, list_name: str, sought: WeighedCells, most: int = MOST_SITES) -> Sites:
    """Return local maxima of the ground where the worst service of the list has donor margin enough.

    sought : the homes or land a relay should reach; with more tops than `most` those with most of it
        within 15 km stay. On grids of more than 2048 cells a side a flat top across an edge of blocks is two.
    """
    grid = results.grid
    parts = [_tops(results, list_name, tile) for tile in grid.tiles(BLOCK_CELLS)]
    row, col, ground_m, margin_db = np.concatenate(parts, axis=1)
    if row.size > most:
        kept = np.sort(np.argsort(-_near(sought, row, col, grid.cell_m), kind="stable")[:most])
        row, col, ground_m, margin_db = row[kept], col[kept], ground_m[kept], margin_db[kept]
    return Sites(row.astype(np.int64), col.astype(np.int64), ground_m, margin_db)


def _tops(results: Results, list_name: str, tile: Tile) -> NDArray[np.float64]:
    """Return row, col, ground and margin of the tops in a block of cells, shape (4, C)."""
    grid = results.grid
    reach = max(1, round(TOP_RADIUS_M / grid.cell_m))
    north, west = min(tile.row, reach), min(tile.col, reach)
    south = min(tile.row + tile.rows + reach, grid.rows)
    east = min(tile.col + tile.cols + reach, grid.cols)
    # The block with a rim of the radius: a top at its edge is one only if nothing beyond the edge is higher.
    around = Tile(tile.row - north, tile.col - west, south - tile.row + north, east - tile.col + west)
    ground_m = np.asarray(results.read("ground", around), dtype=np.float64)
    filled = np.where(np.isnan(ground_m), -np.inf, ground_m)
    highest = ndimage.maximum_filter(filled, size=2 * reach + 1, mode="nearest")
    inner = np.s_[north : north + tile.rows, west : west + tile.cols]
    filled, highest, ground_m = filled[inner], highest[inner], ground_m[inner]
    margin_db = results.read(f"{list_name}/margin", tile)
    tops = (filled == highest) & np.isfinite(filled) & (margin_db >= DONOR_MARGIN_DB)
    labels, count = ndimage.label(tops, structure=np.ones((3, 3)))  # a flat top is one
    middles = ndimage.maximum_position(margin_db, labels, range(1, count + 1)) if count else []
    row = np.array([int(place[0]) for place in middles], dtype=np.int64)
    col = np.array([int(place[1]) for place in middles], dtype=np.int64)
    return np.stack([row + tile.row, col + tile.col, ground_m[row, col], margin_db[row, col]])


def _near(sought: WeighedCells, row: NDArray, col: NDArray, cell_m: float) -> NDArray[np.float64]:
    """Return the weight around each place, nearer cells counting more."""
    found = np.zeros(row.size)
    for site in range(row.size):
        away_km = np.hypot(sought.row - row[site], sought.col - col[site]) * cell_m / 1000.0
        found[site] = (sought.weight * np.clip(1.0 - away_km / NEAR_KM, 0.0, None)).sum()
    return found
