"""What the outputs still ask of the run's own reception, from the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from covermap.grid.frame import Grid
from covermap.inputs.preparation import Preparation
from covermap.jobs.antenna_stock import stock_of
from covermap.jobs.page_antennas import antennas_of
from covermap.jobs.service_tiers import tiers_of
from covermap.jobs.side_by_side import side_by_side
from covermap.reports.web_map.own_antennas import PageAntennas
from covermap.reports.web_map.own_list import ServiceTiers
from covermap.result.parts import parts_of


@dataclass(frozen=True)
class FromStore:
    """Questions still to be asked; None where nobody asks.

    alone : the class each service needs by itself, in the squares of a grid
    antennas : where each antenna of a catalogue holds a list there
    stock : what of the catalogue to stock
    """

    alone: Callable[[Grid], ServiceTiers] | None = None
    antennas: Callable[[Grid], PageAntennas] | None = None
    stock: Callable[[], pd.DataFrame] | None = None


NOTHING = FromStore()


@dataclass(frozen=True)
class Answers:
    """What was asked, as functions that wait for the answer; each gives None where nobody asked."""

    alone: Callable[[], ServiceTiers | None]
    antennas: Callable[[], PageAntennas | None]
    stock: Callable[[], pd.DataFrame | None]


@contextmanager
def asked_beside(kept: FromStore, grid: Grid) -> Iterator[Answers]:
    """Ask everything beside what is done inside, which mostly is Python's: the kernels leave it the lock.

    grid : the page's
    """
    with side_by_side(1) as begin:
        yield Answers(
            _nothing if kept.alone is None else begin(kept.alone, grid),
            _nothing if kept.antennas is None else begin(kept.antennas, grid),
            _nothing if kept.stock is None else begin(kept.stock),
        )


def _nothing() -> None:
    """Answer what nobody asked."""


def from_store(prepared: Preparation, store: Path | None, workers: int | None = None) -> FromStore:
    """Return what the outputs of a run ask; store None: that beside the scenario.

    Nothing of a map in parts: its page offers no list and no antenna of one's own.
    """
    if len(parts_of(prepared.grid)) > 1:  # the store need not hold more than the paths of one part
        return NOTHING
    asked = prepared, store, workers
    return FromStore(tiers_of(*asked), antennas_of(*asked), stock_of(*asked))
