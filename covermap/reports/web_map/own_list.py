"""What the page knows of lists its reader ticks: the class each service needs by itself.

All of them together need at least the highest of these classes, and at least the class of every list of the
run that is ticked whole. Neither ever falls when one more is ticked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.reports.web_map.layers import UNKNOWN
from covermap.reports.web_map.page_grid import PageGrid
from covermap.scenario.records import Scenario


@dataclass(frozen=True)
class Service:
    """One service that can be ticked: its name and the indices of its stations in file order."""

    name: str
    stations: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class ServiceTiers:
    """The class each service needs by itself, with interference and overload as in the run.

    services : of services_of(). tier : uint8 (V, rows, cols), 8 not promised, 255 unknown
    """

    services: tuple[Service, ...]
    tier: NDArray[np.uint8]

    def reaching(self) -> list[bool]:
        """Return for each service whether some antenna is sure enough of it somewhere."""
        return [bool((tier < TIER_NOT_PROMISED).any()) for tier in self.tier]


def services_of(scenario: Scenario) -> tuple[Service, ...]:
    """Return what can be ticked: the services of the wanted lists, then the others that may be wanted."""
    found: dict[tuple[int, ...], str] = {}
    for wanted in scenario.wanted:
        for name, group in zip(wanted.services, wanted.transmitters, strict=True):
            found.setdefault(tuple(group), name)
    used = {index for group in found for index in group}
    others: dict[str, list[int]] = {}
    for index, station in enumerate(scenario.stations):
        if station.use == "wanted" and index not in used:
            others.setdefault(station.service, []).append(index)
    return tuple(
        Service(name, tuple(group))
        for group, name in [*found.items(), *((tuple(g), n) for n, g in others.items())]
    )


@dataclass(frozen=True, eq=False)
class OwnList:
    """The services of one page.

    shown : indices of the stations that the page knows, in file order; number : of each service shown, its
    place among those of tiers; left_out : those that are sure enough nowhere, by name
    """

    tiers: ServiceTiers
    scenario: Scenario
    shown: tuple[int, ...]
    number: tuple[int, ...]
    left_out: tuple[str, ...]

    def facts(self) -> dict[str, Any]:
        """Return the JSON record: the services, their stations by place among those shown; the lists."""
        services = [self.tiers.services[number] for number in self.number]
        order = {service.stations: number for number, service in enumerate(services)}
        place = {station: position for position, station in enumerate(self.shown)}
        return {
            "services": [
                {"name": one.name, "stations": [place[i] for i in one.stations]} for one in services
            ],
            "lists": {
                wanted.name: [order[tuple(group)] for group in wanted.transmitters]
                for wanted in self.scenario.wanted
            },
            "left_out": list(self.left_out),
        }

    def layers(self, grid: PageGrid, step: int) -> Iterator[tuple[str, NDArray[np.uint8]]]:
        """Yield alone/0, alone/1, ...: the class of each service, one value for step x step pixels."""
        for order, number in enumerate(self.number):
            yield f"alone/{order}", grid.spread_to_blocks(self.tiers.tier[number], UNKNOWN, step)


def own_list(tiers: ServiceTiers, scenario: Scenario) -> OwnList:
    """Return the services of all wanted lists, and others that are sure enough somewhere."""
    listed = {tuple(group) for wanted in scenario.wanted for group in wanted.transmitters}
    pairs: Sequence[tuple[int, Service, bool]] = [
        (number, service, service.stations in listed or reaches)
        for number, (service, reaches) in enumerate(zip(tiers.services, tiers.reaching(), strict=True))
    ]
    return OwnList(
        tiers,
        scenario,
        tuple(sorted({index for _, service, kept in pairs if kept for index in service.stations})),
        tuple(number for number, _, kept in pairs if kept),
        tuple(service.name for _, service, kept in pairs if not kept),
    )
