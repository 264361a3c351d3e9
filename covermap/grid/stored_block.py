"""One loss block: from the store or, where any part of it is missing or damaged, computed and kept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.grid.blocks import BlockRequest, LossBlock, as_stored, compute_blocks
from covermap.grid.frame import Tile
from covermap.grid.loss_block import of_frequency, stacked
from covermap.grid.path_terrain import PathTerrain
from covermap.grid.store import Store


def stored_block(
    store: Store,
    request: BlockRequest,
    tile: Tile,
    terrain: PathTerrain,
    cells: NDArray[np.int64] | None = None,
) -> LossBlock:
    """Return the path losses from a mast to one tile, as the store gives them back (0.01 dB).

    cells : some of the tile's, as LossBlock.some; None is all of them, in rows and columns
    """
    parts = []
    for frequency in request.frequencies:
        part = store.load(request.of(frequency).digest(tile), cells)
        # All are computed anew for one that is missing: the march's geometry is most of the work
        # (docs/decisions/one_file_a_frequency.md).
        if part is None:
            block = compute_blocks(request, [tile], terrain)[0]
            keep_block(store, request, tile, block)
            # Rounded as a read block is, or a second run from the store would differ from the first.
            whole = as_stored(block)
            return whole if cells is None else whole.some(cells)
        parts.append(part)
    return stacked(parts)


def keep_block(store: Store, request: BlockRequest, tile: Tile, block: LossBlock) -> None:
    """Put a block into the store, a file a frequency, so that a station added computes only itself."""
    for index, frequency in enumerate(request.frequencies):
        store.save(request.of(frequency).digest(tile), of_frequency(block, index))
