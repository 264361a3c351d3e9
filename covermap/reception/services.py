"""Which services each class of antenna brings at a receiver, each service alone: no wanted list is needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.reception.budget import Wanted
from covermap.reception.options import ReceptionOptions
from covermap.reception.receive import ListReceiver, cell_arrays, fields_of
from covermap.reception.service_count import count_arrays, count_services
from covermap.reception.signals import CellSignals, StationFacts
from covermap.reception.surroundings import Surroundings
from covermap.reception.tiers import TierTable

NEARLY_ALL = 0.9  # judgement: a class that brings this share of what any class brings leaves little to gain


@dataclass(frozen=True)
class ClassServices:
    """What one class of antenna brings at a receiver: services, and those that no lower class brings."""

    tier: int
    services: tuple[str, ...]
    adds: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ServiceCounts:
    """How many services arrive in N cells with one antenna of each tier, at that tier's best aim for most.

    count : uint8 (7, N), 255 unknown. tiers : uint8 (V, N), for each service the tiers that bring it, a sum
    of bits, 1 for tier 1, 2 for tier 2, 4 for tier 3 and so on; 255 unknown
    """

    count: NDArray[np.uint8]
    tiers: NDArray[np.uint8]
    services: tuple[str, ...]

    def at(self, cell: int) -> tuple[ClassServices, ...]:
        """Return what each class brings in a cell; nothing where it is unknown."""
        return classes_of(self.services, self.tiers[:, cell].tolist())


def classes_of(services: Sequence[str], tiers: Sequence[int]) -> tuple[ClassServices, ...]:
    """Return what each class brings, from the sum of bits of each service; nothing where they are unknown."""
    if not len(tiers) or tiers[0] == UNKNOWN_UINT8:
        return ()
    found: list[ClassServices] = []
    known: set[str] = set()
    for tier in range(1, 8):
        here = tuple(name for name, bits in zip(services, tiers, strict=True) if bits & (1 << (tier - 1)))
        found.append(ClassServices(tier, here, tuple(name for name in here if name not in known)))
        known.update(here)
    return tuple(found)


def tier_of_most(counts: Sequence[int]) -> int | None:
    """Return the class after which little is gained: the lowest with nearly all that any class brings.

    counts : services of tiers 1 to 7. None where no class brings any.
    """
    enough = NEARLY_ALL * max(counts, default=0)
    if not enough:
        return None
    return next(tier for tier, count in enumerate(counts, start=1) if count >= enough)


class ServiceCounter:
    """Counts services in many tiles of cells; arguments and errors as ListReceiver.

    first_tiers : how many tiers are looked at

    Each service counts alone, at the confidence of the options, with all other stations of the file
    interfering and second antennas left out. A service of no known station does not arrive.
    """

    def __init__(
        self,
        facts: StationFacts,
        tiers: TierTable,
        services: Wanted,
        options: ReceptionOptions,
        heights_m: NDArray[np.float64],
        around: Surroundings,
        first_tiers: int = TIER_COUNT,
    ) -> None:
        self._receiver = ListReceiver(facts, tiers, services, options, heights_m, around, first_tiers)
        self.services = tuple(services.services)
        self._deviation = NormalDist().inv_cdf(options.confidence_percent / 100.0)

    def count(self, signals: CellSignals) -> ServiceCounts:
        """Return how many services arrive in each cell; may be called from several threads at once."""
        receiver = self._receiver
        kind = receiver.kind_of(signals)
        tiers = receiver.model.tiers
        count = np.full((tiers, kind.size), UNKNOWN_UINT8, np.uint8)
        found = np.full((len(self.services), kind.size), UNKNOWN_UINT8, np.uint8)
        count_services(
            self._deviation,
            fields_of(signals, kind, receiver.level_of),
            receiver.model,
            cell_arrays(signals.heights_m.size, receiver.model),
            count_arrays(receiver.model.wanted.station.size),
            count,
            found,
        )
        return ServiceCounts(count, found, self.services)
