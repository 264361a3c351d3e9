"""A raster of a result as an array for xarray that reads only what is asked for."""

from __future__ import annotations

from typing import Any

import numpy as np
from xarray.backends import BackendArray
from xarray.core import indexing

from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import Layer


class _Raster(BackendArray):
    """Reads rows and columns of one raster; unknown cells are NaN, so whole numbers become float32."""

    def __init__(self, coverage: Coverage, name: str, layer: Layer, shape: tuple[int, ...]) -> None:
        self.coverage, self.name, self.layer = coverage, name, layer
        self.shape = shape
        self.dtype = np.dtype(layer.dtype if layer.nodata is None else np.float32)

    def __getitem__(self, key: indexing.ExplicitIndexer) -> Any:
        return indexing.explicit_indexing_adapter(
            key, self.shape, indexing.IndexingSupport.BASIC, self._cells
        )

    def _cells(self, key: tuple[int | slice, ...]) -> Any:
        """Return the cells of whole numbers and slices, as numpy does."""
        (rows, row), (cols, col) = (
            _bounds(part, size) for part, size in zip(key[-2:], self.shape[-2:], strict=True)
        )
        values = _without_unknown(self.coverage.read(self.name, (rows, cols)), self.layer)
        return values[(*key[:-2], row, col)]


def lazy_raster(coverage: Coverage, name: str, layer: Layer, shape: tuple[int, ...]) -> Any:
    """Return a raster of a shape, with its bands first where it has some, read when it is asked for.

    Raises InputError when the result has no raster of that name.
    """
    coverage.read(name, (slice(0, 1), slice(0, 1)))
    return indexing.LazilyIndexedArray(_Raster(coverage, name, layer, shape))


def _bounds(part: int | slice, size: int) -> tuple[slice, int | slice]:
    """Return the cells to read along an axis, and what of them was asked for."""
    if not isinstance(part, slice):
        place = int(part) % size
        return slice(place, place + 1), 0
    asked = range(*part.indices(size))
    if not asked:
        return slice(0, 1), slice(0, 0)
    first, last = min(asked[0], asked[-1]), max(asked[0], asked[-1])
    whole = range(last - first + 1)[:: asked.step]
    return slice(first, last + 1), slice(whole.start, None if whole.stop < 0 else whole.stop, whole.step)


def _without_unknown(values: np.ndarray, layer: Layer) -> np.ndarray:
    if layer.nodata is None or values.dtype == np.float32:
        return values
    return np.where(values == layer.nodata, np.float32(np.nan), values.astype(np.float32))
