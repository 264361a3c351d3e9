"""The antennas of a scenario's catalogue for the page of the map: by the run's own reception."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from covermap.catalogue import Installed, installed
from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Grid
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import store_folder
from covermap.jobs.installation_reception import brought, holding
from covermap.jobs.over_cells import page_cells
from covermap.reports.web_map.own_antennas import GROUP, PageAntenna, PageAntennas
from covermap.scenario.wanted import MOST_SERVICES, every_service

MOST_ANTENNAS = 21  # on a page; the first of the catalogue


def antennas_of(
    prepared: Preparation, store: Path | None, workers: int | None = None
) -> Callable[[Grid], PageAntennas] | None:
    """Return page_antennas() of a run, still to be given a grid; None where no catalogue is named."""
    if prepared.scenario.settings.reception.antennas is None:
        return None
    return partial(page_antennas, prepared, Store(store_folder(prepared.scenario, store)), workers=workers)


def page_antennas(
    prepared: Preparation, store: Store, grid: Grid, workers: int | None = None
) -> PageAntennas:
    """Return where each antenna of the catalogue holds each list, and what it brings, on a page's grid.

    grid : as page_cells()
    Each antenna stands at the mount that suits it best, as covermap.catalogue.installed has it.
    """
    put_up = installations_on_page(prepared)
    services = every_service(prepared.scenario.stations)
    several = len(services.services) <= MOST_SERVICES
    squares = page_cells(prepared, grid, max(len(put_up), len(services.services)))
    cells = squares.cells
    holds = {
        wanted.name: squares.spread(
            holding(prepared, store, [one.tiers for one in put_up], wanted, cells, workers)
        )
        for wanted in prepared.scenario.wanted
    }
    groups = [put_up[start : start + GROUP] for start in range(0, len(put_up), GROUP)] if several else []
    bits = [
        squares.spread(brought(prepared, store, [one.plain for one in group], cells, workers))
        for group in groups
    ]
    nothing = np.full((0, len(services.services), grid.rows, grid.cols), UNKNOWN_UINT8, np.uint8)
    return PageAntennas(
        antennas=tuple(
            PageAntenna(
                one.name,
                one.mount,
                one.price(),
                tuple((device.name, device.price) for device in one.amplifiers),
            )
            for one in put_up
        ),
        holds=holds,
        services=services.services if several else (),
        bits=np.stack(bits) if bits else nothing,
    )


def installations_on_page(prepared: Preparation) -> tuple[Installed, ...]:
    """Return every antenna of the catalogue at the mount that suits it, at most MOST_ANTENNAS."""
    catalogue = prepared.catalogue
    return tuple(
        installed(key, catalogue, prepared.tiers) for key in list(catalogue.antennas)[:MOST_ANTENNAS]
    )
