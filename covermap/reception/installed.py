"""Which installations hold a list, and which services each brings: asked of reception, one by one.

An installation is a row of tiers: it without an amplifier, and with one where there is one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.reception.budget import Wanted
from covermap.reception.ladder import deaf_in, ladder
from covermap.reception.options import ReceptionOptions
from covermap.reception.receive import ListReceiver
from covermap.reception.services import ServiceCounter
from covermap.reception.signals import CellSignals, StationFacts
from covermap.reception.surroundings import Surroundings
from covermap.reception.tiers import Tier
from covermap.reception.turned import Turned, hears_all_around, ways_to_turn

VHF, UHF = ("low_vhf", "high_vhf"), ("uhf",)


@dataclass(frozen=True, eq=False)
class Receiving:
    """What stands the same for every installation: stations, options, heights, kinds of surroundings.

    As ListReceiver takes them.
    """

    facts: StationFacts
    options: ReceptionOptions
    heights_m: NDArray[np.float64]
    kinds: Surroundings


class HoldingReceiver:
    """Tells which variant of one installation holds a list, in many tiles of cells.

    Variants are turned alike, where they are turned at all.
    """

    def __init__(self, variants: Sequence[Tier], wanted: Wanted, around: Receiving) -> None:
        self._ways = _ways(variants[0], wanted, around)
        table = ladder([hears_all_around(tier) for tier in variants])
        self._receivers = [
            ListReceiver(_facts(way, around), table, wanted, *_rest(around), len(variants))
            for way in self._ways
        ]
        self._variants = len(variants)

    def receive(self, signals: CellSignals) -> NDArray[np.uint8]:
        """Return the first variant that holds in each cell, from 1; 0 for none, 255 unknown, shape (N,).

        Overload is left out, as of every class: a filter or attenuator stops it. May be called from several
        threads at once.
        """
        tiers = [
            receiver.tiers_of(_signals(way, signals))
            for way, receiver in zip(self._ways, self._receivers, strict=True)
        ]
        tier = np.min(tiers, axis=0)
        return np.where(tier == self._variants + 1, 0, tier).astype(np.uint8)


class InstallationCounter:
    """Tells which services each of some installations brings, each service alone, in many tiles of cells.

    Up to 7 installations. A pair behind a diplexer is counted with an aim for each of its antennas, one
    that is turned for good at its azimuth.
    """

    def __init__(self, installations: Sequence[Tier], services: Wanted, around: Receiving) -> None:
        parts = [
            (number, part) for number, tier in enumerate(installations) for part in _parts_with_one_aim(tier)
        ]
        aimed = [part for part in parts if not part[1].turned_deg]
        self.services = tuple(services.services)
        self._groups = [aimed[start : start + TIER_COUNT] for start in range(0, len(aimed), TIER_COUNT)]
        self._counters = [
            ServiceCounter(
                around.facts, ladder([tier for _, tier in group]), services, *_rest(around), len(group)
            )
            for group in self._groups
        ]
        self._turned = [
            (number, _TurnedCounter(tier, services, around)) for number, tier in parts if tier.turned_deg
        ]

    def count(self, signals: CellSignals) -> NDArray[np.uint8]:
        """Return with which installations each service arrives, (V, N).

        A value is a sum of bits, 1 for the first installation, 2 for the second and so on; 255 unknown.
        """
        found = np.zeros((len(self.services), signals.open_land.size), np.uint8)
        unknown = np.zeros(found.shape, np.bool_)
        for group, counter in zip(self._groups, self._counters, strict=True):
            bits = counter.count(signals).tiers
            for bit, (number, _) in enumerate(group):
                found |= np.where(bits & (1 << bit), np.uint8(1 << number), np.uint8(0))
            unknown |= bits == UNKNOWN_UINT8
        for number, turned in self._turned:
            bits = turned.count(signals)
            found |= np.where(bits & 1, np.uint8(1 << number), np.uint8(0))
            unknown |= bits == UNKNOWN_UINT8
        found[unknown] = UNKNOWN_UINT8
        return found


class _TurnedCounter:
    """Tells which services an antenna that is turned for good brings, mounted as brings most of them."""

    def __init__(self, tier: Tier, services: Wanted, around: Receiving) -> None:
        table = ladder([hears_all_around(tier)])
        self._ways = ways_to_turn(tier, around.facts, services)
        self._counters = [ServiceCounter(way.facts, table, services, *_rest(around), 1) for way in self._ways]

    def count(self, signals: CellSignals) -> NDArray[np.uint8]:
        """Return 1 where a service arrives, 0 where it does not, 255 unknown, (V, N)."""
        bits = np.stack(
            [
                counter.count(way.applied(signals)).tiers
                for way, counter in zip(self._ways, self._counters, strict=True)
            ]
        )
        best = np.argmax(np.sum(bits == 1, axis=1), axis=0)
        return np.take_along_axis(bits, best[None, None, :], axis=0)[0]


def _ways(tier: Tier, wanted: Wanted, around: Receiving) -> tuple[Turned | None, ...]:
    """Return the ways to mount what is turned; None where nothing is."""
    return ways_to_turn(tier, around.facts, wanted) or (None,)


def _facts(way: Turned | None, around: Receiving) -> StationFacts:
    return around.facts if way is None else way.facts


def _signals(way: Turned | None, signals: CellSignals) -> CellSignals:
    return signals if way is None else way.applied(signals)


def _parts_with_one_aim(tier: Tier) -> tuple[Tier, ...]:
    """Return an installation as what has one aim each: a pair's antenna for VHF and that for UHF."""
    if tier.diplexer_loss_db <= 0.0:
        return (tier,)
    return deaf_in(tier, UHF), deaf_in(tier, VHF)


def _rest(around: Receiving) -> tuple[ReceptionOptions, NDArray[np.float64], Surroundings]:
    return around.options, around.heights_m, around.kinds
