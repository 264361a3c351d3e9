"""What an address is computed from: a scenario, its ground and its receiving installations, read once."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field

from covermap.inputs.calibration import Calibration
from covermap.propagation.field_curves import FieldCurves
from covermap.propagation.foliage import Foliage
from covermap.reception import ListReceiver, ReceptionOptions, StationFacts
from covermap.reception.services import ServiceCounter
from covermap.reception.tiers import TierTable
from covermap.scenario.records import Scenario, WantedList
from covermap.terrain import Terrain


@dataclass(frozen=True, eq=False)
class Site:
    """The inputs of every address of one scenario.

    facts : of the stations, in the scenario's order; calibration : None without; curves : where
    they give the second opinion; foliage : of woods; None: leaves take a rough loss
    receivers, counters : what works out reception and counts services, kept from one point to the next
    """

    scenario: Scenario
    terrain: Terrain
    tiers: TierTable
    facts: StationFacts
    options: ReceptionOptions
    calibration: Calibration | None
    wanted: WantedList
    curves: FieldCurves | None = None
    foliage: Foliage | None = None
    receivers: dict[Hashable, ListReceiver] = field(default_factory=dict)
    counters: dict[Hashable, ServiceCounter] = field(default_factory=dict)
