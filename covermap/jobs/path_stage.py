"""The first stage of a run: every missing loss block computed into the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from covermap.grid.blocks import BlockRequest, LossBlock, as_stored, compute_block, compute_blocks
from covermap.grid.executor import Executor
from covermap.grid.frame import Grid, Tile
from covermap.grid.reach import reaching, unreached_block
from covermap.grid.smooth_earth import completed_by_smooth_earth
from covermap.grid.store import Store
from covermap.grid.stored_block import keep_block, stored_block
from covermap.inputs.preparation import Preparation
from covermap.jobs.compile_ahead import compile_sets
from covermap.jobs.run_session import RunSession
from covermap.result.run_counts import RunCounts

TILE_CELLS = 128
TILES_A_MARCH = 4  # tiles on a side that share one march of each radial
TILES_RECEIVED = 2  # tiles on a side that are received with the same stations

Task = tuple[BlockRequest, list[Tile]]


def compute_paths(
    session: RunSession,
    executor: Executor,
    report: Callable[[str, float, str], bool],
    counts: RunCounts,
    part: Tile | None = None,
) -> None:
    """Put every missing block into the store.

    part : of the map, of parts_of(); None is all of it
    counts : its computed and read count blocks, one a mast, frequency and tile
    Raises KeyboardInterrupt when report returns False.
    """
    prepared = session.prepared
    tasks = list(_tasks(session, counts, part or prepared.grid.whole))
    requests = prepared.requests_of_all_models
    if any(request.model == "p1812" for request, _ in tasks):
        compile_sets(["paths"])
    named = dict(zip(prepared.station_request, (s.mast for s in prepared.scenario.stations), strict=True))
    masts = {request.of(): named[index % len(prepared.requests)] for index, request in enumerate(requests)}
    results = executor.run(partial(compute_task, session), tasks)
    for done, (computed, (request, _)) in enumerate(zip(results, tasks, strict=True), start=1):
        counts.computed += computed
        if report("paths", done / len(tasks), masts[request.of()]) is False:
            raise KeyboardInterrupt


def compute_task(session: RunSession, task: Task) -> int:
    """Compute the blocks of one task and keep them; return how many."""
    request, tiles = task
    for tile, block in zip(tiles, compute_blocks(request, tiles, session.prepared.terrain), strict=True):
        keep_block(session.store, request, tile, block)
    return len(tiles) * len(request.frequencies)


def tile_blocks(prepared: Preparation, store: Store, tile: Tile) -> list[LossBlock]:
    """Return the block of every request for a tile, interferers completed by smooth earth.

    From the store; blocks lost meanwhile are computed again. Masts beyond reach are not asked.
    """
    return _completed(prepared, tile, _stored(prepared, store, tile))


def blocks_of_cells(
    prepared: Preparation, store: Store, tile: Tile, cells: NDArray[np.int64]
) -> list[LossBlock]:
    """Return of the same blocks some cells of the tile, counted row by row, as LossBlock.some."""
    if _needs_smooth_earth(prepared):
        return [block.some(cells) for block in tile_blocks(prepared, store, tile)]
    return _stored(prepared, store, tile, cells)


def _stored(
    prepared: Preparation, store: Store, tile: Tile, cells: NDArray[np.int64] | None = None
) -> list[LossBlock]:
    """Return the block of every request for a tile, or some cells of it."""

    def unreached(request: BlockRequest) -> LossBlock:
        whole = unreached_block(request, tile)
        return whole if cells is None else whole.some(cells)

    return [
        stored_block(store, request, tile, prepared.terrain, cells) if reached else unreached(request)
        for request, reached in zip(prepared.requests, reaching(prepared.requests, tile), strict=True)
    ]


def computed_blocks(prepared: Preparation, tile: Tile) -> list[LossBlock]:
    """Return the same as tile_blocks without a store: for a few cells, of which no map is made."""
    blocks = [as_stored(compute_block(request, tile, prepared.terrain)) for request in prepared.requests]
    return _completed(prepared, tile, blocks)


def _needs_smooth_earth(prepared: Preparation) -> bool:
    return any(any(of_request) for of_request in prepared.by_smooth_earth)


def _completed(prepared: Preparation, tile: Tile, blocks: list[LossBlock]) -> list[LossBlock]:
    if not _needs_smooth_earth(prepared):
        return blocks
    longitude_deg, latitude_deg = prepared.grid.centres_lonlat(tile)
    known = ~np.isnan(prepared.terrain.ground_m(longitude_deg, latitude_deg))
    return [
        completed_by_smooth_earth(block, request, tile, known, frequencies)
        for block, request, frequencies in zip(
            blocks, prepared.requests, prepared.by_smooth_earth, strict=True
        )
    ]


def _tasks(session: RunSession, counts: RunCounts, part: Tile) -> Iterator[Task]:
    """Yield what the store lacks; masts take turns over a group of tiles, whose places they share."""
    requests = session.prepared.requests_of_all_models
    for group in marches(part):
        reached = np.stack([reaching(requests, tile) for tile in group])
        for number, request in enumerate(requests):
            tiles = [tile for tile, here in zip(group, reached[:, number], strict=True) if here]
            yield from _missing(request, tiles, session.store, counts)


def marches(part: Tile) -> Iterator[list[Tile]]:
    """Yield groups of neighbouring tiles that share one march of each radial; see groups()."""
    for group in groups(part):
        yield [
            Tile(
                row,
                col,
                min(TILE_CELLS, group.row + group.rows - row),
                min(TILE_CELLS, group.col + group.cols - col),
            )
            for row in range(group.row, group.row + group.rows, TILE_CELLS)
            for col in range(group.col, group.col + group.cols, TILE_CELLS)
        ]


def groups(part: Tile) -> Iterator[Tile]:
    """Yield squares that cut a part of a map, whose first row and column are multiples of their side."""
    side = TILE_CELLS * TILES_A_MARCH
    south, east = part.row + part.rows, part.col + part.cols
    for row in range(part.row, south, side):
        for col in range(part.col, east, side):
            yield Tile(row, col, min(side, south - row), min(side, east - col))


def received_with(grid: Grid, tile: Tile) -> Tile:
    """Return the square of tiles that a tile is received with: by the stations that may reach any of them.

    A larger one holds more stations that most of its cells have beyond reach, and each costs as one in reach
    does; for a smaller one receivers would be made more often, which takes as long as some 5,000 cells.
    """
    side = TILE_CELLS * TILES_RECEIVED
    row, col = tile.row // side * side, tile.col // side * side
    return Tile(row, col, min(side, grid.rows - row), min(side, grid.cols - col))


def _missing(request: BlockRequest, tiles: list[Tile], blocks: Store, counts: RunCounts) -> list[Task]:
    """Return what the store lacks: tiles that lack the same frequencies share a march."""
    lacking: dict[tuple[tuple[float, bool], ...], list[Tile]] = {}
    for tile in tiles:
        frequencies = tuple(f for f in request.frequencies if not blocks.has(request.of(f).digest(tile)))
        counts.read += len(request.frequencies) - len(frequencies)
        if frequencies:
            lacking.setdefault(frequencies, []).append(tile)
    return [(request.of(*frequencies), tiles) for frequencies, tiles in lacking.items()]
