"""One tile from path losses to what its cells need: fields per station, then reception per wanted list."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.grid.blocks import LossBlock
from covermap.grid.fields import STEEP_RAY_DEG, median_field, pattern_db, wanted_field
from covermap.grid.frame import Tile
from covermap.grid.geodesy import mast_geometry
from covermap.outputs.layers import NEAR_MAST_FLAG, OUTSIDE_FLAG, STEEP_RAY_FLAG
from covermap.preparation import Preparation
from covermap.reception import CellSignals, ListReception, receive

SAMPLE_EVERY = 11  # cells; how the prediction error moves the tiers is told from a sample


@dataclass(frozen=True, eq=False)
class TileResult:
    """What one tile's cells get; arrays have shape (rows, cols), lists keep their own first axes flat.

    median_dbuvm : field of each station at 50 % of time and 10 m, shape (S, rows, cols), NaN unknown
    other_tier : of a sample of cells, for the first list, at the other default of the prediction error
    """

    tile: Tile
    flags: NDArray[np.uint8]
    ground_m: NDArray[np.float32]
    median_dbuvm: NDArray[np.float32]
    lists: dict[str, ListReception]
    other_tier: NDArray[np.uint8]


def receive_tile(prepared: Preparation, tile: Tile, blocks: list[LossBlock]) -> TileResult:
    """Return what the cells of a tile need, from the blocks of prepared.requests in the same order."""
    longitude_deg, latitude_deg = (array.ravel() for array in prepared.grid.centres_lonlat(tile))
    outside = ~prepared.inside_area(tile).ravel()
    signals, median_dbuvm, flags = _signals(prepared, tile, blocks, longitude_deg, latitude_deg)
    signals.field_dbuvm[:, :, outside] = np.nan
    flags[outside] |= OUTSIDE_FLAG
    lists = {
        wanted.name: receive(signals, prepared.facts, prepared.tiers, wanted, prepared.reception_options)
        for wanted in prepared.scenario.wanted
    }
    ground_m = prepared.terrain.ground_m(longitude_deg, latitude_deg)
    shape = (tile.rows, tile.cols)
    sample = slice(None, None, SAMPLE_EVERY)
    other = receive(
        _sampled(signals, sample),
        prepared.facts,
        prepared.tiers,
        prepared.scenario.wanted[0],
        prepared.reception_options.at_other_default(),
    )
    return TileResult(
        tile,
        flags.reshape(shape),
        ground_m.astype(np.float32).reshape(shape),
        median_dbuvm.reshape(-1, *shape),
        lists,
        other.tier[~outside[sample]],
    )


def _sampled(signals: CellSignals, sample: slice) -> CellSignals:
    return CellSignals(
        signals.heights_m,
        np.ascontiguousarray(signals.field_dbuvm[:, :, sample]),
        np.ascontiguousarray(signals.bearing_deg[:, sample]),
        signals.clutter_height_m[sample],
        signals.open_land[sample],
    )


def _signals(
    prepared: Preparation, tile: Tile, blocks: list[LossBlock], longitude_deg: NDArray, latitude_deg: NDArray
) -> tuple[CellSignals, NDArray[np.float32], NDArray[np.uint8]]:
    cells = longitude_deg.size
    heights = len(prepared.heights_m)
    stations = prepared.scenario.stations
    field_dbuvm = np.empty((len(stations), heights, cells), dtype=np.float32)
    median_dbuvm = np.empty((len(stations), cells), dtype=np.float32)
    bearing_deg = np.empty((len(prepared.scenario.masts), cells), dtype=np.float32)
    flags = np.zeros(cells, dtype=np.uint8)
    geometry = [
        mast_geometry(request.latitude_deg, request.longitude_deg, longitude_deg, latitude_deg)
        for request in prepared.requests
    ]
    for index, station in enumerate(stations):
        request = prepared.station_request[index]
        block, seen = blocks[request], geometry[request]
        departure_deg = block.departure_deg.ravel().astype(np.float64)
        frequency = prepared.station_frequency[index]
        gain_db = pattern_db(station, seen.azimuth_deg, departure_deg)
        median = median_field(station, block.loss_db[frequency].reshape(heights, cells), gain_db)
        spread_db = block.spread_db[frequency].reshape(heights, cells)
        field_dbuvm[index] = wanted_field(median, spread_db, prepared.scenario.settings.prediction.time_rule)
        median_dbuvm[index] = median[0]
        bearing_deg[prepared.facts.mast[index]] = seen.back_azimuth_deg
        if station.use == "wanted":
            flags |= np.where(block.near.ravel(), NEAR_MAST_FLAG, 0).astype(np.uint8)
            if station.elevation_pattern is None:
                flags |= np.where(departure_deg < STEEP_RAY_DEG, STEEP_RAY_FLAG, 0).astype(np.uint8)
    signals = CellSignals(
        heights_m=np.asarray(prepared.heights_m, dtype=np.float64),
        field_dbuvm=field_dbuvm,
        bearing_deg=bearing_deg,
        clutter_height_m=prepared.terrain.clutter_height_m(longitude_deg, latitude_deg).astype(np.float32),
        open_land=prepared.terrain.open_land(longitude_deg, latitude_deg),
    )
    return signals, median_dbuvm, flags
