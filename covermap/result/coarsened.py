"""A result seen with larger cells, so that what draws all of it never reads more than it can draw."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import rasterio
from rasterio.enums import Resampling
from rasterio.windows import Window

from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.result.coverage import Cells, Coverage
from covermap.result.raster_catalogue import layer_of
from covermap.result.rasters import CACHE_BYTES
from covermap.result.result_raster import result_raster

MOST_DRAWN_CELLS = 4_000_000  # at a byte a value and a band, a page's arrays then take tens of MB
SUMMED = ("homes", "homes_without_roof")


class CoarsenedCoverage(Coverage):
    """A result with cells `factor` times as long: each holds the value of one cell in it, homes their sum.

    What of the last rows and columns fills no larger cell is left out.
    """

    def __init__(self, coverage: Coverage, factor: int) -> None:
        super().__init__(coverage.folder, coverage.run, coverage._in_memory)
        self.factor = factor
        self.grid = _with_larger_cells(coverage.grid, factor)

    def read(self, name: str, window: Cells = None) -> np.ndarray:
        """Return a raster, or a window of larger cells; as Coverage.read."""
        layer = layer_of(name)
        if not self.has(name):
            raise InputError(f"{self.folder}: there is no raster {name!r} in this result.")
        asked = self._window(window) or Window(0, 0, self.grid.cols, self.grid.rows)
        with (
            rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES),
            result_raster(self._source(name), self.path(name)) as dataset,
        ):
            bands = self._sums(dataset, asked) if name in SUMMED else self._picks(dataset, asked)
        return bands if layer.stacked else bands[0]

    def _picks(self, dataset: rasterio.DatasetReader, asked: Window) -> np.ndarray:
        """Return the value of one cell in each larger one: GDAL's nearest, as overviews have it."""
        shape = (dataset.count, int(asked.height), int(asked.width))
        picked: np.ndarray = dataset.read(
            window=self._in_cells(asked), out_shape=shape, resampling=Resampling.nearest
        )
        return picked

    def _sums(self, dataset: rasterio.DatasetReader, asked: Window) -> np.ndarray:
        """Return the sum in each larger cell, row by row of them; cells without a number add none."""
        out = np.empty((1, int(asked.height), int(asked.width)), dtype=np.float32)
        for row in range(out.shape[1]):
            strip = Window(asked.col_off, asked.row_off + row, asked.width, 1)
            # One row of larger cells at a time: the raster itself, which may be many times what is drawn, is
            # never read whole.
            values = dataset.read(1, window=self._in_cells(strip))
            blocks = values.reshape(self.factor, out.shape[2], self.factor)
            # summed as float64: float32 loses single homes from some 16 million on
            out[0, row] = np.nansum(blocks, axis=(0, 2), dtype=np.float64)
            out[0, row][np.isnan(blocks).all(axis=(0, 2))] = np.nan
        return out

    def _in_cells(self, window: Window) -> Window:
        factor = self.factor
        return Window(
            window.col_off * factor, window.row_off * factor, window.width * factor, window.height * factor
        )


def coarsened(coverage: Coverage, most_cells: int = MOST_DRAWN_CELLS) -> Coverage:
    """Return the result itself, or with larger cells where it has more than most_cells."""
    factor = _factor(coverage.grid, most_cells)
    return coverage if factor <= 1 else CoarsenedCoverage(coverage, factor)


def coarsened_grid(grid: Grid) -> Grid:
    """Return the grid of coarsened() results of a grid."""
    return _with_larger_cells(grid, max(1, _factor(grid, MOST_DRAWN_CELLS)))


def _factor(grid: Grid, most_cells: int) -> int:
    return math.ceil(math.sqrt(grid.cells / most_cells))


def _with_larger_cells(grid: Grid, factor: int) -> Grid:
    return dataclasses.replace(
        grid, cell_m=grid.cell_m * factor, rows=grid.rows // factor, cols=grid.cols // factor
    )
