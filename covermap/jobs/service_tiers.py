"""The class each service needs by itself, for the page of the map: by the run's own reception."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.grid.frame import Grid
from covermap.inputs.preparation import Preparation
from covermap.jobs.over_cells import Inquiry, Question, page_cells
from covermap.reception import CellSignals
from covermap.reports.web_map.own_list import ServiceTiers, services_of
from covermap.scenario.records import WantedList


def service_tiers(prepared: Preparation, grid: Grid) -> Inquiry[ServiceTiers]:
    """Ask for the class each service needs by itself in every square of a page's grid.

    grid : as covermap.jobs.over_cells.page_cells()
    """
    services = services_of(prepared.scenario)
    stations = tuple(sorted({index for service in services for index in service.stations}))
    every = prepared.receiver(WantedList("any of them", ("any of them",), (stations,), None))
    receivers = [
        every.of_part(WantedList(service.name, (service.name,), (service.stations,), None))
        for service in services
    ]

    def work(signals: CellSignals) -> NDArray[np.uint8]:
        return np.stack([receiver.tiers_of(signals) for receiver in receivers])

    squares = page_cells(prepared, grid, len(services))
    return Inquiry(
        (Question(squares.cells, len(services), work),),
        lambda values: ServiceTiers(services, squares.spread(values[0])),
    )
