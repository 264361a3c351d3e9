"""Where to measure next: the points that would settle what most homes need."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import NDArray
from scipy import ndimage, special

from covermap.constants import TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.results import Results, read_chances
from covermap.planning.tally import expected_shares

POINTS = 15
SPEAKS_FOR_M = 2000.0  # judgement: how far around a point its reading settles what is needed
BLOCKS_ACROSS = 8  # blocks in that distance; the search runs over blocks, so that large maps stay quick
MOST_BLOCKS = 4_000_000  # of a map, which takes larger ones then: each takes 56 bytes in the search


@dataclass(frozen=True)
class SurveyPoint:
    """A place to measure.

    rank : 1 is first; homes_settled : homes around it weighted by how unsure their tier is (entropy over its
        greatest value); cells in place of homes where the run has none
    tier : the map's answer there, 8 not promised; chance_percent : of it
    lower_chance_percent : of the tier under it, which a reading may show to be enough; 0 where there is none
    """

    rank: int
    latitude_deg: float
    longitude_deg: float
    x: float
    y: float
    homes_settled: float
    tier: int
    chance_percent: int
    lower_chance_percent: int


def survey_points(results: Results, list_name: str | None = None, count: int = POINTS) -> list[SurveyPoint]:
    """Return where a reading would settle most homes, best first, spread out.

    Parameters
    ----------
    results : a finished prediction
    list_name : a wanted list; the first one if None
    count : how many points at most

    The worth of a cell is its homes times the entropy of its tier chance. Each point takes what lies around
    it (a bell of 2 km) from the next ones. Fewer points where no home is unsure.
    """
    name = list_name or results.lists[0]
    worth, best_cell = _worth_by_block(results, name)
    side_m = _block_cells(results) * results.grid.cell_m
    reach = SPEAKS_FOR_M / side_m
    rows, cols = np.ogrid[: worth.shape[0], : worth.shape[1]]
    left = worth.copy()
    points: list[SurveyPoint] = []
    while len(points) < count:
        # Where the most unsure homes lie around, not where one cell is most unsure: a reading speaks for its
        # surroundings.
        around = ndimage.gaussian_filter(left, reach, mode="constant", truncate=3.0)
        # a point stands where homes are unsure, not in the middle of a lake between them
        around[worth <= 0.0] = 0.0
        block = np.unravel_index(int(around.argmax()), around.shape)
        bell = np.exp(-0.5 * ((rows - block[0]) ** 2 + (cols - block[1]) ** 2) / reach**2)
        settled = float((left * bell).sum())
        # less than half a home is none
        if not settled > 0.5:
            break
        points.append(_point(results, name, len(points) + 1, int(best_cell[block]), settled))
        left *= 1.0 - bell
    return points


def unsureness(tier_chance_percent: NDArray) -> NDArray[np.float64]:
    """Return how unsure the needed tier is, 0 to 1: entropy of the tiers' chances over its greatest value.

    tier_chance_percent : shape (7, N), 255 unknown gives NaN
    """
    known = ~(np.asarray(tier_chance_percent) == UNKNOWN_UINT8).any(axis=0)
    unsure = np.full(known.shape, np.nan)
    shares = expected_shares(np.asarray(tier_chance_percent)[:, known])
    unsure[known] = special.entr(shares / shares.sum(axis=0)).sum(axis=0) / math.log(TIER_NOT_PROMISED)
    return unsure


def _block_cells(results: Results) -> int:
    fine = round(SPEAKS_FOR_M / BLOCKS_ACROSS / results.grid.cell_m)
    return max(1, fine, math.ceil(math.sqrt(results.grid.cells / MOST_BLOCKS)))


def _worth_by_block(results: Results, name: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return the worth of each block of cells, and the index (row * cols + col) of its best cell."""
    grid, side = results.grid, _block_cells(results)
    shape = -(-grid.rows // side), -(-grid.cols // side)
    worth = np.zeros(shape)
    best_cell = np.zeros(shape, dtype=np.int64)
    for tile in grid.tiles(side * max(1, 512 // side)):
        unsure = unsureness(read_chances(results, name, tile).reshape(7, -1)).reshape(tile.rows, tile.cols)
        homes = results.read("homes", tile) if results.has("homes") else 1.0
        value = np.nan_to_num(unsure * homes)
        value[~results.inside_area(tile)] = 0.0
        row = np.arange(tile.row, tile.row + tile.rows)[:, np.newaxis]
        col = np.arange(tile.col, tile.col + tile.cols)
        block = row // side * shape[1] + col // side
        np.add.at(worth.reshape(-1), block.ravel(), value.ravel())
        in_block = _by_block(value, side, -1.0)
        best = in_block.shape[-1] - 1 - in_block[..., ::-1].argmax(axis=-1)  # the last one of equals
        cells = _by_block(row * grid.cols + col, side, 0)
        found = np.take_along_axis(cells, best[..., np.newaxis], axis=-1)[..., 0]
        first_row, first_col = tile.row // side, tile.col // side
        best_cell[first_row : first_row + len(found), first_col : first_col + found.shape[1]] = found
    return worth, best_cell


def _by_block(values: NDArray, side: int, beyond: float) -> NDArray:
    """Return the cells of each block of side x side, row by row, (rows, cols, side * side) of blocks.

    beyond : in blocks at the edge, what stands where there are no cells
    """
    rows, cols = values.shape
    whole = np.pad(values, ((0, -rows % side), (0, -cols % side)), constant_values=beyond)
    blocks = whole.reshape(whole.shape[0] // side, side, whole.shape[1] // side, side)
    return blocks.swapaxes(1, 2).reshape(*blocks.shape[::2], side * side)


def _point(results: Results, name: str, rank: int, cell: int, settled: float) -> SurveyPoint:
    grid = results.grid
    row, col = divmod(cell, grid.cols)
    x = grid.x_min + (col + 0.5) * grid.cell_m
    y = grid.y_max - (row + 0.5) * grid.cell_m
    to_wgs84 = pyproj.Transformer.from_crs(grid.crs_wkt, "EPSG:4326", always_xy=True)
    longitude_deg, latitude_deg = to_wgs84.transform(x, y)
    tile = Tile(row, col, 1, 1)
    tier = int(results.read(f"{name}/tier", tile)[0, 0])
    chances = read_chances(results, name, tile)[:, 0, 0]
    chance = int(chances[min(tier, len(chances)) - 1])
    lower = int(chances[tier - 2]) if 1 < tier <= len(chances) else 0
    return SurveyPoint(rank, latitude_deg, longitude_deg, x, y, settled, tier, chance, lower)
