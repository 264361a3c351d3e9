"""One tile from path losses to what its cells need: fields per station, then reception per wanted list."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.blocks import LossBlock
from covermap.grid.fields import STEEP_RAY_DEG, excess_loss_db, median_field, pattern_db, wanted_field
from covermap.grid.frame import Tile
from covermap.grid.geodesy import mast_geometry
from covermap.outputs.layers import NEAR_MAST_FLAG, OUTSIDE_FLAG, STEEP_RAY_FLAG
from covermap.reception import CellSignals, ListReception, receive
from covermap.runs.preparation import Preparation

SHIFTS_DB = {"weaker": -3.0, "stronger": 3.0}  # how every field is tried again
SAMPLE_EVERY = 11  # cells; how the prediction error moves the tiers is told from a sample


@dataclass(frozen=True, eq=False)
class TileResult:
    """What one tile's cells get; arrays have shape (rows, cols), lists keep their own first axes flat.

    median_dbuvm : field of each station at 50 % of time and 10 m, shape (S, rows, cols), NaN unknown
    adjusted_dbuvm : the same with the offsets of calibration, what the lists are worked out from
    shifted : 'LIST/tier_3db_weaker', ... -> the same with every field 3 dB weaker and stronger, shape (N,);
        with homes only in the cells that hold some, elsewhere unknown
    other_tier : of a sample of cells, for the first list, at the other default of the prediction error
    """

    tile: Tile
    flags: NDArray[np.uint8]
    ground_m: NDArray[np.float32]
    median_dbuvm: NDArray[np.float32]
    adjusted_dbuvm: NDArray[np.float32]
    lists: dict[str, ListReception]
    shifted: dict[str, NDArray[np.uint8]]
    other_tier: NDArray[np.uint8]


def receive_tile(prepared: Preparation, tile: Tile, blocks: list[LossBlock]) -> TileResult:
    """Return what the cells of a tile need, from the blocks of prepared.requests in the same order."""
    longitude_deg, latitude_deg = (array.ravel() for array in prepared.grid.centres_lonlat(tile))
    outside = ~prepared.inside_area(tile).ravel()
    signals, median_dbuvm, adjusted_dbuvm, flags = _signals(
        prepared, tile, blocks, longitude_deg, latitude_deg
    )
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
        some_cells(signals, sample),
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
        adjusted_dbuvm.reshape(-1, *shape),
        lists,
        _receive_shifted(prepared, tile, signals, outside),
        other.tier[~outside[sample]],
    )


def some_cells(signals: CellSignals, cells: slice | NDArray, shift_db: float = 0.0) -> CellSignals:
    """Return some of the cells, every field raised by shift_db."""
    count = signals.clutter_height_m.size
    changed = {}
    for field in dataclasses.fields(signals):
        values = getattr(signals, field.name)
        if isinstance(values, np.ndarray) and values.ndim and values.shape[-1] == count != 0:
            if field.name == "heights_m":
                continue
            values = np.ascontiguousarray(values[..., cells])
            if field.name.endswith("field_dbuvm"):
                values = values + np.float32(shift_db)
            changed[field.name] = values
    return dataclasses.replace(signals, **changed)


def _receive_shifted(
    prepared: Preparation, tile: Tile, signals: CellSignals, outside: NDArray[np.bool_]
) -> dict[str, NDArray[np.uint8]]:
    """Return tier and dead-zone chance of every list with all fields 3 dB weaker and stronger.

    Counts of homes need no more than the cells with homes, which are few; so this costs little.
    """
    counted = ~outside
    if prepared.homes is not None:
        counted &= np.nan_to_num(prepared.homes.window(tile).ravel()) > 0.0
    cells = np.flatnonzero(counted)
    kinds = ("tier", "dead_zone_chance")
    shifted = {
        f"{wanted.name}/{kind}_3db_{words}": np.full(outside.size, UNKNOWN_UINT8, np.uint8)
        for wanted in prepared.scenario.wanted
        for kind in kinds
        for words in SHIFTS_DB
    }
    for words, shift_db in SHIFTS_DB.items() if cells.size else ():
        moved = some_cells(signals, cells, shift_db)
        for wanted in prepared.scenario.wanted:
            found = receive(moved, prepared.facts, prepared.tiers, wanted, prepared.reception_options)
            for kind, values in zip(kinds, (found.tier, found.dead_zone_chance_percent), strict=True):
                shifted[f"{wanted.name}/{kind}_3db_{words}"][cells] = values
    return shifted


def _signals(
    prepared: Preparation, tile: Tile, blocks: list[LossBlock], longitude_deg: NDArray, latitude_deg: NDArray
) -> tuple[CellSignals, NDArray[np.float32], NDArray[np.float32], NDArray[np.uint8]]:
    cells = longitude_deg.size
    heights = len(prepared.heights_m)
    stations = prepared.scenario.stations
    field_dbuvm = np.empty((len(stations), heights, cells), dtype=np.float32)
    median_dbuvm = np.empty((len(stations), cells), dtype=np.float32)
    adjusted_dbuvm = np.empty((len(stations), cells), dtype=np.float32)
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
        loss_db = block.loss_db[frequency].reshape(heights, cells)
        median = median_field(station, loss_db, gain_db)
        median_dbuvm[index] = median[0]
        if prepared.calibration is not None:
            excess_db = excess_loss_db(loss_db[0], seen.distance_km, station.frequency_mhz)
            median = median + prepared.calibration.adjustment_db(
                station, longitude_deg, latitude_deg, excess_db
            )
        adjusted_dbuvm[index] = median[0]
        spread_db = block.spread_db[frequency].reshape(heights, cells)
        field_dbuvm[index] = wanted_field(median, spread_db, prepared.scenario.settings.prediction.time_rule)
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
    return signals, median_dbuvm, adjusted_dbuvm, flags
