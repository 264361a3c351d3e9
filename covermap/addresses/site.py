"""What an address is reckoned from: a scenario, its ground and its receiving installations, read once."""

from __future__ import annotations

from dataclasses import dataclass

from covermap.inputs.calibration import Calibration
from covermap.propagation.field_curves import FieldCurves
from covermap.reception import ReceptionOptions, StationFacts
from covermap.reception.tiers import TierTable
from covermap.scenario.records import Scenario, WantedList
from covermap.terrain import Terrain


@dataclass(frozen=True, eq=False)
class Site:
    """The inputs of every address of one scenario.

    facts : of the stations, in the scenario's order; calibration : None without; curves : where
    they give the second opinion
    """

    scenario: Scenario
    terrain: Terrain
    tiers: TierTable
    facts: StationFacts
    options: ReceptionOptions
    calibration: Calibration | None
    wanted: WantedList
    curves: FieldCurves | None = None
