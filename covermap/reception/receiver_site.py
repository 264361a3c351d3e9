"""A receiver site as reception's kernels see it: what arrives there, and work arrays filled with them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.reception.budget import NEED_DBUVM, WantedTransmitters, tier_figures, wanted_transmitters
from covermap.reception.confidence import (
    BEARING_DEG,
    CLEAR_DB,
    LEVEL,
    UPPER_DB,
)
from covermap.reception.interference import Pairs, find_pairs, other_figures, set_pairs, with_harmless
from covermap.reception.options import ReceptionOptions
from covermap.reception.pairs_here import read_pairs
from covermap.reception.path_spreads import spread_levels, tier_spreads
from covermap.reception.plan import ReceiverArrays, chance_of_plan, receiver_arrays
from covermap.reception.plan_columns import JOINED_AS
from covermap.reception.signals import StationFacts
from covermap.reception.spreads import set_spreads
from covermap.reception.tiers import Tier


@dataclass(frozen=True, eq=False)
class ReceiverSignals:
    """What arrives at one receiver site from S stations.

    facts : of the stations
    field_dbuvm : (S,) median at the wanted time percentage, at 10 m; for a mount above 10 m at its height
    bearing_deg : (S,) azimuth from it to each station, clockwise from true north
    service : (S,) labels; stations of one label are alternatives. Empty: each its own service. A label of ""
        is a station that is not wanted: it only disturbs and overloads
    at_least : how many services must arrive; None means all
    clutter_height_m : of the land-cover class, 0 where none; open_land : open land or water
    options : noise and uncertainty
    unwanted_dbuvm, median_dbuvm : (S,) at the unwanted time percentage and at 50 % of time; None: field_dbuvm
    distance_km : (S,) to each station; None: no single-frequency network is looked at
    path_class : uint8 (S,), what stands in the way, as CellSignals has it; None: open paths
    """

    facts: StationFacts
    field_dbuvm: NDArray[np.float64]
    bearing_deg: NDArray[np.float64]
    service: tuple[str, ...] = ()
    at_least: int | None = None
    clutter_height_m: float = 0.0
    open_land: bool = False
    options: ReceptionOptions = field(default_factory=ReceptionOptions)
    unwanted_dbuvm: NDArray[np.float64] | None = None
    median_dbuvm: NDArray[np.float64] | None = None
    distance_km: NDArray[np.float64] | None = None
    path_class: NDArray[np.uint8] | None = None

    @property
    def labels(self) -> tuple[str, ...]:
        """Return one label a station."""
        return self.service or tuple(str(number) for number in range(len(self.field_dbuvm)))

    @property
    def services(self) -> tuple[str, ...]:
        """Return the services in the order of their first station."""
        return tuple(dict.fromkeys(label for label in self.labels if label))

    @property
    def transmitters(self) -> tuple[tuple[int, ...], ...]:
        """Return the stations of each service."""
        labels = self.labels
        return tuple(tuple(i for i, label in enumerate(labels) if label == name) for name in self.services)

    @property
    def needed(self) -> int:
        """Return how many services must arrive."""
        return len(self.services) if self.at_least is None else self.at_least


@dataclass(frozen=True, eq=False)
class ReceiverSite:
    """A receiver site as the kernels see it, work arrays filled.

    figures : (FIGURES, W). other_figures : (OTHER_FIGURES, S)
    """

    wanted: WantedTransmitters
    figures: NDArray[np.float64]
    other_figures: NDArray[np.float64]
    pairs: Pairs
    receiver: ReceiverArrays

    def chance(self, plan: NDArray[np.float64], needed: int) -> float:
        """Return the chance of at least needed services under a plan; margins are left in the work arrays."""
        return float(
            chance_of_plan(
                plan, 0.0, needed, self.figures, self.other_figures, self.wanted, self.pairs, self.receiver
            )
        )


def receiver_site_with(signals: ReceiverSignals, tier: Tier, joined: int) -> ReceiverSite:
    """Return transmitters, the tier's figures and work arrays filled with them."""
    _require_known(signals)
    wanted = wanted_transmitters(signals, signals.facts)
    around = (
        np.array([float(signals.clutter_height_m)]),
        np.array([bool(signals.open_land)]),
        signals.options,
    )
    figures = tier_figures((tier,), signals.facts, wanted.station, *around, JOINED_AS[joined])[0, 0]
    of_others = other_figures((tier,), signals.facts, *around)[0, 0]
    frequency_mhz = np.asarray(signals.facts.frequency_mhz, np.float64)[wanted.station]
    spreads = tier_spreads((tier,), frequency_mhz, around[0], signals.options, figures[None, None])[0, 0]
    found = find_pairs(wanted, signals.facts, signals.options)
    pairs = with_harmless(found, figures[None, None, None], spreads[None, None, None], of_others[None, None])
    receiver = receiver_arrays(wanted, pairs, 1)
    stations = slice(0, wanted.station.size)
    receiver.values[BEARING_DEG, stations] = np.asarray(signals.bearing_deg)[wanted.station] % 360.0
    field_dbuvm = np.asarray(signals.field_dbuvm, np.float64)[wanted.station]
    receiver.values[CLEAR_DB, stations] = field_dbuvm - figures[NEED_DBUVM]
    receiver.values[UPPER_DB, stations] = receiver.values[CLEAR_DB, stations]
    receiver.numbers[LEVEL, stations] = levels_of(signals)[wanted.station]
    set_spreads(wanted, spreads, receiver)
    if pairs.station.size:
        fields = (signals.unwanted_dbuvm, signals.median_dbuvm, signals.field_dbuvm)
        bearing_deg, distance_km = by_mast(signals)
        read_pairs(
            0, *(one_cell(signals, values) for values in fields), bearing_deg, distance_km, wanted, pairs,
            receiver.numbers, receiver.interfering,
        )  # fmt: skip
        set_pairs(
            wanted,
            False,
            0,
            figures,
            of_others,
            pairs,
            receiver.values,
            receiver.interfering,
        )
    return ReceiverSite(wanted, figures, of_others, pairs, receiver)


def levels_of(signals: ReceiverSignals) -> NDArray[np.uint8]:
    """Return the level of spread of each station's path."""
    unknown = np.full(len(signals.field_dbuvm), UNKNOWN_UINT8, np.uint8)
    return spread_levels(signals.options)[0][unknown if signals.path_class is None else signals.path_class]


def one_cell(signals: ReceiverSignals, values: NDArray[np.float64] | None) -> NDArray[np.float32]:
    """Return fields as the kernels read them, shape (S, 1, 1); without, those at the wanted percentage."""
    given = signals.field_dbuvm if values is None else values
    return np.ascontiguousarray(np.asarray(given, np.float32)[:, None, None])


def by_mast(signals: ReceiverSignals) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return bearing and distance of each mast, shapes (M, 1) and (M, 1), or (0, 1) without distances."""
    mast = np.asarray(signals.facts.mast, np.int64)
    bearing_deg = np.full((int(mast.max()) + 1, 1), np.nan, np.float32)
    bearing_deg[mast, 0] = np.asarray(signals.bearing_deg, np.float64) % 360.0
    if signals.distance_km is None:
        return bearing_deg, np.empty((0, 1), np.float32)
    distance_km = np.zeros_like(bearing_deg)
    distance_km[mast, 0] = signals.distance_km
    return bearing_deg, distance_km


def _require_known(signals: ReceiverSignals) -> None:
    stations = np.asarray(signals.facts.frequency_mhz).size
    lengths = (len(signals.field_dbuvm), len(signals.bearing_deg), len(signals.labels))
    if lengths != (stations,) * 3:
        raise InputError(
            f"field_dbuvm, bearing_deg and service must hold one value a station ({stations}), got {lengths}."
        )
    for name in ("field_dbuvm", "bearing_deg"):
        unknown = np.isnan(np.asarray(getattr(signals, name), np.float64))
        if unknown.any():
            raise InputError(
                f"{name} is NaN at station {int(np.argmax(unknown))}. Leave out what is not known."
            )
