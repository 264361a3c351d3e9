"""Rasters of one kind, of several lists or stations, as one array that reads only what is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from xarray.backends import BackendArray
from xarray.core import indexing

from covermap.constants import UNKNOWN_UINT8
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import layer_of


@dataclass(frozen=True)
class Part:
    """One raster of a stack.

    name : of the raster; None where the result has none of this kind for the list
    bands : for each band of the stack the band of the raster, -1 where it has none; None for one band
    codes : for each value of a code what it is in the stack; None for numbers, and codes alike everywhere
    """

    name: str | None
    bands: NDArray[np.int64] | None = None
    codes: NDArray[np.int16] | None = None


class _Stack(BackendArray):
    """Parts along a first axis, or one part without it; then bands where there are some, rows and columns.

    Numbers are float32, NaN where unknown; codes int16, 255 where unknown.
    """

    def __init__(self, coverage: Coverage, parts: Sequence[Part], shape: tuple[int, ...], code: bool) -> None:
        self.coverage, self.parts, self.shape = coverage, parts, shape
        self.has_bands = parts[0].bands is not None
        self.is_stacked = len(shape) == 3 + self.has_bands
        self.dtype = np.dtype(np.int16 if code else np.float32)
        self.unknown = UNKNOWN_UINT8 if code else np.nan

    def __getitem__(self, key: indexing.ExplicitIndexer) -> Any:
        return indexing.explicit_indexing_adapter(
            key, self.shape, indexing.IndexingSupport.BASIC, self._cells
        )

    def _cells(self, key: tuple[int | slice, ...]) -> Any:
        """Return the cells of whole numbers and slices, as numpy does."""
        if not self.is_stacked:
            return self._cells_of(self.parts[0], key)
        first, *rest = key
        if isinstance(first, slice):
            found = [self._cells_of(part, tuple(rest)) for part in self.parts[first]]
            return np.stack(found) if found else np.empty((0, *np.empty(self.shape[1:])[tuple(rest)].shape))
        return self._cells_of(self.parts[first], tuple(rest))

    def _cells_of(self, part: Part, key: tuple[int | slice, ...]) -> Any:
        (rows, row), (cols, col) = (
            _bounds(place, size) for place, size in zip(key[-2:], self.shape[-2:], strict=True)
        )
        values = self._values(part, rows, cols)
        return values[(*key[:-2], row, col)]

    def _values(self, part: Part, rows: slice, cols: slice) -> NDArray[Any]:
        """Return a window of a part as the stack has it, with all its bands."""
        bands = self.shape[-3:-2] if self.has_bands else ()
        out = np.full((*bands, rows.stop - rows.start, cols.stop - cols.start), self.unknown, self.dtype)
        if part.name is None:
            return out
        values = self.coverage.read(part.name, (rows, cols))
        layer = layer_of(part.name)
        if self.dtype == np.float32:
            known = values.astype(np.float32)
            if layer.nodata is not None:
                known[values == layer.nodata] = np.nan
        else:
            known = np.where(values == layer.nodata, UNKNOWN_UINT8, values).astype(np.int16)
            if part.codes is not None:
                known = part.codes[known]
        if part.bands is None:
            return known
        there = part.bands >= 0
        out[there] = known[part.bands[there]]
        return out


def lazy_stack(coverage: Coverage, parts: Sequence[Part], shape: tuple[int, ...], *, code: bool) -> Any:
    """Return rasters as one array of a shape, read when it is asked for.

    Raises InputError when the result lacks one that is named.
    """
    for part in parts:
        if part.name is not None:
            # One cell now, so that a raster that is not there is told here and not when a picture is drawn of
            # it.
            coverage.read(part.name, (slice(0, 1), slice(0, 1)))
    return indexing.LazilyIndexedArray(_Stack(coverage, parts, shape, code))


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
    # A step backwards ends at -1, which as a slice's end would mean the last cell: None is the way to say "to
    # the start".
    return slice(first, last + 1), slice(whole.start, None if whole.stop < 0 else whole.stop, whole.step)
