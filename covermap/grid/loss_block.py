"""A loss block: the path losses from one mast to the cells of one tile, and how they are kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.sweep.taut_string import UNKNOWN_CLASS

# Steps far below what any model knows (6 dB at one place); three bytes a loss and spread where floats take
# eight.
LOSS_STEP_DB = 0.01
LOSS_MIDDLE_DB = 300.0  # int16 then reaches from -27.67 to 627.67 dB
SPREAD_STEP_DB = 0.25
DEPARTURE_STEP_DEG = 0.01
UNKNOWN_INT16 = np.int16(-32768)

SomeCells = slice | NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class LossBlock:
    """Path losses from one mast to the cells of a tile: F frequencies, H mount heights.

    loss_db : float32 (F, H, rows, cols), median of time, between isotropic antennas; NaN is unknown
    spread_db : float32, same shape, at least 0: loss at 50 % less loss at the other time percentage;
        NaN where the loss is
    departure_deg : float32 (rows, cols), elevation at the mast of the ray to the lowest mount: towards
        the cell where the path is clear, else towards the mast's horizon; NaN where unknown
    near : bool (rows, cols), within 250 m of the mast, closer than the model is made for
    path_class : uint8 (rows, cols), what stands in the way to the lowest mount at 600 MHz, over bare ground:
        index into covermap.propagation.ridges.PATH_CLASSES; 0 near the mast, 255 unknown
    smooth_earth : bool (rows, cols), where an interferer's path was taken over smooth earth, or None; not
        stored
    """

    loss_db: NDArray[np.float32]
    spread_db: NDArray[np.float32]
    departure_deg: NDArray[np.float32]
    near: NDArray[np.bool_]
    path_class: NDArray[np.uint8]
    smooth_earth: NDArray[np.bool_] | None = None

    def some(self, cells: SomeCells) -> LossBlock:
        """Return some of the cells, counted row by row: their last two axes are one."""
        smooth = self.smooth_earth
        return LossBlock(
            some_cells(self.loss_db, cells),
            some_cells(self.spread_db, cells),
            some_cells(self.departure_deg, cells),
            some_cells(self.near, cells),
            some_cells(self.path_class, cells),
            None if smooth is None else some_cells(smooth, cells),
        )


def of_frequency(block: LossBlock, index: int) -> LossBlock:
    """Return the part of a block that belongs to one of its frequencies."""
    part = slice(index, index + 1)
    return LossBlock(
        block.loss_db[part], block.spread_db[part], block.departure_deg, block.near, block.path_class
    )


def stacked(blocks: Sequence[LossBlock]) -> LossBlock:
    """Return one block from those of several frequencies of one mast and tile."""
    if len(blocks) == 1:
        return blocks[0]
    return LossBlock(
        np.concatenate([block.loss_db for block in blocks]),
        np.concatenate([block.spread_db for block in blocks]),
        blocks[0].departure_deg,
        blocks[0].near,
        blocks[0].path_class,
    )


@dataclass(frozen=True, eq=False)
class PackedBlock:
    """A loss block in whole numbers, as the store keeps it: of its tile only the rectangle that is known.

    loss : int16, 0.01 dB from 300 dB; spread : uint8, 0.25 dB; departure : int16, 0.01 degrees;
    near : bool; path_class : uint8. -32768 is unknown.
    row, col : of the tile, where the rectangle begins; rows, cols : of the whole tile
    """

    loss: NDArray[np.int16]
    spread: NDArray[np.uint8]
    departure: NDArray[np.int16]
    near: NDArray[np.bool_]
    path_class: NDArray[np.uint8]
    row: int
    col: int
    rows: int
    cols: int

    @property
    def window(self) -> tuple[slice, slice]:
        """Return the rows and columns of the tile that the rectangle takes."""
        rows, cols = self.departure.shape
        return slice(self.row, self.row + rows), slice(self.col, self.col + cols)

    def some(self, cells: NDArray[np.int64]) -> PackedBlock:
        """Return some cells of the tile, counted row by row, as a tile of one row."""
        row, col = np.divmod(cells, self.cols)
        row, col = row - self.row, col - self.col
        rows, cols = self.departure.shape
        here = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
        place = row[here] * cols + col[here]

        def of(values: NDArray, unknown: int) -> NDArray:
            found = np.full((*values.shape[:-2], 1, cells.size), unknown, values.dtype)
            found[..., 0, here] = some_cells(values, place)
            return found

        return PackedBlock(
            of(self.loss, int(UNKNOWN_INT16)),
            of(self.spread, 0),
            of(self.departure, int(UNKNOWN_INT16)),
            of(self.near, 0),
            of(self.path_class, UNKNOWN_CLASS),
            row=0,
            col=0,
            rows=1,
            cols=cells.size,
        )


def some_cells(values: NDArray, cells: SomeCells) -> NDArray:
    """Return some cells of an array (..., rows, cols), counted row by row: (..., N)."""
    flat: NDArray = values.reshape(*values.shape[:-2], -1)[..., cells]
    return flat


def pack(block: LossBlock) -> PackedBlock:
    """Return a block in whole numbers; values beyond their range take its end (63.75 dB of spread)."""
    row, col = window = _known_window(block)
    loss_db, spread_db = block.loss_db[:, :, row, col], block.spread_db[:, :, row, col]
    # The spread has no code for unknown: unpack takes it from the loss beside it.
    spread = np.clip(np.rint(np.nan_to_num(spread_db) / SPREAD_STEP_DB), 0, 255).astype(np.uint8)
    return PackedBlock(
        _to_int16((loss_db - np.float32(LOSS_MIDDLE_DB)) / np.float32(LOSS_STEP_DB)),
        spread,
        _to_int16(block.departure_deg[window] / np.float32(DEPARTURE_STEP_DEG)),
        block.near[window],
        block.path_class[window],
        row.start,
        col.start,
        *block.near.shape,
    )


def _known_window(block: LossBlock) -> tuple[slice, slice]:
    """Return the rows and columns outside which nothing of a block is known."""
    known = ~np.isnan(block.loss_db).all(axis=(0, 1)) | ~np.isnan(block.departure_deg)
    row, col = np.nonzero(known | block.near | (block.path_class != UNKNOWN_CLASS))

    def of(places: NDArray[np.intp]) -> slice:
        return slice(int(places.min()), int(places.max()) + 1) if places.size else slice(0, 0)

    return of(row), of(col)


def unknown_block(frequencies: int, heights: int, rows: int, cols: int) -> LossBlock:
    """Return a block of which nothing is known."""
    shape = frequencies, heights, rows, cols
    return LossBlock(
        np.full(shape, np.nan, np.float32),
        np.full(shape, np.nan, np.float32),
        np.full((rows, cols), np.nan, np.float32),
        np.zeros((rows, cols), bool),
        np.full((rows, cols), UNKNOWN_CLASS, np.uint8),
    )


def unpack(packed: PackedBlock) -> LossBlock:
    """Return the block that whole numbers stand for."""
    unknown = packed.loss == UNKNOWN_INT16
    frequencies, heights = packed.loss.shape[:2]
    block = unknown_block(frequencies, heights, packed.rows, packed.cols)
    row, col = window = packed.window
    loss_db, spread_db = block.loss_db[:, :, row, col], block.spread_db[:, :, row, col]
    loss_db[:] = packed.loss * np.float32(LOSS_STEP_DB) + np.float32(LOSS_MIDDLE_DB)
    spread_db[:] = packed.spread * np.float32(SPREAD_STEP_DB)
    loss_db[unknown], spread_db[unknown] = np.nan, np.nan
    departure_deg = block.departure_deg[window]
    departure_deg[:] = packed.departure * np.float32(DEPARTURE_STEP_DEG)
    departure_deg[packed.departure == UNKNOWN_INT16] = np.nan
    block.near[window], block.path_class[window] = packed.near, packed.path_class
    return block


def as_stored(block: LossBlock) -> LossBlock:
    """Return a block rounded as the store rounds it, so that computed and read blocks are the same."""
    return dataclasses.replace(unpack(pack(block)), smooth_earth=block.smooth_earth)


def _to_int16(values: NDArray[np.float32]) -> NDArray[np.int16]:
    """Return values rounded into -32767 to 32767, NaN as -32768."""
    return np.where(np.isnan(values), UNKNOWN_INT16, np.clip(np.rint(values), -32767, 32767)).astype(np.int16)
