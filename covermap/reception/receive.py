"""From the fields of a tile's cells to what they need for a wanted list."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.reception.best_plans import FURTHER_ROWS, Asked, CellArrays, Fields
from covermap.reception.budget import Wanted, WantedTransmitters, wanted_transmitters
from covermap.reception.causes import noise_loss_db
from covermap.reception.cells import CellResults, receive_cells
from covermap.reception.channels import on_one_channel
from covermap.reception.installations import Installations, installations, station_figures
from covermap.reception.list_here import list_arrays
from covermap.reception.options import ReceptionOptions
from covermap.reception.path_spreads import spread_levels
from covermap.reception.plan import receiver_arrays
from covermap.reception.plan_columns import PLAN_COLUMNS
from covermap.reception.rating import NIGHT
from covermap.reception.search_arrays import search_arrays
from covermap.reception.signals import CellSignals, ListReception, StationFacts
from covermap.reception.surroundings import (
    ENVIRONMENT_NAMES,
    Surroundings,
    surroundings_of,
)
from covermap.reception.tiers import TierTable
from covermap.reception.two_antennas import aim_arrays


class ListReceiver:
    """What many tiles of cells need for one wanted list: what is the same for all is worked out once.

    Parameters
    ----------
    facts : StationFacts
        Of the S stations; all of them interfere and overload, wanted or not.
    tiers : TierTable
        Tiers 1 to 7.
    wanted : WantedList
        Services, their transmitters (indices of stations) and how many must arrive.
    options : ReceptionOptions
        How sure, how uncertain, in what noise.
    heights_m : ndarray, shape (H,)
        Mount heights that are paths, as CellSignals has them.
    around : Surroundings
        Every kind of surroundings that may occur, in any number.
    first_tiers : int
        How many tiers are looked at; with fewer than all only tiers_of() may be asked, and a list that none
        of them holds has the number behind theirs.

    Raises
    ------
    InputError
        If the list is empty, or a tier's height was not computed.
    """

    def __init__(
        self,
        facts: StationFacts,
        tiers: TierTable,
        wanted: Wanted,
        options: ReceptionOptions,
        heights_m: NDArray[np.float64],
        around: Surroundings,
        first_tiers: int = TIER_COUNT,
    ) -> None:
        if len(tiers) != TIER_COUNT:
            raise InputError(f"a tier table must hold tiers 1 to {TIER_COUNT}, got {len(tiers)} tiers.")
        transmitters = wanted_transmitters(wanted, facts)
        self._facts = facts
        self._tiers, self._options = tiers, options
        self._looked_at = tiers.tiers[:first_tiers]
        self._heights_m = np.asarray(heights_m, np.float64)
        self._surroundings = np.unique(around.numbers(options))
        kinds = surroundings_of(self._surroundings)
        listed = np.unique(transmitters.station)
        self._of_stations = station_figures(listed, facts, self._looked_at, kinds, options)
        self.level_of = spread_levels(options)[0]
        self._take(wanted, transmitters)

    def _take(self, wanted: Wanted, transmitters: WantedTransmitters) -> None:
        """Become the receiver of a list, whose transmitters' figures are known."""
        options = self._options
        self.services = tuple(wanted.services)
        self.model = installations(
            transmitters, self._of_stations, self._facts, self._looked_at, self._heights_m, options
        )
        self.asked = Asked(
            options.confidence_percent / 100.0,
            float(options.confidence_percent),
            wanted.needed,
            min(options.dead_zone_services, transmitters.services),
            False,
        )

    def of_part(self, wanted: Wanted) -> ListReceiver:
        """Return what works out a list of some of this list's stations, whose figures are known here.

        Raises InputError if it is empty, or has a station that this list has not.
        """
        transmitters = wanted_transmitters(wanted, self._facts)
        strange = np.setdiff1d(transmitters.station, self._of_stations.station)
        if strange.size:
            raise InputError(f"station {strange[0]} is none of the list's that this receiver was made for.")
        other = copy(self)
        other._take(wanted, transmitters)
        return other

    @cached_property
    def noise_db(self) -> NDArray[np.float64]:
        """Return what external noise costs each environment, tier and station, of noise_loss_db(). [dB]"""
        each = [replace(self._options, noise_environment=name) for name in ENVIRONMENT_NAMES]
        return np.stack([noise_loss_db(self._facts, self._tiers, options) for options in each])

    @property
    def noise_of_options_db(self) -> NDArray[np.float64]:
        """Return the same in the options' own environment, shape (T, S)."""
        return self.noise_db[ENVIRONMENT_NAMES.index(self._options.noise_environment)]

    @cached_property
    def one_channel(self) -> NDArray[np.bool_]:
        """Return for each station whether another one is on its channel, as on_one_channel()."""
        return on_one_channel(self._facts)

    def receive(self, signals: CellSignals, shifted: NDArray[np.bool_] | None = None) -> ListReception:
        """Return what each cell needs; may be called from several threads at once.

        Parameters
        ----------
        signals : CellSignals
            Fields, bearings and surroundings of N cells.
        shifted : ndarray of bool, shape (N,), optional
            Cells where every field is also tried 3 dB weaker and stronger; none without.

        Returns
        -------
        ListReception
            One value a cell. A cell is unknown where a wanted service has no transmitter with a known field.

        Raises
        ------
        InputError
            If arrays disagree in shape, or heights or a cell's surroundings are not those given before.
        """
        return self._receive(signals, shifted, np.empty((0, 0, 0)))

    def tiers_of(self, signals: CellSignals) -> NDArray[np.uint8]:
        """Return each cell's tier and nothing else, in a fraction of the time of receive().

        An aim that holds is looked for instead of the best one, and found in over 99.9 % of cells where
        receive() finds one, in a few where it does not (tests/test_aim.py).
        """
        return self._receive(signals, None, np.empty((0, 0, 0)), tier_only=True).tier

    def receive_with_plans(self, signals: CellSignals) -> tuple[ListReception, NDArray[np.float64]]:
        """Return what receive() does, and every cell's plans, shape (N, 8, PLAN_COLUMNS).

        The best plan of one antenna of each tier, then that of two where the answer has two (else its chance
        is -1); columns as covermap.reception.plan_columns. Every cell is also tried weaker and stronger.
        """
        plans = np.zeros((signals.open_land.size, len(self._tiers) + 1, PLAN_COLUMNS))
        return self._receive(signals, np.ones(signals.open_land.size, np.bool_), plans), plans

    def _receive(
        self,
        signals: CellSignals,
        shifted: NDArray[np.bool_] | None,
        plans: NDArray[np.float64],
        tier_only: bool = False,
    ) -> ListReception:
        _require_shapes(signals, self._facts)
        if not np.array_equal(signals.heights_m, self._heights_m):
            raise InputError(
                f"heights_m is {signals.heights_m.tolist()}, this receiver was made for "
                f"{self._heights_m.tolist()}."
            )
        kind = self.kind_of(signals)
        reception = unknown_reception(kind.size, self.model.wanted.services)
        receive_cells(
            self.asked._replace(tier_only=tier_only),
            np.zeros(kind.size, np.bool_) if shifted is None else np.ascontiguousarray(shifted, np.bool_),
            fields_of(signals, kind, self.level_of),
            self.model,
            cell_arrays(signals.heights_m.size, self.model),
            CellResults(**vars(reception)),
            plans,
        )
        if self.asked.needed < self.model.wanted.services:
            _name_no_deciding_service(reception)
        return reception

    def kind_of(self, signals: CellSignals) -> NDArray[np.int64]:
        """Return which of the surroundings each cell has."""
        wanted = signals.surroundings.numbers(self._options)
        last = self._surroundings.size - 1
        kind = np.minimum(np.searchsorted(self._surroundings, wanted), last).astype(np.int64)
        strange = self._surroundings[kind] != wanted
        if strange.any():
            cell = int(np.argmax(strange))
            raise InputError(
                f"cell {cell} has clutter_height_m {signals.clutter_height_m[cell]:g} and open_land "
                f"{bool(signals.open_land[cell])}, which are not among the surroundings this receiver was "
                "made for."
            )
        return kind


def receive(
    signals: CellSignals,
    facts: StationFacts,
    tiers: TierTable,
    wanted: Wanted,
    options: ReceptionOptions,
    shifted: NDArray[np.bool_] | None = None,
) -> ListReception:
    """Return what each cell needs for one wanted list, of one tile; see ListReceiver for many.

    Parameters, result and errors are those of ListReceiver and its receive().
    """
    _require_shapes(signals, facts)
    around = signals.surroundings
    return ListReceiver(facts, tiers, wanted, options, signals.heights_m, around).receive(signals, shifted)


def _name_no_deciding_service(reception: ListReception) -> None:
    """Take back which service decides: where some of a list are enough, another takes the place of any one.

    What interferes and why it is hard stay those of the weakest service.
    """
    reception.deciding_service[:] = UNKNOWN_UINT8
    reception.tier_without_deciding[:] = UNKNOWN_UINT8


def fields_of(signals: CellSignals, kind: NDArray[np.int64], level_of: NDArray[np.uint8]) -> Fields:
    """Return the fields of cells as the kernels read them.

    kind : of ListReceiver.kind_of. level_of : of spread_levels
    """
    field_dbuvm = np.ascontiguousarray(signals.field_dbuvm, np.float32)

    def or_wanted(values: NDArray[np.float32] | None) -> NDArray[np.float32]:
        return field_dbuvm if values is None else np.ascontiguousarray(values, np.float32)

    unknown = np.full((field_dbuvm.shape[0], kind.size), UNKNOWN_UINT8, np.uint8)
    distance_km = np.empty((0, kind.size)) if signals.distance_km is None else signals.distance_km
    return Fields(
        field_dbuvm,
        or_wanted(signals.unwanted_field_dbuvm),
        or_wanted(signals.median_field_dbuvm),
        level_of[unknown if signals.path_class is None else signals.path_class],
        np.ascontiguousarray(signals.bearing_deg, np.float32),
        np.ascontiguousarray(distance_km, np.float32),
        kind,
    )


def unknown_reception(cells: int, services: int) -> ListReception:
    """Return the reception of cells of which nothing is known."""

    def unknown(kind: type, *shape: int) -> NDArray:
        absent: float = -1
        if kind is not np.int16:
            absent = UNKNOWN_UINT8 if kind is np.uint8 else np.nan
        return np.full((*shape, cells), absent, kind)

    return ListReception(
        tier=unknown(np.uint8),
        tier_chance_percent=unknown(np.uint8, TIER_COUNT),
        two_antennas_chance_percent=unknown(np.uint8),
        dead_zone_chance_percent=unknown(np.uint8),
        margin_db=unknown(np.float32),
        stored_margin_db=unknown(np.float32),
        aim_deg=unknown(np.int16),
        limiting_service=unknown(np.uint8),
        deciding_service=unknown(np.uint8),
        service_chance_percent=unknown(np.uint8, services),
        service_chance_one_lower_percent=unknown(np.uint8, services),
        second_aim_deg=unknown(np.int16),
        aim_from_deg=unknown(np.int16),
        aim_to_deg=unknown(np.int16),
        second_from_deg=unknown(np.int16),
        second_to_deg=unknown(np.int16),
        plan_flags=np.zeros(cells, np.uint8),
        amplifier=unknown(np.uint8),
        tier_without_deciding=unknown(np.uint8),
        tier_weaker=unknown(np.uint8),
        tier_stronger=unknown(np.uint8),
        dead_weaker=unknown(np.uint8),
        dead_stronger=unknown(np.uint8),
        service_station=unknown(np.int16, services),
        service_interference_db=unknown(np.uint8, services),
        service_interferer=unknown(np.int16, services),
        deciding_station=unknown(np.int16),
        deciding_interference_db=unknown(np.uint8),
        deciding_interferer=unknown(np.int16),
        interference_decides=np.zeros(cells, np.bool_),
        disturbed=np.zeros(cells, np.bool_),
    )


def cell_arrays(heights: int, model: Installations) -> CellArrays:
    """Return the loop's empty work arrays."""
    wanted, rows = model.wanted, model.tiers + FURTHER_ROWS
    return CellArrays(
        receiver_arrays(wanted, model.pairs, heights),
        np.empty((heights, wanted.station.size)),
        np.empty(wanted.services, np.bool_),
        np.empty((rows, PLAN_COLUMNS)),
        np.empty(model.tiers, np.bool_),
        np.zeros(1, np.bool_),
        np.zeros((rows, NIGHT + 1), np.bool_),
        search_arrays(wanted),
        aim_arrays(wanted),
        list_arrays(model),
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
