"""Which installations hold a list, and which services each brings: asked of reception, one by one.

An installation is a row of tiers: it without an amplifier, and with one where there is one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.reception.budget import Wanted
from covermap.reception.ladder import deaf_in, ladder
from covermap.reception.options import ReceptionOptions
from covermap.reception.receive import ListReceiver
from covermap.reception.services import ServiceCounter
from covermap.reception.signals import CellSignals, StationFacts
from covermap.reception.surroundings import Surroundings
from covermap.reception.tiers import Tier

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
    """Tells which variant of one installation holds a list, in many tiles of cells."""

    def __init__(self, variants: Sequence[Tier], wanted: Wanted, around: Receiving) -> None:
        self._receiver = ListReceiver(around.facts, ladder(variants), wanted, *_rest(around))

    def receive(self, signals: CellSignals) -> NDArray[np.uint8]:
        """Return the first variant that holds in each cell, from 1; 0 for none, 255 unknown, shape (N,).

        Overload is left out, as of every class: a filter or attenuator stops it. May be called from several
        threads at once.
        """
        tier = self._receiver.tiers_of(signals)
        return np.where(tier == TIER_NOT_PROMISED, 0, tier).astype(np.uint8)


class InstallationCounter:
    """Tells which services each of some installations brings, each service alone, in many tiles of cells.

    Up to 7 installations. A pair behind a diplexer is counted with an aim for each of its antennas.
    """

    def __init__(self, installations: Sequence[Tier], services: Wanted, around: Receiving) -> None:
        parts = [
            (number, part) for number, tier in enumerate(installations) for part in _parts_with_one_aim(tier)
        ]
        self.services = tuple(services.services)
        self._groups = [parts[start : start + TIER_COUNT] for start in range(0, len(parts), TIER_COUNT)]
        self._counters = [
            ServiceCounter(around.facts, ladder([tier for _, tier in group]), services, *_rest(around))
            for group in self._groups
        ]

    def count(self, signals: CellSignals) -> NDArray[np.uint8]:
        """Return with which installations each service arrives, (V, N).

        A value is a sum of bits, 1 for the first installation, 2 for the second and so on; 255 unknown.
        """
        found = np.zeros((len(self.services), signals.open_land.size), np.uint8)
        for group, counter in zip(self._groups, self._counters, strict=True):
            bits = counter.count(signals).tiers
            for bit, (number, _) in enumerate(group):
                found |= np.where(bits & (1 << bit), np.uint8(1 << number), np.uint8(0))
            found[bits == UNKNOWN_UINT8] = UNKNOWN_UINT8
        return found


def _parts_with_one_aim(tier: Tier) -> tuple[Tier, ...]:
    """Return an installation as what has one aim each: a pair's antenna for VHF and that for UHF."""
    if tier.diplexer_loss_db <= 0.0:
        return (tier,)
    return deaf_in(tier, UHF), deaf_in(tier, VHF)


def _rest(around: Receiving) -> tuple[ReceptionOptions, NDArray[np.float64], Surroundings]:
    return around.options, around.heights_m, around.kinds
