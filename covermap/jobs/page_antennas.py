"""The antennas of a scenario's catalogue for the page of the map: by the run's own reception."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.catalogue import Installed, installed
from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Grid
from covermap.inputs.preparation import Preparation
from covermap.jobs.installation_reception import brought_question, holding_question
from covermap.jobs.over_cells import Inquiry, page_cells
from covermap.reports.web_map.own_antennas import GROUP, PageAntenna, PageAntennas
from covermap.scenario.wanted import MOST_SERVICES, every_service

MOST_ANTENNAS = 21  # on a page; the first of the catalogue


def page_antennas(prepared: Preparation, grid: Grid) -> Inquiry[PageAntennas]:
    """Ask where each antenna of the catalogue holds each list, and what it brings, on a page's grid.

    grid : as page_cells()
    Each antenna stands at the mount that suits it best, as covermap.catalogue.installed has it.
    """
    put_up = installations_on_page(prepared)
    services, wanted = every_service(prepared.scenario.stations), prepared.scenario.wanted
    several = len(services.services) <= MOST_SERVICES
    squares = page_cells(prepared, grid, max(len(put_up), len(services.services)))
    ladders = [one.tiers for one in put_up]
    groups = [put_up[start : start + GROUP] for start in range(0, len(put_up), GROUP)] if several else []
    nothing = np.full((0, len(services.services), grid.rows, grid.cols), UNKNOWN_UINT8, np.uint8)

    def tell(values: Sequence[NDArray[np.uint8]]) -> PageAntennas:
        spread = [squares.spread(one) for one in values]
        holds, bits = spread[: len(wanted)], spread[len(wanted) :]
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
            holds={one.name: here for one, here in zip(wanted, holds, strict=True)},
            services=services.services if several else (),
            bits=np.stack(bits) if bits else nothing,
        )

    return Inquiry(
        (
            *(holding_question(prepared, ladders, one, squares.cells) for one in wanted),
            *(brought_question(prepared, [one.plain for one in group], squares.cells) for group in groups),
        ),
        tell,
    )


def installations_on_page(prepared: Preparation) -> tuple[Installed, ...]:
    """Return every antenna of the catalogue at the mount that suits it, at most MOST_ANTENNAS."""
    catalogue = prepared.catalogue
    return tuple(
        installed(key, catalogue, prepared.tiers) for key in list(catalogue.antennas)[:MOST_ANTENNAS]
    )
