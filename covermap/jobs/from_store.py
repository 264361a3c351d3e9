"""What the outputs still ask of the run's own reception, from the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import store_folder
from covermap.jobs.antenna_stock import catalogue_stock
from covermap.jobs.over_cells import Inquiry, answers
from covermap.jobs.page_antennas import page_antennas
from covermap.jobs.service_tiers import service_tiers
from covermap.jobs.side_by_side import side_by_side
from covermap.reports.web_map.page_answers import PageAnswers
from covermap.result.coarsened import coarsened_grid
from covermap.result.parts import parts_of


@dataclass(frozen=True)
class Answers:
    """What was asked: for the page, and what of a catalogue to stock; None where nobody asked."""

    page: PageAnswers = field(default_factory=PageAnswers)
    stock: pd.DataFrame | None = None


@dataclass(frozen=True, eq=False)
class FromStore:
    """Questions still to be asked of a run's paths.

    workers : threads; None is one a processor. asked : by name
    """

    prepared: Preparation
    store: Store
    workers: int | None
    asked: Mapping[str, Inquiry[Any]]

    def answers(self) -> Answers:
        """Ask everything, in one pass over the store."""
        values = answers(self.prepared, self.store, list(self.asked.values()), self.workers)
        told = dict(zip(self.asked, values, strict=True))
        return Answers(PageAnswers(told["alone"], told.get("antennas")), told.get("stock"))


@contextmanager
def asked_beside(kept: FromStore | None) -> Iterator[Callable[[], Answers]]:
    """Ask everything beside what is done inside, which mostly is Python's: the kernels leave it the lock.

    Gives a function that waits for the answers.
    """
    with side_by_side(1) as begin:
        yield Answers if kept is None else begin(kept.answers)


def from_store(
    prepared: Preparation, store: Path | None, workers: int | None = None, *, public: bool = False
) -> FromStore | None:
    """Return what the outputs of a run ask; store None: that beside the scenario. public : no stock.

    Nothing of a map in parts: its page offers no list and no antenna of one's own.
    """
    if len(parts_of(prepared.grid)) > 1:  # the store need not hold more than the paths of one part
        return None
    return FromStore(
        prepared, Store(store_folder(prepared.scenario, store)), workers, _asked(prepared, public=public)
    )


def _asked(prepared: Preparation, *, public: bool) -> dict[str, Inquiry[Any]]:
    grid = coarsened_grid(prepared.grid)
    asked: dict[str, Inquiry[Any]] = {"alone": service_tiers(prepared, grid)}
    if prepared.scenario.settings.reception.antennas is not None:
        asked["antennas"] = page_antennas(prepared, grid)
        if not public and prepared.homes is not None and prepared.counted.prices is not None:
            asked["stock"] = catalogue_stock(prepared)
    return asked
