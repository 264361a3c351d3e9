"""Loss blocks by the regulator's curves: in place of paths, heights above average terrain."""

from __future__ import annotations

import dataclasses
import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from covermap.constants import FIELD_FROM_LOSS_DB
from covermap.grid.blocks import BlockRequest
from covermap.grid.frame import Tile
from covermap.grid.geodesy import mast_geometry
from covermap.grid.loss_block import LossBlock
from covermap.propagation.field_curves import F50_10, F50_50, FieldCurves, field_1kw

AZIMUTHS = 360
NODES_KM = np.geomspace(0.25, 500.0, 640)  # between them straight in log distance: within 0.05 dB
BAND_ENDS_MHZ = (
    ("low_vhf", 108.0),
    ("high_vhf", 300.0),
    ("uhf", math.inf),
)  # 47 CFR 73.699: the figures' bands


def curve_block(
    request: BlockRequest, tile: Tile, block: LossBlock, haat_m: NDArray[np.float64], curves: FieldCurves
) -> LossBlock:
    """Return a block whose losses are those of the curves, its other parts those of block.

    haat_m : height above average terrain, one a whole degree, shape (360,); NaN unknown. Between mounts the
    field changes as in block, since the curves know 9.1 m alone. Spread is F(50,10) less F(50,50), whatever
    the request's percentage; NaN where the height is unknown or the curves have ended.
    """
    longitude_deg, latitude_deg = request.grid.centres_lonlat(tile)
    seen = mast_geometry(request.latitude_deg, request.longitude_deg, longitude_deg, latitude_deg)
    azimuth = np.rint(seen.azimuth_deg).astype(np.int64) % AZIMUTHS
    place = np.log(np.clip(seen.distance_km, NODES_KM[0], NODES_KM[-1]) / NODES_KM[0])
    place /= math.log(NODES_KM[1] / NODES_KM[0])
    node = np.minimum(place.astype(np.int64), NODES_KM.size - 2)
    share = place - node
    loss_db, spread_db = block.loss_db.copy(), block.spread_db.copy()
    for index, (frequency_mhz, _) in enumerate(request.frequencies):
        band = next(name for name, end_mhz in BAND_ENDS_MHZ if frequency_mhz < end_mhz)
        fields = []
        for curve in (F50_50, F50_10):
            table = _fields_at_nodes(curves, band, curve, tuple(haat_m.tolist()))
            low, high = table[azimuth, node], table[azimuth, node + 1]
            fields.append(low + share * (high - low))
        lowest_db = FIELD_FROM_LOSS_DB + 20.0 * math.log10(frequency_mhz / 1000.0) - fields[0]
        loss_db[index] = lowest_db + (block.loss_db[index] - block.loss_db[index, :1])
        spread_db[index] = np.maximum(fields[1] - fields[0], 0.0)
    spread_db[np.isnan(loss_db)] = np.nan
    return dataclasses.replace(block, loss_db=loss_db, spread_db=spread_db)


@lru_cache(maxsize=256)  # 1.8 MB each: the tiles of a mast share it
def _fields_at_nodes(
    curves: FieldCurves, band: str, curve: str, haat_m: tuple[float, ...]
) -> NDArray[np.float64]:
    """Return the field of 1 kW at each azimuth and node, shape (360, nodes); NaN where the height is."""
    heights_m = np.array(haat_m)
    nodes_km = np.broadcast_to(NODES_KM, (AZIMUTHS, NODES_KM.size))
    field = field_1kw(curves, band, curve, np.nan_to_num(heights_m), nodes_km)
    return np.where(np.isnan(heights_m)[:, np.newaxis], np.nan, field)
