"""Loss blocks from a request: the unit of work is one mast and the tiles that share its radials."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from covermap.constants import EARTH_RADIUS_KM
from covermap.errors import InputError
from covermap.grid.cell_paths import CellPaths, cell_paths
from covermap.grid.frame import Grid, Tile
from covermap.grid.loss_block import LossBlock, as_stored
from covermap.grid.march import march
from covermap.grid.near_mast import model_begins_km
from covermap.grid.path_terrain import PathTerrain
from covermap.grid.radials import make_radials
from covermap.propagation.compiling import kernel
from covermap.propagation.free_space import free_space_loss_db
from covermap.propagation.itm.along_radials import ItmSweep
from covermap.propagation.itm.path import ItmGround
from covermap.propagation.sweep.radial_sweep import RadialSweep
from covermap.propagation.sweep.records import CellLosses
from covermap.propagation.sweep.taut_string import CLEAR

__all__ = ["BlockRequest", "LossBlock", "as_stored", "compute_block", "compute_blocks"]

# Raise by one whenever a block's numbers move (tests/test_blocks.py tells): stored blocks are then
# computed anew.
PHYSICS_VERSION = 3
MODELS = ("p1812", "itm", "free_space")
LONGEST_STEP_M = 100.0  # a path needs two steps; one of less than that is taken over two
SHORTEST_SLANT_KM = 0.001  # our own: free space has no value at no distance


@dataclass(frozen=True)
class BlockRequest:
    """Everything that decides the path losses from one mast, but for the tile.

    latitude_deg, longitude_deg : the mast, WGS 84
    tx_height_m : antenna above ground
    heights_m : mounts above ground, increasing
    frequencies : (MHz, is vertical) each
    time_percents : 50 and the other percentage of time, below 50
    dn, n0 : lapse rate near the ground, N-units/km, and sea-level refractivity, N-units
    model : p1812, itm or free_space
    profile_step_m, reach_km : length of a step, at most 100 m, and of the radials
    terrain_digest : of all inputs that can change a path
    itm : what the model itm needs beside; None for the others
    """

    latitude_deg: float
    longitude_deg: float
    tx_height_m: float
    heights_m: tuple[float, ...]
    frequencies: tuple[tuple[float, bool], ...]
    time_percents: tuple[float, float]
    dn: float
    n0: float
    model: str
    profile_step_m: float
    reach_km: float
    grid: Grid
    terrain_digest: str
    itm: ItmGround | None = None

    def of(self, *frequencies: tuple[float, bool]) -> BlockRequest:
        """Return the request for some of the frequencies."""
        return dataclasses.replace(self, frequencies=frequencies)

    def digest(self, tile: Tile) -> str:
        """Return the name of a tile's block: a digest of all it depends on, as hexadecimal digits."""
        place = json.dumps(dataclasses.asdict(tile), sort_keys=True)
        depends = f'{{"physics": {PHYSICS_VERSION}, "request": {_as_json(self)}, "tile": {place}}}'
        return hashlib.sha256(depends.encode("utf-8")).hexdigest()


@lru_cache(maxsize=1024)
def _as_json(request: BlockRequest) -> str:
    """Return a request as text; kept, as every tile's digest asks for it."""
    # json writes floats with all their digits, so two requests share a digest only if every number is the
    # same.
    asked = dataclasses.asdict(request)
    if asked["itm"] is None:  # so that blocks of the other models keep their names
        del asked["itm"]
    return json.dumps(asked, sort_keys=True)


def compute_block(request: BlockRequest, tile: Tile, terrain: PathTerrain) -> LossBlock:
    """Return the path losses from a mast to the cells of one tile; see compute_blocks."""
    return compute_blocks(request, [tile], terrain)[0]


def compute_blocks(request: BlockRequest, tiles: Sequence[Tile], terrain: PathTerrain) -> list[LossBlock]:
    """Return the path losses from a mast to the cells of several tiles, which share the march.

    Each radial that has cells in any of the tiles is followed once. A cell takes its nearest radial and
    step, whatever the tiles; its path ends at the height of its own centre. Within 100 m of the mast (250 m
    by the irregular terrain model) the loss is free space over the slant distance, without spread.
    Unknown (NaN) are cells beyond reach_km and those whose path touches unknown ground.

    Raises InputError for a model, a step or time percentages that blocks cannot have.
    """
    _check(request)
    if not tiles:
        return []
    radials = make_radials(
        request.latitude_deg,
        request.longitude_deg,
        request.grid,
        request.reach_km,
        request.profile_step_m / 1000.0,
    )
    begins_km = model_begins_km(request.model)
    cells = cell_paths(radials, request.grid, tiles, terrain, begins_km)
    losses = CellLosses.unknown(len(request.frequencies), len(request.heights_m), cells.near.size)
    near = cells.near & cells.in_reach
    _fill_free_space(request, cells, terrain, cells.in_reach & (cells.distance_km < begins_km), losses)
    if begins_km < math.inf:
        march(
            radials,
            cells,
            terrain,
            lambda steps, items: _sweep(request, steps, items),
            tx_height_m=request.tx_height_m,
            dn=request.dn,
            n0=request.n0,
            losses=losses,
        )
    # After the march, whose class for a near cell would be of a path of two or three steps.
    losses.path_class[near & ~np.isnan(cells.ground_m)] = CLEAR
    return _split(tiles, losses, near)


def _check(request: BlockRequest) -> None:
    """Refuse what blocks cannot be computed for."""
    if request.model not in MODELS:
        raise InputError(
            f'[prediction] model is "{request.model}", which maps cannot use. '
            f"Write one of {', '.join(MODELS)}."
        )
    if not 0.0 < request.profile_step_m <= LONGEST_STEP_M:
        raise InputError(
            f"[prediction] profile_step_m is {request.profile_step_m:g}, outside 0 to {LONGEST_STEP_M:g} m."
        )
    if len(request.time_percents) != 2 or request.time_percents[0] != 50.0:
        raise InputError(f"time_percents is {request.time_percents}. It must be 50 and one other percentage.")


def _sweep(request: BlockRequest, steps: int, items: int) -> RadialSweep | ItmSweep:
    """Return a sweep for the request's model, heights, frequencies and time percentages."""
    if request.model == "itm":
        ground = request.itm or ItmGround()
        return ItmSweep(steps, items, request.heights_m, request.frequencies, request.time_percents, ground)
    frequencies_mhz, vertical = zip(*request.frequencies, strict=True)
    return RadialSweep(steps, items, request.heights_m, frequencies_mhz, vertical, request.time_percents)


def _fill_free_space(
    request: BlockRequest, cells: CellPaths, terrain: PathTerrain, chosen: np.ndarray, losses: CellLosses
) -> None:
    """Fill the chosen cells with free space and the straight ray's departure."""
    tx_level_m = request.tx_height_m + float(terrain.ground_m(request.longitude_deg, request.latitude_deg))
    fill_free_space(
        cells.distance_km,
        cells.ground_m,
        np.flatnonzero(chosen),
        tx_level_m,
        np.asarray(request.heights_m, dtype=np.float64),
        np.array([frequency_mhz / 1000.0 for frequency_mhz, _ in request.frequencies]),
        157.0 / (157.0 - request.dn) * EARTH_RADIUS_KM,  # ITU-R P.1812-8 section 3.7
        losses.loss_db,
        losses.spread_db,
        losses.departure_deg,
    )


@kernel
def fill_free_space(
    distance_km,
    ground_m,
    cells,
    tx_level_m,
    heights_m,
    frequencies_ghz,
    effective_radius_km,
    loss_out,
    spread_out,
    departure_out,
):
    """Write free-space loss, no spread and the departure of the straight ray into the listed cells.

    tx_level_m : antenna above sea level; heights_m : shape (H,), mounts above the cell's ground_m
    Outputs of shape (F, H, N), (F, H, N) and (N,). Unknown ground gives NaN. The slant distance is taken
    as 1 m at least.
    """
    for cell in cells:
        along_km = max(distance_km[cell], SHORTEST_SLANT_KM)
        for height in range(heights_m.size):
            rx_level_m = ground_m[cell] + heights_m[height]
            for frequency in range(frequencies_ghz.size):
                loss_db = free_space_loss_db(along_km, tx_level_m, rx_level_m, frequencies_ghz[frequency])
                loss_out[frequency, height, cell] = loss_db
                spread_out[frequency, height, cell] = math.nan if math.isnan(loss_db) else 0.0
        rise_m = ground_m[cell] + heights_m[0] - tx_level_m
        drop = along_km / (2.0 * effective_radius_km)
        departure_out[cell] = math.degrees(math.atan2(rise_m, 1000.0 * along_km) - drop)


def _split(tiles: Sequence[Tile], losses: CellLosses, near: np.ndarray) -> list[LossBlock]:
    """Return the cells' losses as one block a tile."""
    blocks, begin = [], 0
    for tile in tiles:
        cells = slice(begin, begin + tile.rows * tile.cols)
        shape = (*losses.loss_db.shape[:2], tile.rows, tile.cols)
        blocks.append(
            LossBlock(
                losses.loss_db[:, :, cells].reshape(shape),
                losses.spread_db[:, :, cells].reshape(shape),
                losses.departure_deg[cells].reshape(shape[2:]),
                near[cells].reshape(shape[2:]),
                losses.path_class[cells].reshape(shape[2:]),
            )
        )
        begin = cells.stop
    return blocks
