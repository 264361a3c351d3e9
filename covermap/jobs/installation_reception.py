"""What installations bring in the cells of a run: read from the store, by the run's own reception."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.jobs.over_cells import Cells, over_cells
from covermap.reception import CellSignals
from covermap.reception.installed import HoldingReceiver, InstallationCounter, Receiving
from covermap.reception.tiers import Tier
from covermap.scenario.records import WantedList
from covermap.scenario.wanted import every_service


def surroundings_of(prepared: Preparation) -> Receiving:
    """Return what reception of a run's cells takes beside tiers and a list."""
    heights_m = np.asarray(prepared.heights_m, dtype=np.float64)
    return Receiving(prepared.facts, prepared.reception_options, heights_m, prepared.surroundings)


def holding(
    prepared: Preparation,
    store: Store,
    ladders: Sequence[Sequence[Tier]],
    wanted: WantedList,
    cells: Cells,
    workers: int | None = None,
) -> NDArray[np.uint8]:
    """Return which variant of each installation holds a list, shape (I, rows, cols).

    ladders : the variants of each installation, of which the first that holds is told
    A value is 0 where none holds, else the variant's number from 1; 255 unknown.
    """
    around = surroundings_of(prepared)
    receivers = [HoldingReceiver(variants, wanted, around) for variants in ladders]

    def work(signals: CellSignals) -> NDArray[np.uint8]:
        return np.stack([receiver.receive(signals) for receiver in receivers])

    return over_cells(prepared, store, cells, len(ladders), work, workers)


def brought(
    prepared: Preparation,
    store: Store,
    installations: Sequence[Tier],
    cells: Cells,
    workers: int | None = None,
) -> NDArray[np.uint8]:
    """Return with which installations each service of the station file arrives, alone, (V, rows, cols).

    installations : up to 7. V : of every_service()
    A value is a sum of bits, 1 for the first installation, 2 for the second and so on; 255 unknown.
    """
    counter = InstallationCounter(
        installations, every_service(prepared.scenario.stations), surroundings_of(prepared)
    )
    return over_cells(prepared, store, cells, len(counter.services), counter.count, workers)
