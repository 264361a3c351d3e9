"""Small gaps of an elevation raster filled from the cells around them, and remembered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from covermap.terrain.layer import RasterLayer
from covermap.terrain.lookup import heights_at
from covermap.terrain.space import release

MOST_CELLS = 3  # common practice, no source: larger gaps stay unknown
_BLOCK_CELLS = 1_000_000
_EVERY_NEIGHBOUR = np.ones((3, 3))


def fill_small_voids(layers: Sequence[RasterLayer]) -> tuple[tuple[RasterLayer, ...], tuple[str, ...]]:
    """Fill gaps of up to 3 cells, each cell with the mean of the known ones that touch it.

    A gap is what hangs together by edges or corners. One that reaches the raster's edge, or whose
    height another raster knows, stays. The arrays are changed in place.

    Returns the layers with their filled cells, and a warning for each that has some.
    """
    filled, warnings = [], []
    for index, layer in enumerate(layers):
        others = [*layers[:index], *layers[index + 1 :]]
        gaps, cells = _fill(layer, others)
        filled.append(replace(layer, filled=cells))
        if gaps:
            warnings.append(
                f"{layer.name}: {gaps} {'gap' if gaps == 1 else 'gaps'} of up to {MOST_CELLS} cells "
                f"({cells.size} {'cell' if cells.size == 1 else 'cells'} in all) filled from the cells "
                "around; squares there carry a flag."
            )
    return tuple(filled), tuple(warnings)


def fill_within(heights_m: NDArray[np.float32]) -> None:
    """Fill the small gaps of a piece of a raster that do not reach its edge, in place."""
    void = np.isnan(heights_m)
    if void.any() and not void.all():
        _, row, col = _small_gaps(void)
        heights_m[row, col] = _means_around(heights_m, row, col)


def _means_around(heights_m: NDArray[np.float32], row: NDArray, col: NDArray) -> list[float]:
    """Return the mean of the known cells that touch each of some cells, none on the edge."""
    return [float(np.nanmean(heights_m[r - 1 : r + 2, c - 1 : c + 2])) for r, c in zip(row, col, strict=True)]


def _fill(layer: RasterLayer, others: Sequence[RasterLayer]) -> tuple[int, NDArray[np.int64]]:
    """Fill one raster; return how many gaps, and the filled cells as places in the flattened array."""
    gaps, places = 0, [np.empty(0, dtype=np.int64)]
    cols = layer.array.shape[1]
    for first, rows in _overlapping_rows(layer):
        void = np.isnan(rows)
        if not void.any():
            continue
        numbers, row, col = _small_gaps(void)
        if row.size and others:
            known = ~np.isnan(heights_at(others, *layer.lonlat(col + 0.5, row + first + 0.5)))
            open_gap = ~np.isin(numbers, numbers[known])
            numbers, row, col = numbers[open_gap], row[open_gap], col[open_gap]
        rows[row, col] = _means_around(rows, row, col)
        gaps += np.unique(numbers).size
        places.append((row + first) * cols + col)
        release(layer.array)
    return gaps, np.sort(np.concatenate(places))


def _small_gaps(void: NDArray[np.bool_]) -> tuple[NDArray, NDArray, NDArray]:
    """Return number of its gap, row and col of every cell of a small gap that does not reach the edge."""
    label, _ = ndimage.label(void, structure=_EVERY_NEIGHBOUR)
    size = np.bincount(label.ravel())
    small = size <= MOST_CELLS
    # label 0 is what is known
    small[0] = False
    for edge in (label[0], label[-1], label[:, 0], label[:, -1]):
        small[edge] = False
    row, col = np.nonzero(small[label])
    return label[row, col], row, col


def _overlapping_rows(layer: RasterLayer) -> Iterator[tuple[int, NDArray]]:
    """Yield rows with their first row's number; a small gap lies whole and off the edge in one of them.

    What one block fills is known to the next, so that no gap is counted twice.
    """
    height, width = layer.array.shape
    step = max(1, _BLOCK_CELLS // width)
    for row in range(0, height, step):
        first = max(0, row - MOST_CELLS - 1)
        yield first, layer.array[first : row + step + MOST_CELLS + 1]
