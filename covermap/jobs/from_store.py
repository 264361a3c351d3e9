"""What the outputs still ask of the run's own reception, from the store."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from covermap.grid.frame import Grid
from covermap.inputs.preparation import Preparation
from covermap.jobs.antenna_stock import stock_of
from covermap.jobs.page_antennas import antennas_of
from covermap.jobs.service_tiers import tiers_of
from covermap.reports.web_map.own_antennas import PageAntennas
from covermap.reports.web_map.own_list import ServiceTiers


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


def from_store(prepared: Preparation, store: Path | None, workers: int | None = None) -> FromStore:
    """Return what the outputs of a run ask; store None: that beside the scenario."""
    asked = prepared, store, workers
    return FromStore(tiers_of(*asked), antennas_of(*asked), stock_of(*asked))
