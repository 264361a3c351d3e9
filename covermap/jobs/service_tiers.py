"""The class each service needs by itself, for the page of the map: by the run's own reception."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covermap.grid.frame import Grid
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import store_folder
from covermap.jobs.over_cells import over_cells, page_cells
from covermap.reception import CellSignals
from covermap.reports.web_map.own_list import ServiceTiers, services_of
from covermap.scenario.records import WantedList


def tiers_of(
    prepared: Preparation, store: Path | None, workers: int | None = None
) -> Callable[[Grid], ServiceTiers]:
    """Return service_tiers() of a run, still to be given a grid; store None: that beside the scenario."""
    return partial(service_tiers, prepared, Store(store_folder(prepared.scenario, store)), workers=workers)


def service_tiers(
    prepared: Preparation, store: Store, grid: Grid, workers: int | None = None
) -> ServiceTiers:
    """Return the class each service needs by itself in every square of a page's grid.

    grid : as covermap.jobs.over_cells.page_cells(). workers : threads; None is one a processor
    """
    services = services_of(prepared.scenario)
    receivers = [
        prepared.receiver(WantedList(service.name, (service.name,), (service.stations,), None))
        for service in services
    ]

    def work(signals: CellSignals) -> NDArray[np.uint8]:
        return np.stack([receiver.tiers_of(signals) for receiver in receivers])

    squares = page_cells(prepared, grid, len(services))
    tier = over_cells(prepared, store, squares.cells, len(services), work, workers)
    return ServiceTiers(services, squares.spread(tier))
