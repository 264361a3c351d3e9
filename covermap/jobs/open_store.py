"""The store of a run, large enough for what the run reads again before it is done with it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from covermap.grid.blocks import BlockRequest
from covermap.grid.frame import Tile
from covermap.grid.reach import reaching
from covermap.grid.store import SIZE_LIMIT_GB, Store, bytes_a_cell
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import store_folder
from covermap.jobs.path_stage import groups
from covermap.result.parts import parts_of

ROOM = 1.15  # the oldest blocks go at the limit, and 10 % more than must


def open_store(prepared: Preparation, store: str | Path | None = None) -> Store:
    """Return the store of a run: 20 GB, or what the paths of one part of the map take.

    A part's paths are all computed before its first square is worked out: a smaller store would let go of
    blocks that are still to be read.
    """
    return Store(store_folder(prepared.scenario, store), store_limit_gb(prepared))


def store_limit_gb(prepared: Preparation) -> float:
    """Return how large a run's store may grow. [GB]"""
    requests = prepared.requests_of_all_models
    largest = max(_blocks_gb(requests, part) for part in parts_of(prepared.grid))
    return max(SIZE_LIMIT_GB, ROOM * largest)


def _blocks_gb(requests: Sequence[BlockRequest], part: Tile) -> float:
    """Return what the blocks of a part take. [GB]"""
    of_cell = np.array([bytes_a_cell(len(one.frequencies), len(one.heights_m)) for one in requests])
    return (
        sum(
            float(of_cell[reaching(requests, group)].sum()) * group.rows * group.cols
            for group in groups(part)
        )
        / 1e9
    )
