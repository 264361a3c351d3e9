"""The kernels that maps compile, in sets of much the same size, each by one call with the types of a run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from covermap.grid.cover_kernels import fill_changes
from covermap.propagation.sweep.batch import sweep_radials
from covermap.propagation.sweep.radial_sweep import RadialSweep
from covermap.propagation.sweep.records import CellLosses, RadialItems, RadialProfiles
from covermap.reception import CellSignals, ReceptionOptions, StationFacts, receive
from covermap.reception.cells import receive_cells
from covermap.reception.service_count import count_services
from covermap.reception.services import ServiceCounter
from covermap.scenario.records import WantedList
from covermap.tables import read_external_noise, read_prediction_spread, read_tiers

if TYPE_CHECKING:  # a process that compiles needs no terrain
    from covermap.inputs.preparation import Preparation

Asked = tuple[CellSignals, StationFacts, WantedList, ReceptionOptions]


@dataclass(frozen=True)
class KernelSet:
    """Kernels that are compiled together.

    kernel : the one that calls all others of the set; call : calls it for an invented scene
    """

    kernel: Any
    call: Callable[[], None]


def sets_of(prepared: Preparation) -> tuple[str, ...]:
    """Return the sets that a map uses beside the one of its paths."""
    counts = ("services",) if prepared.counted_services else ()
    by_p1812 = prepared.scenario.settings.prediction.model == "p1812"
    return ("reception", *counts, *(("cover_changes",) if prepared.looks_at_cover and by_p1812 else ()))


def _two_homes() -> Asked:
    """Return what arrives at two homes from two stations."""
    signals = CellSignals(
        heights_m=np.array([10.0, 15.0]),
        field_dbuvm=np.full((2, 2, 2), 60.0, dtype=np.float32),
        bearing_deg=np.array([[40.0, 41.0], [120.0, 121.0]], dtype=np.float32),
        clutter_height_m=np.zeros(2, dtype=np.float32),
        open_land=np.zeros(2, dtype=bool),
    )
    facts = StationFacts(
        frequency_mhz=np.array([189.0, 569.0]),
        bandwidth_mhz=np.array([6.0, 6.0]),
        required_cn_db=np.array([15.2, 15.2]),
        mast=np.array([0, 1]),
        polarization=np.array([0, 0]),
    )
    wanted = WantedList("ahead", ("One", "Two"), ((0,), (1,)), None)
    options = ReceptionOptions(external_noise=read_external_noise(), path_spread_db=read_prediction_spread())
    return signals, facts, wanted, options


def _receive() -> None:
    signals, facts, wanted, options = _two_homes()
    receive(signals, facts, read_tiers(), wanted, options)


def _count_services() -> None:
    signals, facts, wanted, options = _two_homes()
    around = signals.heights_m, signals.surroundings
    ServiceCounter(facts, read_tiers(), wanted, options, *around).count(signals)


def _sweep() -> None:
    """Sweep one radial of flat ground."""
    steps, step_km = 40, 0.05
    shape = (1, steps + 1)
    profiles = RadialProfiles(
        np.full(shape, 10.0), np.zeros(shape, np.float32), np.full(shape, 4, np.uint8), np.full(shape, 44.0)
    )
    last, one = np.array([steps], np.int32), np.array([0])
    items = RadialItems(last, np.array([0, 1]), last, np.array([10.0]), np.zeros(1), one)
    sweep = RadialSweep(steps, 1, (10.0,), (600.0,), (False,), (50.0, 10.0))
    sweep.run_radials(profiles, step_km, 100.0, items, 45.0, 325.0, CellLosses.unknown(1, 1, 1))


def _change_cover() -> None:
    """Change what stands at the end of one path over flat ground."""
    steps = 40
    shape = (1, steps + 1)
    fill_changes(
        np.array([steps]),
        np.full(shape, 10.0),
        np.zeros(shape, np.float32),
        np.full(shape, 4, np.uint8),
        np.array([2.0]),
        np.zeros(1),
        np.full((1, 1), 10.0),
        100.0,
        np.array([10.0]),
        np.array([0.6]),
        np.array([False]),
        45.0,
        325.0,
        np.array([44.0]),
        np.zeros((1, 1, 1, 1)),
    )


SETS = {
    "reception": KernelSet(receive_cells, _receive),
    "paths": KernelSet(sweep_radials, _sweep),
    "services": KernelSet(count_services, _count_services),
    "cover_changes": KernelSet(fill_changes, _change_cover),
}
