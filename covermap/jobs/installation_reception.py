"""What installations bring in the cells of a run: read from the store, by the run's own reception."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.jobs.over_cells import Cells, Question, over_cells
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
    """Return the values of holding_question(), shape (I, rows, cols)."""
    return over_cells(prepared, store, [holding_question(prepared, ladders, wanted, cells)], workers)[0]


def holding_question(
    prepared: Preparation, ladders: Sequence[Sequence[Tier]], wanted: WantedList, cells: Cells
) -> Question:
    """Return the question which variant of each of I installations holds a list.

    ladders : the variants of each installation, of which the first that holds is told
    A value is 0 where none holds, else the variant's number from 1; 255 unknown.
    """
    around = surroundings_of(prepared)
    receivers = [HoldingReceiver(variants, wanted, around) for variants in ladders]

    def work(signals: CellSignals) -> NDArray[np.uint8]:
        return np.stack([receiver.receive(signals) for receiver in receivers])

    return Question(cells, len(ladders), work)


def first_holding_question(
    prepared: Preparation, ladders: Sequence[Sequence[Tier]], wanted: WantedList, cells: Cells
) -> Question:
    """Return the question of holding_question(), a ladder asked only where none before it holds; else 0."""
    around = surroundings_of(prepared)
    receivers = [HoldingReceiver(variants, wanted, around) for variants in ladders]

    def work(signals: CellSignals) -> NDArray[np.uint8]:
        values = np.zeros((len(receivers), signals.open_land.size), np.uint8)
        asked = np.arange(signals.open_land.size)
        for receiver, of_ladder in zip(receivers, values, strict=True):
            of_ladder[asked] = receiver.receive(signals.some(asked))
            asked = asked[of_ladder[asked] == 0]
        return values

    return Question(cells, len(ladders), work)


def brought(
    prepared: Preparation,
    store: Store,
    installations: Sequence[Tier],
    cells: Cells,
    workers: int | None = None,
) -> NDArray[np.uint8]:
    """Return the values of brought_question(), shape (V, rows, cols)."""
    return over_cells(prepared, store, [brought_question(prepared, installations, cells)], workers)[0]


def brought_question(prepared: Preparation, installations: Sequence[Tier], cells: Cells) -> Question:
    """Return the question with which installations each of V services arrives, alone.

    installations : up to 7. V : of every_service()
    A value is a sum of bits, 1 for the first installation, 2 for the second and so on; 255 unknown.
    """
    counter = InstallationCounter(
        installations, every_service(prepared.scenario.stations), surroundings_of(prepared)
    )
    return Question(cells, len(counter.services), counter.count)
