"""What a relay at each of some hilltops brings to the cells near it, and whom it would harm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.blocks import BlockRequest, compute_blocks
from covermap.grid.executor import run_tasks
from covermap.grid.fields import TIME_RULES, wanted_field
from covermap.grid.frame import Grid, Tile
from covermap.inputs.path_requests import PATH_HEIGHT_M
from covermap.inputs.preparation import Preparation
from covermap.planning.relay_harm import Neighbour, harmed_cells
from covermap.planning.relay_sites import Sites, WeighedCells
from covermap.propagation.free_space import field_from_loss

RELAY_ERP_KW, RELAY_HEIGHT_M = 0.01, 20.0  # judgement: a small relay on a short mast
RELAY_REACH_KM = 30.0
TILE_CELLS = 128


@dataclass(frozen=True, eq=False)
class RelayPaths:
    """What a relay at one site brings to the M weighed cells near it.

    cell : (M,), which of all weighed cells
    wanted_dbuvm : (M,), as the time rule asks; unwanted_dbuvm : at its small percentage of time
    path_class : uint8 (M,), what stands in the way, index into PATH_CLASSES, 255 unknown
    """

    cell: NDArray[np.int64]
    wanted_dbuvm: NDArray[np.float32]
    unwanted_dbuvm: NDArray[np.float32]
    path_class: NDArray[np.uint8]


def relay_paths(
    prepared: Preparation, sites: Sites, frequency_mhz: float, lived: WeighedCells, workers: int | None
) -> list[RelayPaths]:
    """Return the paths from a relay at each site; they take memory for the cells near it alone.

    workers : threads, default one a core
    """
    grid = prepared.grid
    longitude_deg, latitude_deg = grid.lonlat_of(sites.row, sites.col)
    prediction = prepared.scenario.settings.prediction
    owner = _cells_by_tile(grid, lived)
    lossless_dbuvm = np.float32(field_from_loss(0.0, RELAY_ERP_KW, frequency_mhz))

    def of_site(site: int) -> RelayPaths:
        row, col = sites.row[site], sites.col[site]
        near = [
            (tile, mine)
            for tile, mine in owner
            if _distance_m(tile, row, col, grid.cell_m) <= 1000.0 * RELAY_REACH_KM
        ]
        request = BlockRequest(
            latitude_deg=float(latitude_deg[site]),
            longitude_deg=float(longitude_deg[site]),
            tx_height_m=RELAY_HEIGHT_M,
            heights_m=(PATH_HEIGHT_M,),
            frequencies=((frequency_mhz, False),),
            time_percents=(50.0, TIME_RULES[prediction.time_rule][0]),
            dn=prediction.dn,
            n0=prediction.n0,
            model=prediction.model,
            profile_step_m=prediction.profile_step_m,
            reach_km=RELAY_REACH_KM,
            grid=grid,
            terrain_digest=prepared.terrain.digest,
        )
        cell = np.concatenate([np.zeros(0, np.int64), *(mine for _, mine in near)])
        wanted_dbuvm, unwanted_dbuvm = np.empty((2, cell.size), dtype=np.float32)
        path_class = np.full(cell.size, UNKNOWN_UINT8, dtype=np.uint8)
        blocks = compute_blocks(request, [tile for tile, _ in near], prepared.terrain)
        start = 0
        for (tile, mine), block in zip(near, blocks, strict=True):
            into, start = slice(start, start + mine.size), start + mine.size
            here = lived.row[mine] - tile.row, lived.col[mine] - tile.col
            median_dbuvm = lossless_dbuvm - block.loss_db[0, 0][here]
            spread_db = block.spread_db[0, 0][here]
            wanted_dbuvm[into] = wanted_field(median_dbuvm, spread_db, prediction.time_rule)
            unwanted_dbuvm[into] = median_dbuvm + spread_db
            path_class[into] = block.path_class[here]
        return RelayPaths(cell, wanted_dbuvm, unwanted_dbuvm, path_class)

    return list(run_tasks(of_site, range(sites.row.size), workers))


def reached_cells(paths: Sequence[RelayPaths], needed_dbuvm: NDArray[np.float64], cells: int) -> csr_array:
    """Return which of all weighed cells each site brings over the line, bool, shape (C, cells).

    needed_dbuvm : by number of the path's class, (256,)
    """
    found = []
    for path in paths:
        field_dbuvm = np.nan_to_num(path.wanted_dbuvm, nan=-np.inf)
        found.append(np.sort(path.cell[field_dbuvm >= needed_dbuvm[path.path_class]]))
    ends = np.cumsum([0, *(cell.size for cell in found)])
    column = np.concatenate(found)
    return csr_array((np.ones(column.size, dtype=bool), column, ends), shape=(len(paths), cells))


def note_harmed(
    harmed: Sequence[NDArray[np.bool_]],
    paths: Sequence[RelayPaths],
    station_dbuvm: NDArray[np.float32],
    needed_dbuvm: float,
    neighbour: Neighbour,
) -> None:
    """Note in `harmed`, of each site (M,), which cells near it would lose a station beside its relay.

    station_dbuvm : the station's field in all weighed cells
    """
    for noted, path in zip(harmed, paths, strict=True):
        noted |= harmed_cells(station_dbuvm[path.cell], needed_dbuvm, path.unwanted_dbuvm, neighbour)


def _cells_by_tile(grid: Grid, lived: WeighedCells) -> list[tuple[Tile, NDArray[np.int64]]]:
    """Return the tiles that hold weighed cells, from the north-west on, and which cells."""
    tiles = list(grid.tiles(TILE_CELLS))
    across = -(-grid.cols // TILE_CELLS)
    number = lived.row // TILE_CELLS * across + lived.col // TILE_CELLS
    order = np.argsort(number, kind="stable")
    held, first = np.unique(number[order], return_index=True)
    return [(tiles[tile], mine) for tile, mine in zip(held, np.split(order, first)[1:], strict=True)]


def _distance_m(tile: Tile, row: int, col: int, cell_m: float) -> float:
    """Return the distance from a cell to the nearest edge of a tile, 0 inside."""
    down = max(tile.row - row, row - tile.row - tile.rows, 0)
    right = max(tile.col - col, col - tile.col - tile.cols, 0)
    return float(np.hypot(down, right) * cell_m)
