"""Which stations the page lets its reader tick, and what it holds of them for the quick estimate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.reports.web_map.estimate_inputs import (
    StationLevels,
    block_levels,
    difference,
    estimate_facts,
    estimate_figures,
    estimate_rules,
    reaching,
)
from covermap.reports.web_map.estimate_tables import Figures, Levels, Rules, Ticked, ticked
from covermap.reports.web_map.layers import block_middles, middles
from covermap.reports.web_map.page_grid import PageGrid
from covermap.scenario.records import Scenario


@dataclass(frozen=True, eq=False)
class PageEstimate:
    """The quick estimate of one page.

    shown : indices of the stations that the page knows, in file order
    left_out : names of stations that are sure enough nowhere, even with the last tier's antenna
    """

    levels: StationLevels
    scenario: Scenario
    shown: tuple[int, ...]
    left_out: tuple[str, ...]

    def facts(self, grid: PageGrid, masts: list[dict[str, Any]]) -> dict[str, Any]:
        """Return the JSON record of the estimate; masts as estimate_rules."""
        figures, rules = self.numbers(grid, masts)
        services = self.services()
        order = {tuple(indices): number for number, (_, indices) in enumerate(services)}
        lists = [
            [order[tuple(self.positions(group))] for group in wanted.transmitters]
            for wanted in self.scenario.wanted
        ]
        polarization = np.asarray(self.levels.facts.polarization)[list(self.shown)]
        return {
            **estimate_facts(figures, rules, self.levels),
            "services": [{"name": name, "stations": indices} for name, indices in services],
            "lists": {
                wanted.name: numbers for wanted, numbers in zip(self.scenario.wanted, lists, strict=True)
            },
            "polarization": polarization.tolist(),
            "left_out": list(self.left_out),
        }

    def numbers(self, grid: PageGrid, masts: list[dict[str, Any]]) -> tuple[Figures, Rules]:
        """Return what the page computes with."""
        confidence = self.levels.options.confidence_percent
        return estimate_figures(self.levels, self.shown), estimate_rules(grid, masts, confidence)

    def positions(self, stations: tuple[int, ...] | list[int]) -> list[int]:
        """Return where stations stand among those shown."""
        return [self.shown.index(station) for station in stations]

    def services(self) -> list[tuple[str, list[int]]]:
        """Return what can be ticked: name and stations, those of the run's lists first."""
        found: dict[tuple[int, ...], str] = {}
        for wanted in self.scenario.wanted:
            for name, group in zip(wanted.services, wanted.transmitters, strict=True):
                found.setdefault(tuple(self.positions(group)), name)
        used = {index for group in found for index in group}
        others: dict[str, list[int]] = {}
        for index, station in enumerate(self.shown):
            if index not in used:
                others.setdefault(self.scenario.stations[station].service, []).append(index)
        return [(name, list(group)) for group, name in found.items()] + list(others.items())

    def ticked(self, services: list[int]) -> Ticked:
        """Return the transmitters of services by their number, for covermap's own quick_estimate()."""
        stations = self.levels.facts
        return ticked(
            [self.services()[number][1] for number in services],
            np.asarray(stations.mast)[list(self.shown)].tolist(),
            np.asarray(stations.polarization)[list(self.shown)].tolist(),
        )

    def page_levels(self, grid: PageGrid, step: int) -> Levels:
        """Return the levels of the stations shown as the page holds them, blocks of step pixels a side."""
        level = np.stack([block_levels(self.levels, grid, one, step) for one in self.shown], axis=1)
        kind = block_middles(grid.spread(self.levels.kind, 0), step)
        row, col = (middles(size, step) for size in grid.shape)
        return Levels(level, kind, row, col)

    def surroundings(self, grid: PageGrid, step: int) -> Iterator[tuple[str, NDArray[np.uint8]]]:
        """Yield the layer of the kinds of surroundings where there are several."""
        if self.levels.clutter_m.size > 1:
            yield "surroundings", block_middles(grid.spread(self.levels.kind, 0), step)

    def level_layers(
        self, grid: PageGrid, step: int, station_id: str, field: NDArray[np.uint8] | None
    ) -> Iterator[tuple[str, NDArray[np.uint8]]]:
        """Yield level/ID_0 (10 m), level/ID_1, ... of a station.

        Each is held as its difference from the one before, the first from the station's field layer; where
        the page has none, as it is.
        """
        station = next(i for i in self.shown if self.scenario.stations[i].station_id == station_id)
        before = field
        for number, level in enumerate(block_levels(self.levels, grid, station, step)):
            yield f"level/{station_id}_{number}", level if before is None else difference(level, before)
            before = level


def page_estimate(levels: StationLevels, scenario: Scenario) -> PageEstimate:
    """Return the estimate of all stations of wanted lists, and of others that are sure enough somewhere."""
    listed = {index for wanted in scenario.wanted for group in wanted.transmitters for index in group}
    candidates = [index for index, station in enumerate(scenario.stations) if station.use == "wanted"]
    figures = estimate_figures(levels, candidates)
    reached = set(reaching(levels, figures, candidates))
    shown = tuple(sorted(listed | reached))
    left_out = tuple(
        f"{scenario.stations[index].service} from {scenario.stations[index].mast}"
        for index in candidates
        if index not in shown
    )
    return PageEstimate(levels, scenario, shown, left_out)
