"""What the outputs still ask of the run's own reception, from the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import pandas as pd

from covermap.grid.frame import Grid
from covermap.inputs.preparation import Preparation
from covermap.jobs.antenna_stock import stock_of
from covermap.jobs.page_antennas import antennas_of
from covermap.jobs.service_tiers import tiers_of
from covermap.reports.web_map.own_antennas import PageAntennas
from covermap.reports.web_map.own_list import ServiceTiers

Answer = TypeVar("Answer")


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
    beside = ThreadPoolExecutor(1, thread_name_prefix="from_store")

    def begun(ask: Callable[..., Answer] | None, *arguments: Grid) -> Callable[[], Answer | None]:
        return (lambda: None) if ask is None else beside.submit(ask, *arguments).result

    try:
        yield Answers(begun(kept.alone, grid), begun(kept.antennas, grid), begun(kept.stock))
    finally:
        beside.shutdown(wait=True, cancel_futures=True)


def from_store(prepared: Preparation, store: Path | None, workers: int | None = None) -> FromStore:
    """Return what the outputs of a run ask; store None: that beside the scenario."""
    asked = prepared, store, workers
    return FromStore(tiers_of(*asked), antennas_of(*asked), stock_of(*asked))
