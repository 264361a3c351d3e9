"""Paths of interferers over smooth earth, where the elevation does not know the ground between.

A station that only interferes may stand beyond the elevation, or its path leave it. Silence would make the
map too good, so its loss is then taken over flat land at the level of the mast's foot, where it depends on
the distance alone. Nothing of it is stored: one radial a request, and a table to look distances up in.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from covermap.constants import NEAR_MAST_KM
from covermap.grid.blocks import BlockRequest, fill_free_space
from covermap.grid.frame import Tile
from covermap.grid.geodesy import mast_geometry
from covermap.grid.loss_block import LossBlock, as_stored
from covermap.grid.radials import make_radials
from covermap.propagation.path_geometry import INLAND_ZONE, median_radius_km
from covermap.propagation.sweep.radial_sweep import RadialSweep
from covermap.propagation.sweep.taut_string import UNKNOWN_CLASS


@dataclass(frozen=True, eq=False)
class _FlatRadial:
    """Answers along one radial over flat land, at each step from the second (N steps).

    distance_km : (N,); loss_db, spread_db : (F, H, N), the loss without 20 log10 of the distance in km;
    departure_deg, path_class : (N,)
    """

    distance_km: NDArray[np.float64]
    loss_db: NDArray[np.float64]
    spread_db: NDArray[np.float64]
    departure_deg: NDArray[np.float64]
    path_class: NDArray[np.uint8]


def smooth_earth_block(request: BlockRequest, tile: Tile) -> LossBlock:
    """Return the losses to a tile of the request's grid over flat land without clutter, all marked smooth.

    Between steps the loss without spreading runs straight in distance; nearer than two steps it is that of
    the second. The middle of each path is taken at the mast's latitude. NaN beyond reach_km. Rounded as the
    store rounds.

    Source: ITU-R P.1812-8, whole, inland. Accuracy: of the sweep (1e-10 dB) at steps, 0.01 dB between.
    """
    longitude_deg, latitude_deg = request.grid.centres_lonlat(tile)
    geometry = mast_geometry(request.latitude_deg, request.longitude_deg, longitude_deg, latitude_deg)
    distance_km = geometry.distance_km.reshape(tile.rows, tile.cols)
    flat = _flat_radial(request)
    known = distance_km <= request.reach_km
    spreading_db = 20.0 * np.log10(np.maximum(distance_km, 0.001))
    # The class is that of the next step outwards: it has no values between.
    place = np.minimum(np.searchsorted(flat.distance_km, distance_km), flat.distance_km.size - 1)

    def looked_up(rows: NDArray[np.float64], added: NDArray[np.float64] | float = 0.0) -> NDArray[np.float32]:
        values = [
            np.where(known, np.interp(distance_km, flat.distance_km, row) + added, np.nan)
            for row in rows.reshape(-1, flat.distance_km.size)
        ]
        return np.array(values, dtype=np.float32).reshape(*rows.shape[:-1], *distance_km.shape)

    return as_stored(
        LossBlock(
            looked_up(flat.loss_db, spreading_db),
            looked_up(flat.spread_db),
            looked_up(flat.departure_deg),
            distance_km < NEAR_MAST_KM,
            np.where(known, flat.path_class[place], UNKNOWN_CLASS).astype(np.uint8),
            known,
        )
    )


def completed_by_smooth_earth(
    block: LossBlock,
    request: BlockRequest,
    tile: Tile,
    known_ground: NDArray[np.bool_],
    frequencies: Sequence[bool],
) -> LossBlock:
    """Return a block whose unknown cells hold the loss over smooth earth, with its mask smooth_earth.

    known_ground : (rows, cols), cells that may be filled; those without ground of their own stay unknown
    frequencies : which of the request's are completed; the others stay unknown
    """
    unknown = np.isnan(block.departure_deg) & known_ground
    if not unknown.any() or not any(frequencies):
        return block
    smooth = smooth_earth_block(request, tile)
    filled = unknown & ~np.isnan(smooth.departure_deg)
    where = np.array(frequencies, dtype=bool)[:, np.newaxis, np.newaxis, np.newaxis] & filled
    return dataclasses.replace(
        block,
        loss_db=np.where(where, smooth.loss_db, block.loss_db),
        spread_db=np.where(where, smooth.spread_db, block.spread_db),
        departure_deg=np.where(filled, smooth.departure_deg, block.departure_deg),
        path_class=np.where(filled, smooth.path_class, block.path_class),
        smooth_earth=filled,
    )


@lru_cache(maxsize=64)  # of a run's interferers; at most 0.4 MB each at 250 km, two heights and frequencies
def _flat_radial(request: BlockRequest) -> _FlatRadial:
    """Return the answers along a radial over flat land, as far as the grid's farthest corner or reach."""
    step_km = request.profile_step_m / 1000.0
    radials = make_radials(
        request.latitude_deg, request.longitude_deg, request.grid, request.reach_km, step_km
    )
    steps = np.arange(2, radials.steps + 1, dtype=np.int32)
    distance_km: NDArray[np.float64] = steps.astype(np.float64) * step_km
    if request.model == "free_space":
        loss_db, spread_db, departure_deg = _free_space(request, distance_km)
        path_class = np.full(steps.size, UNKNOWN_CLASS, dtype=np.uint8)
    else:
        frequencies_mhz, vertical = zip(*request.frequencies, strict=True)
        sweep = RadialSweep(
            radials.steps, steps.size, request.heights_m, frequencies_mhz, vertical, request.time_percents
        )
        # Also for model = "itm": beyond the elevation P.1812 stands in, whatever the model
        # (decisions/itm_on_the_map.md).
        ground_m = np.zeros(radials.steps + 1)
        sweep.run(
            ground_m,
            ground_m,
            np.full(ground_m.size, INLAND_ZONE, dtype=np.uint8),
            step_km,
            np.full(ground_m.size, request.latitude_deg),
            request.tx_height_m,
            steps,
            ground_m[2:],
            request.dn,
            request.n0,
        )
        loss_db = sweep.loss_db[:, 0].copy()
        spread_db = np.maximum(loss_db - sweep.loss_db[:, 1], 0.0)
        departure_deg = np.degrees(0.001 * sweep.departure_mrad[0])
        path_class = sweep.path_class.copy()
    # What is left without spreading changes slowly, so straight lines between steps do.
    return _FlatRadial(
        distance_km, loss_db - 20.0 * np.log10(distance_km), spread_db, departure_deg, path_class
    )


def _free_space(
    request: BlockRequest, distance_km: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return loss, no spread and departure over flat land by free space."""
    shape = (len(request.frequencies), len(request.heights_m), distance_km.size)
    loss_db, spread_db, departure_deg = np.empty(shape), np.empty(shape), np.empty(distance_km.size)
    fill_free_space(
        distance_km,
        np.zeros(distance_km.size),
        np.arange(distance_km.size),
        request.tx_height_m,
        np.asarray(request.heights_m, dtype=np.float64),
        np.array([frequency_mhz / 1000.0 for frequency_mhz, _ in request.frequencies]),
        median_radius_km(request.dn),
        loss_db,
        spread_db,
        departure_deg,
    )
    return loss_db, spread_db, departure_deg
