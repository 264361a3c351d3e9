"""One tile from path losses to what its cells need: fields per station, then reception per wanted list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import SILENT_DBUVM, UNKNOWN_UINT8
from covermap.grid.blocks import LossBlock
from covermap.grid.fields import (
    STEEP_RAY_DEG,
    excess_loss_db,
    median_field,
    pattern_db,
    unwanted_field,
    wanted_field,
)
from covermap.grid.frame import Tile
from covermap.grid.geodesy import MastGeometry, mast_geometry
from covermap.grid.loss_block import SomeCells
from covermap.inputs.preparation import Preparation
from covermap.jobs.local_doubts import LocalDoubts, local_doubts
from covermap.jobs.second_opinion import SecondOpinion, second_opinion
from covermap.reception import CellSignals, Records, explained
from covermap.reception.causes import Obstructions
from covermap.reception.services import ServiceCounts
from covermap.reception.surroundings import environment_of
from covermap.result.raster_catalogue import (
    FILLED_GROUND_FLAG,
    NEAR_MAST_FLAG,
    OUTSIDE_FLAG,
    STEEP_RAY_FLAG,
)

ALL_CELLS = slice(None)
SAMPLE_EVERY = 11  # cells; how the prediction error moves the tiers is told from a sample


@dataclass(frozen=True, eq=False)
class TileResult:
    """What one tile's cells get; arrays have shape (rows, cols), lists keep their own first axes flat.

    median_dbuvm : field of each station at 50 % of time and 10 m, shape (S, rows, cols), NaN unknown
    adjusted_dbuvm : the same with the offsets of calibration, what the lists are worked out from
    lists : name of each wanted list -> the records of its cells
    services : which services each class brings; None where that is not asked for
    other_tier : of a sample of cells, for the first list, at the other default of the prediction error
    second : of each list, what the second opinion says; empty without one
    doubts : of each list, what leaves and another class of cover would change
    paths : of each list, the class of the path that carries each service, (V, rows, cols), as CellSignals'
    """

    tile: Tile
    flags: NDArray[np.uint8]
    ground_m: NDArray[np.float32]
    median_dbuvm: NDArray[np.float32]
    adjusted_dbuvm: NDArray[np.float32]
    lists: dict[str, Records]
    services: ServiceCounts | None
    other_tier: NDArray[np.uint8]
    second: dict[str, SecondOpinion]
    doubts: dict[str, LocalDoubts]
    paths: dict[str, NDArray[np.uint8]]


def receive_tile(
    prepared: Preparation, tile: Tile, blocks: list[LossBlock], second: list[LossBlock] | None = None
) -> TileResult:
    """Return what the cells of a tile need, from the blocks of prepared.requests in the same order.

    second : blocks of the same by the second opinion, of second_blocks()
    """
    longitude_deg, latitude_deg = (array.ravel() for array in prepared.grid.centres_lonlat(tile))
    outside = ~prepared.inside_area(tile).ravel()
    fields = _tile_fields(prepared, tile, blocks)
    signals = fields.signals
    signals.field_dbuvm[:, :, outside] = np.nan
    fields.flags[outside] |= OUTSIDE_FLAG
    fields.flags[prepared.terrain.filled_at(longitude_deg, latitude_deg)] |= FILLED_GROUND_FLAG
    counted = _counted(prepared, tile, outside)
    lists = {
        name: explained(
            receiver, receiver.receive(signals, counted), fields.obstructions, fields.smooth_earth
        )
        for name, receiver in prepared.receivers.items()
    }
    counter = prepared.service_counter
    ground_m = prepared.terrain.ground_m(longitude_deg, latitude_deg)
    shape = (tile.rows, tile.cols)
    sample = slice(None, None, SAMPLE_EVERY)
    other = prepared.receiver_at_other_default.tiers_of(signals.some(sample))
    return TileResult(
        tile,
        fields.flags.reshape(shape),
        ground_m.astype(np.float32).reshape(shape),
        fields.median_dbuvm.reshape(-1, *shape),
        fields.adjusted_dbuvm.reshape(-1, *shape),
        lists,
        None if counter is None else counter.count(signals),
        other[~outside[sample]],
        {} if second is None else _second_opinions(prepared, tile, fields, lists, second),
        local_doubts(
            prepared,
            signals,
            {name: records.reception for name, records in lists.items()},
            longitude_deg,
            latitude_deg,
            ~outside if prepared.doubts_everywhere else counted,
        ),
        {
            wanted.name: service_paths(
                wanted.transmitters, fields.median_dbuvm, fields.obstructions.path_class
            ).reshape(-1, *shape)
            for wanted in prepared.scenario.wanted
        },
    )


def service_paths(
    transmitters: Sequence[Sequence[int]], median_dbuvm: NDArray[np.float32], path_class: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Return the class of the path that carries each service, shape (V, N): of its strongest station.

    transmitters : of each service its stations. median_dbuvm, path_class : (S, N); 255 where not known
    """
    known_dbuvm = np.where(np.isnan(median_dbuvm), -np.inf, median_dbuvm)
    cell = np.arange(known_dbuvm.shape[1])
    found = np.empty((len(transmitters), cell.size), np.uint8)
    for service, stations in enumerate(transmitters):
        strongest = np.asarray(stations)[known_dbuvm[list(stations)].argmax(axis=0)]
        known = np.isfinite(known_dbuvm[strongest, cell])
        found[service] = np.where(known, path_class[strongest, cell], UNKNOWN_UINT8)
    return found


def _second_opinions(
    prepared: Preparation,
    tile: Tile,
    fields: _TileFields,
    lists: dict[str, Records],
    blocks: list[LossBlock],
) -> dict[str, SecondOpinion]:
    """Return what the second opinion's blocks make of each list."""
    other = _tile_fields(prepared.second or prepared, tile, blocks)
    outside = (fields.flags & OUTSIDE_FLAG) > 0
    other.signals.field_dbuvm[:, :, outside] = np.nan
    return {
        name: second_opinion(
            lists[name].reception,
            fields.median_dbuvm,
            receiver.tiers_of(other.signals),
            other.median_dbuvm,
        )
        for name, receiver in prepared.receivers.items()
    }


def tile_signals(
    prepared: Preparation, tile: Tile, blocks: list[LossBlock], cells: NDArray[np.int64]
) -> CellSignals:
    """Return what arrives at some cells of a tile, counted row by row; not known outside the asked area.

    blocks : of these cells, as blocks_of_cells()
    """
    row, col = np.divmod(cells, tile.cols)
    places = prepared.grid.lonlat_of(tile.row + row, tile.col + col)
    signals = _cell_fields(prepared, tile, places, blocks, cells).signals
    signals.field_dbuvm[:, :, ~prepared.inside_area(tile).ravel()[cells]] = np.nan
    return signals


def _counted(prepared: Preparation, tile: Tile, outside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return where fields are tried weaker and stronger: in cells with homes, where homes are known."""
    if prepared.homes is None:
        return ~outside
    return ~outside & (np.nan_to_num(prepared.homes.window(tile).ravel()) > 0.0)


@dataclass(frozen=True, eq=False)
class _TileFields:
    """Fields of a tile's N cells: for reception, for the rasters, and what stands in the way."""

    signals: CellSignals
    median_dbuvm: NDArray[np.float32]
    adjusted_dbuvm: NDArray[np.float32]
    flags: NDArray[np.uint8]
    obstructions: Obstructions
    smooth_earth: NDArray[np.bool_]


def _tile_fields(prepared: Preparation, tile: Tile, blocks: list[LossBlock]) -> _TileFields:
    longitude_deg, latitude_deg = prepared.grid.centres_lonlat(tile)
    flat = [block.some(ALL_CELLS) for block in blocks]
    return _cell_fields(prepared, tile, (longitude_deg.ravel(), latitude_deg.ravel()), flat, ALL_CELLS)


@dataclass(frozen=True, eq=False)
class _Arriving:
    """What arrives of every station, shape (S, heights, N), (S, N), (masts, N) or (N,), filled one by one."""

    wanted: NDArray[np.float32]
    unwanted: NDArray[np.float32]
    median: NDArray[np.float32]
    raw: NDArray[np.float32]
    adjusted: NDArray[np.float32]
    obstacle_db: NDArray[np.float32]
    null_db: NDArray[np.float32]
    path_class: NDArray[np.uint8]
    bearing_deg: NDArray[np.float32]
    distance_km: NDArray[np.float32]
    flags: NDArray[np.uint8]
    smooth_earth: NDArray[np.bool_]


def _nothing_yet(stations: int, heights: int, masts: int, cells: int) -> _Arriving:
    def of_heights() -> NDArray[np.float32]:
        return np.empty((stations, heights, cells), np.float32)

    def of(rows: int) -> NDArray[np.float32]:
        return np.empty((rows, cells), np.float32)

    return _Arriving(
        wanted=of_heights(),
        unwanted=of_heights(),
        median=of_heights(),
        raw=of(stations),
        adjusted=of(stations),
        obstacle_db=of(stations),
        null_db=of(stations),
        path_class=np.empty((stations, cells), np.uint8),
        bearing_deg=of(masts),
        distance_km=of(masts),
        flags=np.zeros(cells, np.uint8),
        smooth_earth=np.zeros(cells, np.bool_),
    )


def _fill_station(
    prepared: Preparation,
    index: int,
    block: LossBlock,
    seen: MastGeometry,
    places_deg: tuple[NDArray[np.float64], NDArray[np.float64]],
    into: _Arriving,
) -> None:
    """Fill what arrives of one station; block, seen : of its mast, for the cells."""
    station, frequency = prepared.scenario.stations[index], prepared.station_frequency[index]
    departure_deg = block.departure_deg.astype(np.float64)
    gain_db = pattern_db(station, seen.azimuth_deg, departure_deg)
    loss_db, spread_db = block.loss_db[frequency], block.spread_db[frequency]
    median = median_field(station, loss_db, gain_db)
    into.raw[index] = median[0]
    into.obstacle_db[index] = excess_loss_db(loss_db[0], seen.distance_km, station.frequency_mhz)
    if prepared.calibration is not None:
        median = median + prepared.calibration.adjustment_db(
            station, *places_deg, into.obstacle_db[index], block.path_class
        )
    into.median[index] = median
    into.wanted[index] = wanted_field(median, spread_db, prepared.scenario.settings.prediction.time_rule)
    into.unwanted[index] = unwanted_field(median, spread_db)
    into.adjusted[index] = median[0]
    if prepared.silent_beyond_reach[index]:
        beyond = seen.distance_km > prepared.requests[prepared.station_request[index]].reach_km
        for field_dbuvm in (into.wanted, into.unwanted, into.median):
            field_dbuvm[index, :, beyond] = SILENT_DBUVM
    if block.smooth_earth is not None:
        into.smooth_earth[block.smooth_earth] = True
    steep = departure_deg < STEEP_RAY_DEG
    into.path_class[index] = block.path_class
    into.null_db[index] = np.where(steep, -gain_db, 0.0)
    mast = prepared.facts.mast[index]
    into.bearing_deg[mast], into.distance_km[mast] = seen.back_azimuth_deg, seen.distance_km
    if station.use == "wanted":
        into.flags[block.near] |= NEAR_MAST_FLAG
        if station.elevation_pattern is None:
            into.flags[steep] |= STEEP_RAY_FLAG


def _cell_fields(
    prepared: Preparation,
    tile: Tile,
    places_deg: tuple[NDArray[np.float64], NDArray[np.float64]],
    blocks: list[LossBlock],
    some: SomeCells,
) -> _TileFields:
    """Return the fields of some cells of a tile, at longitudes and latitudes; blocks : of these cells."""
    longitude_deg, latitude_deg = places_deg
    stations, masts = len(prepared.scenario.stations), int(prepared.facts.mast.max()) + 1
    found = _nothing_yet(stations, len(prepared.heights_m), masts, longitude_deg.size)
    geometry = [
        mast_geometry(request.latitude_deg, request.longitude_deg, longitude_deg, latitude_deg)
        for request in prepared.requests
    ]
    for index in range(stations):
        request = prepared.station_request[index]
        _fill_station(prepared, index, blocks[request], geometry[request], places_deg, found)
    building, terrain = prepared.building(tile), prepared.terrain
    signals = CellSignals(
        heights_m=np.asarray(prepared.heights_m, dtype=np.float64),
        field_dbuvm=found.wanted,
        bearing_deg=found.bearing_deg,
        clutter_height_m=terrain.clutter_height_m(longitude_deg, latitude_deg).astype(np.float32),
        open_land=terrain.open_land(longitude_deg, latitude_deg),
        unwanted_field_dbuvm=found.unwanted,
        median_field_dbuvm=found.median,
        distance_km=found.distance_km,
        path_class=found.path_class,
        environment=prepared.environment(longitude_deg, latitude_deg),
        building=None if building is None else building[some],
    )
    obstructions = Obstructions(
        found.obstacle_db,
        found.path_class,
        found.null_db,
        terrain.has_clutter,
        environment_of(signals.surroundings, prepared.reception_options),
    )
    return _TileFields(signals, found.raw, found.adjusted, found.flags, obstructions, found.smooth_earth)
