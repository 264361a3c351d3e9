"""What reception takes and gives: one record of arrays each way, cells along the last axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class StationFacts:
    """What reception must know of the S stations, one value a station.

    mast : whole numbers, equal for stations on one structure
    polarization : 0 horizontal, 1 vertical, 2 slant or circular
    """

    frequency_mhz: NDArray[np.float64]
    bandwidth_mhz: NDArray[np.float64]
    required_cn_db: NDArray[np.float64]
    mast: NDArray[np.int64]
    polarization: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class CellSignals:
    """The N cells of a tile as reception sees them.

    heights_m : shape (H,), mount heights that are paths, increasing, the first is 10
    field_dbuvm : float32, shape (S, H, N), median over locations at the wanted time percentage,
        ERP and transmitting patterns included; NaN is unknown
    bearing_deg : float32, shape (M, N), azimuth from the cell to each mast, clockwise from true north
    clutter_height_m : float32, shape (N,), of the land-cover class at the cell; 0 where none
    open_land : bool, shape (N,), open land or water (form 2b of ITU-R P.2108-1 section 3.1)
    """

    heights_m: NDArray[np.float64]
    field_dbuvm: NDArray[np.float32]
    bearing_deg: NDArray[np.float32]
    clutter_height_m: NDArray[np.float32]
    open_land: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ListReception:
    """What N cells need for one wanted list of V services.

    tier : uint8 (N,), 1 to 8, 255 unknown
    tier_chance_percent : uint8 (7, N), joint confidence with the best plan of each tier, 255 unknown
    dead_zone_chance_percent : uint8 (N,), chance that tier 7 brings at least dead_zone_services
    margin_db : float32 (N,), worst margin of the wanted services with tier 5's best plan, NaN unknown
    stored_margin_db : float32 (N,), the same with the stored plan (tier 8: tier 7's plan)
    aim_deg : int16 (N,), azimuth of the stored plan, whole degrees, -1 unknown
    limiting_service, deciding_service : uint8 (N,), index into the list's services, 255 none or unknown
    service_chance_percent : uint8 (V, N), chance of each service alone with the stored plan, 255 unknown
    service_chance_one_lower_percent : uint8 (V, N), the same with the best plan one tier lower
        (tier 1: 0)
    """

    tier: NDArray[np.uint8]
    tier_chance_percent: NDArray[np.uint8]
    dead_zone_chance_percent: NDArray[np.uint8]
    margin_db: NDArray[np.float32]
    stored_margin_db: NDArray[np.float32]
    aim_deg: NDArray[np.int16]
    limiting_service: NDArray[np.uint8]
    deciding_service: NDArray[np.uint8]
    service_chance_percent: NDArray[np.uint8]
    service_chance_one_lower_percent: NDArray[np.uint8]
