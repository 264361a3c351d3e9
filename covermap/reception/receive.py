"""From the fields of a tile's cells to what they need for a wanted list."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.reception.aim_ranking import scan_arrays
from covermap.reception.aim_search import PLAN_COLUMNS, is_directional
from covermap.reception.budget import (
    Wanted,
    WantedTransmitters,
    heights_of,
    tier_figures,
    wanted_transmitters,
)
from covermap.reception.cells import CellArrays, receive_cells
from covermap.reception.options import ReceptionOptions
from covermap.reception.plan import home_arrays
from covermap.reception.signals import CellSignals, ListReception, StationFacts
from covermap.reception.tiers import TierTable

CLUTTER_STEP_M = 0.1  # heights of surroundings are told apart by this; under 0.05 dB of loss


def receive(
    signals: CellSignals,
    facts: StationFacts,
    tiers: TierTable,
    wanted: Wanted,
    options: ReceptionOptions,
) -> ListReception:
    """What each cell needs for one wanted list.

    Parameters
    ----------
    signals : CellSignals
        Fields, bearings and surroundings of N cells.
    facts : StationFacts
        Of the S stations.
    tiers : TierTable
        Tiers 1 to 7.
    wanted : WantedList
        Services, their transmitters (indices of stations) and how many must arrive.
    options : ReceptionOptions
        How sure, how uncertain, in what noise.

    Returns
    -------
    ListReception
        One value a cell. A cell is unknown where a wanted service has no transmitter with a known field.

    Raises
    ------
    InputError
        If the list is empty, arrays disagree in shape, or a tier's height was not computed.
    """
    _require_shapes(signals, facts)
    if len(tiers) != TIER_COUNT:
        raise InputError(f"a tier table must hold tiers 1 to {TIER_COUNT}, got {len(tiers)} tiers.")
    transmitters = wanted_transmitters(wanted, facts)
    clutter_m, open_land, kind = kinds_of_surroundings(signals.clutter_height_m, signals.open_land)
    figures = tier_figures(tiers.tiers, facts, transmitters.station, clutter_m, open_land, options)
    reception = unknown_reception(kind.size, transmitters.services)
    heights = heights_of(tiers.tiers, signals.heights_m)
    receive_cells(
        np.ascontiguousarray(signals.field_dbuvm, np.float32),
        np.ascontiguousarray(signals.bearing_deg, np.float32),
        kind,
        heights,
        np.array([is_directional(figures[0, tier]) for tier in range(TIER_COUNT)]),
        float(options.confidence_percent),
        wanted.needed,
        min(options.dead_zone_services, transmitters.services),
        transmitters,
        figures,
        _cell_arrays(signals.heights_m.size, transmitters),
        tuple(vars(reception).values()),
    )
    return reception


def kinds_of_surroundings(
    clutter_height_m: NDArray[np.float32], open_land: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.int64]]:
    """Return height and openness of each kind of surroundings that occurs, and each cell's kind."""
    steps = np.rint(np.nan_to_num(clutter_height_m) / CLUTTER_STEP_M).astype(np.int64)
    codes, kind = np.unique(2 * steps + np.asarray(open_land, np.int64), return_inverse=True)
    return (codes // 2) * CLUTTER_STEP_M, (codes % 2).astype(bool), kind.astype(np.int64).ravel()


def unknown_reception(cells: int, services: int) -> ListReception:
    """Return the reception of cells of which nothing is known."""
    return ListReception(
        tier=np.full(cells, UNKNOWN_UINT8, np.uint8),
        tier_chance_percent=np.full((TIER_COUNT, cells), UNKNOWN_UINT8, np.uint8),
        dead_zone_chance_percent=np.full(cells, UNKNOWN_UINT8, np.uint8),
        margin_db=np.full(cells, np.nan, np.float32),
        stored_margin_db=np.full(cells, np.nan, np.float32),
        aim_deg=np.full(cells, -1, np.int16),
        limiting_service=np.full(cells, UNKNOWN_UINT8, np.uint8),
        deciding_service=np.full(cells, UNKNOWN_UINT8, np.uint8),
        service_chance_percent=np.full((services, cells), UNKNOWN_UINT8, np.uint8),
        service_chance_one_lower_percent=np.full((services, cells), UNKNOWN_UINT8, np.uint8),
    )


def _cell_arrays(heights: int, transmitters: WantedTransmitters) -> CellArrays:
    count = transmitters.station.size
    home = home_arrays(transmitters)
    return CellArrays(
        home,
        np.empty((heights, count)),
        np.empty(transmitters.services, np.bool_),
        np.empty((TIER_COUNT + 1, PLAN_COLUMNS)),
        np.empty(TIER_COUNT + 1, np.bool_),
        scan_arrays(transmitters),
    )


def _require_shapes(signals: CellSignals, facts: StationFacts) -> None:
    stations = np.asarray(facts.frequency_mhz).size
    cells = np.asarray(signals.clutter_height_m).size
    expected = (stations, np.asarray(signals.heights_m).size, cells)
    if signals.field_dbuvm.shape != expected:
        raise InputError(
            f"field_dbuvm must have shape (stations, heights, cells) = {expected}, "
            f"got {signals.field_dbuvm.shape}."
        )
    masts = int(np.max(facts.mast)) + 1 if stations else 0
    if (
        signals.bearing_deg.ndim != 2
        or signals.bearing_deg.shape[0] < masts
        or signals.bearing_deg.shape[1] != cells
    ):
        raise InputError(
            f"bearing_deg must have shape (masts, cells) = ({masts}, {cells}), "
            f"got {signals.bearing_deg.shape}."
        )
