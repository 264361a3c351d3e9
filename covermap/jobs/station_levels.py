"""Levels in whole dB for the page of the map, read again from the store of path losses."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.grid.blocks import LossBlock
from covermap.grid.executor import run_tasks
from covermap.grid.fields import excess_loss_db, median_field, pattern_db, wanted_field
from covermap.grid.frame import Grid, Tile
from covermap.grid.geodesy import mast_geometry
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation, store_folder
from covermap.jobs.path_stage import TILE_CELLS, tile_blocks
from covermap.reports.web_map.estimate_inputs import StationLevels
from covermap.reports.web_map.layers import field_bytes


def levels_of(
    prepared: Preparation, store: Path | None, workers: int | None = None
) -> Callable[[Grid], StationLevels]:
    """Return page_levels() of a run, still to be given a grid; store None: the folder beside the scenario."""
    return partial(page_levels, prepared, Store(store_folder(prepared.scenario, store)), workers=workers)


def page_levels(prepared: Preparation, store: Store, grid: Grid, workers: int | None = None) -> StationLevels:
    """Return what every square of a page's grid receives from all stations.

    grid : that of the run, or with cells a whole number of times as long: each then stands for the cell in
        its middle, as covermap.result.coarsened has it
    workers : threads; None is one a processor
    """
    heights = len(prepared.heights_m)
    level = np.full((heights, len(prepared.scenario.stations), grid.rows, grid.cols), 255, dtype=np.uint8)
    clutter_m = np.zeros(grid.shape, dtype=np.float32)
    open_land = np.zeros(grid.shape, dtype=bool)
    tiles = list(prepared.grid.tiles(TILE_CELLS))
    for part in run_tasks(partial(_tile_part, prepared, store, grid), tiles, workers):
        if part is not None:
            clutter_m[part.window], open_land[part.window] = part.clutter_m, part.open_land
            level[:, :, *part.window] = part.level
    kinds, kind = np.unique(
        np.stack([clutter_m.ravel(), open_land.ravel()], axis=-1), axis=0, return_inverse=True
    )
    return StationLevels(
        level,
        kind.reshape(grid.shape).astype(np.uint8),
        kinds[:, 0].astype(np.float64),
        kinds[:, 1] > 0,
        np.asarray(prepared.heights_m, dtype=np.float64),
        prepared.facts,
        prepared.tiers.tiers,
        prepared.reception_options,
    )


class _Part(NamedTuple):
    """What a tile gives to the squares of the page in its window."""

    window: tuple[slice, slice]
    clutter_m: NDArray[np.float32]
    open_land: NDArray[np.bool_]
    level: NDArray[np.uint8]


def _tile_part(prepared: Preparation, store: Store, grid: Grid, tile: Tile) -> _Part | None:
    """Return what a tile gives; None where no square has its middle in it, or nothing was asked for."""
    factor = round(grid.cell_m / prepared.grid.cell_m)
    rows, cols = (
        np.arange(first, first + count)[np.arange(first, first + count) % factor == factor // 2]
        for first, count in ((tile.row, tile.rows), (tile.col, tile.cols))
    )
    rows, cols = rows[rows // factor < grid.rows], cols[cols // factor < grid.cols]
    if not rows.size or not cols.size or not prepared.inside_area(tile).any():
        return None
    inside = np.ix_(rows - tile.row, cols - tile.col)
    longitude_deg, latitude_deg = (part[inside] for part in prepared.grid.centres_lonlat(tile))
    return _Part(
        np.s_[rows[0] // factor : rows[-1] // factor + 1, cols[0] // factor : cols[-1] // factor + 1],
        prepared.terrain.clutter_height_m(longitude_deg, latitude_deg),
        prepared.terrain.open_land(longitude_deg, latitude_deg),
        _tile_levels(prepared, store, tile, inside, longitude_deg, latitude_deg),
    )


def _tile_levels(
    prepared: Preparation,
    store: Store,
    tile: Tile,
    inside: tuple[NDArray, ...],
    longitude_deg: NDArray[np.float64],
    latitude_deg: NDArray[np.float64],
) -> NDArray[np.uint8]:
    """Return the levels of some cells of a tile, shape (H, S, rows, cols)."""
    blocks = tile_blocks(prepared, store, tile)
    geometry = [
        mast_geometry(
            request.latitude_deg, request.longitude_deg, longitude_deg.ravel(), latitude_deg.ravel()
        )
        for request in prepared.requests
    ]
    levels = [
        _station_levels(
            prepared, index, blocks, geometry, inside, longitude_deg.ravel(), latitude_deg.ravel()
        )
        for index in range(len(prepared.scenario.stations))
    ]
    return np.stack(levels, axis=1).reshape(len(prepared.heights_m), len(levels), *longitude_deg.shape)


def _station_levels(
    prepared: Preparation,
    index: int,
    blocks: list[LossBlock],
    geometry: list,
    inside: tuple[NDArray, ...],
    longitude_deg: NDArray[np.float64],
    latitude_deg: NDArray[np.float64],
) -> NDArray[np.uint8]:
    """Return one station's levels, shape (H, cells)."""
    station = prepared.scenario.stations[index]
    request, frequency = prepared.station_request[index], prepared.station_frequency[index]
    block, seen = blocks[request], geometry[request]
    heights = len(prepared.heights_m)
    loss_db, spread_db = (
        np.stack([part[inside] for part in parts[frequency]]).reshape(heights, -1)
        for parts in (block.loss_db, block.spread_db)
    )
    departure_deg = block.departure_deg[inside].ravel().astype(np.float64)
    median = median_field(station, loss_db, pattern_db(station, seen.azimuth_deg, departure_deg))
    if prepared.calibration is not None:
        excess_db = excess_loss_db(loss_db[0], seen.distance_km, station.frequency_mhz)
        median = median + prepared.calibration.adjustment_db(
            station, longitude_deg, latitude_deg, excess_db, block.path_class[inside].ravel()
        )
    return field_bytes(wanted_field(median, spread_db, prepared.scenario.settings.prediction.time_rule))
