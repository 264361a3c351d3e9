"""scenario: what the user describes, checked and frozen. It knows user files and tables, no physics."""

from __future__ import annotations

from covermap.scenario.read import read_scenario
from covermap.scenario.records import Pattern, Scenario, Station, WantedList
from covermap.scenario.settings import Settings
from covermap.scenario.station_checks import check_positions, compare_ground

__all__ = [
    "Pattern",
    "Scenario",
    "Settings",
    "Station",
    "WantedList",
    "check_positions",
    "compare_ground",
    "read_scenario",
]
