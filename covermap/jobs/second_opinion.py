"""What another model says of the same cells: its losses beside the map's, never mixed with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.grid.blocks import LossBlock
from covermap.grid.curve_block import curve_block
from covermap.grid.frame import Tile
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.jobs.path_stage import tile_blocks
from covermap.reception import ListReception
from covermap.tables.field_curves import read_field_curves


@dataclass(frozen=True, eq=False)
class SecondOpinion:
    """Another model's answer for a list's N cells.

    tier : uint8 (N,), 1 to 8, 255 unknown
    difference_db : float32 (N,), its median field of the limiting service's station less the map's
    """

    tier: NDArray[np.uint8]
    difference_db: NDArray[np.float32]


def second_blocks(
    prepared: Preparation, store: Store, tile: Tile, blocks: list[LossBlock]
) -> list[LossBlock] | None:
    """Return the other model's blocks of prepared.requests for a tile; None where nobody asked for one.

    blocks : the map's own, whose geometry the curves share.
    """
    other = prepared.second
    if other is None:
        return None
    if other.requests != prepared.requests:
        return tile_blocks(other, store, tile)
    curves = read_field_curves()
    return [
        curve_block(request, tile, block, haat_m, curves)
        for request, block, haat_m in zip(prepared.requests, blocks, prepared.curve_heights_m, strict=True)
    ]


def second_opinion(
    map_says: ListReception,
    map_dbuvm: NDArray[np.float32],
    other_tier: NDArray[np.uint8],
    other_dbuvm: NDArray[np.float32],
) -> SecondOpinion:
    """Return the other model's tiers and how its field of the limiting service differs.

    map_dbuvm, other_dbuvm : median field of each station at 10 m, without offsets of readings, shape (S, N)
    """
    cells = np.arange(map_says.tier.size)
    services = map_says.service_station.shape[0]
    limiting = map_says.limiting_service.astype(np.int64)
    station = map_says.service_station[np.minimum(limiting, services - 1), cells].astype(np.int64)
    known = (limiting < services) & (station >= 0)
    difference_db = other_dbuvm[np.maximum(station, 0), cells] - map_dbuvm[np.maximum(station, 0), cells]
    return SecondOpinion(other_tier, np.where(known, difference_db, np.nan).astype(np.float32))
