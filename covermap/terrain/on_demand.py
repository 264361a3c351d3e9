"""Elevation that is read block by block where it is asked for: few paths cross many tiles."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

from covermap.terrain.elevation_file import HeightDoubts, read_heights
from covermap.terrain.layer import Floats, RasterLayer
from covermap.terrain.mosaic import Mosaic, clip, paste
from covermap.terrain.raster_file import opened_raster
from covermap.terrain.voids import MOST_CELLS, fill_within

BLOCK_CELLS = 256  # on a side
AROUND_CELLS = MOST_CELLS + 1  # read around a block
OPEN_FILES = 48  # kept open; opening one takes longer than reading a block
GDAL_CACHE_BYTES = 256 * 2**20  # files in strips are decoded a tile's width at a time: neighbours share them


class BlocksOnDemand:
    """The heights of a mosaic, of which a block is read when a place in it is first asked for.

    fills_voids : whether small gaps are filled; not so where another mosaic may know their heights
    """

    def __init__(self, mosaic: Mosaic, *, fills_voids: bool = True) -> None:
        self._fills_voids = fills_voids
        outline = mosaic.outline
        rows, cols = outline.array.shape
        self._mosaic = mosaic
        self._places = [mosaic.place_of(file) for file in mosaic.files]
        self._boxes = np.array(
            [(p.col_off, p.row_off, p.col_off + p.width, p.row_off + p.height) for p in self._places]
        )
        self._read = np.zeros((-(-rows // BLOCK_CELLS), -(-cols // BLOCK_CELLS)), dtype=bool)
        self._doubts = HeightDoubts(outline.name)
        self._open: OrderedDict[int, rasterio.DatasetReader] = OrderedDict()
        self._lock = threading.Lock()
        # untouched pages take no memory: only the blocks that are read do
        heights_m = np.empty((rows, cols), dtype=np.float32)
        self.layer = RasterLayer(outline.name, heights_m, outline.transform, outline.crs_wkt, blocks=self)

    @property
    def blocks_read(self) -> int:
        """Return how many blocks have been read."""
        return int(self._read.sum())

    def digest(self) -> str:
        """Return a name of the files as they stand on disk, without reading them."""
        sha = hashlib.sha256(repr(tuple(self.layer.transform)[:6]).encode())
        for file in self._mosaic.files:
            # Sizes and times stand for the heights: reading all of a country's tiles to name them would undo
            # the saving.
            state = file.path.stat() if file.path.exists() else None
            sha.update(repr((str(file.path), state and (state.st_size, state.st_mtime_ns))).encode())
        return sha.hexdigest()

    def bring(self, col: Floats, row: Floats) -> None:
        """Read the blocks of positions, in cells from the outer corner.

        Two-dimensional positions are knots along lines: the blocks between them are read too.
        """
        if col.ndim == 2 and col.shape[1] > 1:
            col, row = _between(col, row)
        # One reader at a time: GDAL's datasets may not be shared among threads that read.
        with self._lock:
            for block_row, block_col in self._missing(col.ravel(), row.ravel()):
                self._read_block(block_row, block_col)

    def close(self) -> None:
        """Close the files."""
        while self._open:
            self._open.popitem()[1].close()

    def _missing(self, col: Floats, row: Floats) -> NDArray[np.int64]:
        """Return row and column of the blocks not yet read around positions, shape (n, 2)."""
        rows, cols = self.layer.array.shape
        inside = (col >= -1.0) & (row >= -1.0) & (col <= cols + 1.0) & (row <= rows + 1.0)
        col, row = col[inside], row[inside]
        wanted = np.zeros_like(self._read)
        for beside in (-1.0, 1.0):  # bilinear heights need the neighbouring cell
            for above in (-1.0, 1.0):
                at_col = np.clip(col + beside, 0, cols - 1).astype(np.int64) // BLOCK_CELLS
                at_row = np.clip(row + above, 0, rows - 1).astype(np.int64) // BLOCK_CELLS
                wanted[at_row, at_col] = True
        return np.argwhere(wanted & ~self._read)

    def _read_block(self, block_row: int, block_col: int) -> None:
        rows, cols = self.layer.array.shape
        top, left = block_row * BLOCK_CELLS, block_col * BLOCK_CELLS
        bottom, right = min(top + BLOCK_CELLS, rows), min(left + BLOCK_CELLS, cols)
        # a small gap at the block's edge is filled from all the cells around it
        above, before = min(top, AROUND_CELLS), min(left, AROUND_CELLS)
        down, across = min(bottom + AROUND_CELLS, rows), min(right + AROUND_CELLS, cols)
        part = self._heights(Window(left - before, top - above, across - left + before, down - top + above))
        if self._fills_voids:
            fill_within(part)
        self.layer.array[top:bottom, left:right] = part[above:, before:][: bottom - top, : right - left]
        self._read[block_row, block_col] = True

    def _heights(self, part: Window) -> NDArray[np.float32]:
        """Return what the files know of a part. [m]"""
        heights_m = np.full((part.height, part.width), np.nan, dtype=np.float32)
        right, bottom = part.col_off + part.width, part.row_off + part.height
        boxes = self._boxes
        touched = (boxes[:, 0] < right) & (boxes[:, 2] > part.col_off)
        touched &= (boxes[:, 1] < bottom) & (boxes[:, 3] > part.row_off)
        with rasterio.Env(GDAL_CACHEMAX=GDAL_CACHE_BYTES):
            for number in np.flatnonzero(touched):
                self._fill(int(number), part, heights_m)
        return heights_m

    def _fill(self, number: int, part: Window, block: NDArray[np.float32]) -> None:
        """Write what a file knows of a part into its block."""
        file, place = self._mosaic.files[number], self._places[number]
        place = Window(place.col_off - part.col_off, place.row_off - part.row_off, place.width, place.height)
        inside = clip(place, part)
        if inside is None:
            return
        own = Window(
            inside.col_off - place.col_off, inside.row_off - place.row_off, inside.width, inside.height
        )
        paste(read_heights(file, self._dataset(number), own, self._doubts), own, place, block)

    def _dataset(self, number: int) -> rasterio.DatasetReader:
        if number not in self._open:
            # the one used longest ago
            if len(self._open) >= OPEN_FILES:
                self._open.popitem(last=False)[1].close()
            self._open[number] = opened_raster(self._mosaic.files[number].path)
        self._open.move_to_end(number)
        return self._open[number]


def _between(col: Floats, row: Floats) -> tuple[Floats, Floats]:
    """Return positions along lines of knots, shape (lines, K), at most half a block apart."""
    steps = np.maximum(np.abs(np.diff(col, axis=1)), np.abs(np.diff(row, axis=1)))
    widest = float(np.max(steps, initial=0.0, where=np.isfinite(steps)))
    parts = max(1, int(np.ceil(widest / (BLOCK_CELLS / 2.0))))
    share = np.arange(parts) / parts
    return tuple(  # type: ignore[return-value]
        np.concatenate(
            [
                (knots[:, :-1, None] * (1.0 - share) + knots[:, 1:, None] * share).reshape(len(knots), -1),
                knots[:, -1:],
            ],
            axis=1,
        )
        for knots in (col, row)
    )
