"""A result whose small rasters are read from their files once, for all that is counted and drawn of them.

So are tags, and where its rasters stand: some hundred layers and styles ask for them.
"""

from __future__ import annotations

from pathlib import Path
from threading import Lock

import numpy as np
import rasterio
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.result.coverage import Cells, Coverage
from covermap.result.raster_catalogue import layer_of
from covermap.result.result_raster import result_raster

MOST_BYTES = 48_000_000  # of all kept rasters
LARGEST_BYTES = 8_000_000  # of one: larger ones are read window by window, as ever


class KeptCoverage(Coverage):
    """A result whose rasters no one writes any more; may be read by several threads at once."""

    def __init__(self, coverage: Coverage) -> None:
        super().__init__(coverage.folder, coverage.run, coverage._in_memory)
        self._kept: dict[str, NDArray] = {}
        self._free_bytes = MOST_BYTES
        self._paths: dict[str, Path] = {}
        self._there: dict[str, bool] = {}
        self._tags: dict[str, dict[str, str]] = {}
        self._lock = Lock()

    def path(self, name: str) -> Path:
        """Return the path of a raster by name, as Coverage.path."""
        if name not in self._paths:
            self._paths[name] = super().path(name)
        return self._paths[name]

    def has(self, name: str) -> bool:
        """Return whether the result holds a raster of this name."""
        if name not in self._there:
            self._there[name] = super().has(name)
        return self._there[name]

    def tags(self, name: str) -> dict[str, str]:
        """Return a raster's tags."""
        if name not in self._tags:
            self._tags[name] = super().tags(name)
        return self._tags[name]

    def read(self, name: str, window: Cells = None) -> np.ndarray:
        """Return a raster, or the cells of a window, as Coverage.read; the caller's own."""
        layer = layer_of(name)
        bands = self._kept.get(name)
        if bands is None:
            if not self.has(name):
                raise InputError(f"{self.folder}: there is no raster {name!r} in this result.")
            with result_raster(self._source(name), self.path(name)) as dataset:
                if not self._has_room(dataset):
                    found: np.ndarray = dataset.read(window=self._window(window))
                    return found if layer.stacked else found[0]
                bands = self._kept.setdefault(name, dataset.read())
        asked = self._window(window)
        bands = bands if asked is None else bands[:, *asked.toslices()]
        return (bands if layer.stacked else bands[0]).copy()

    def _has_room(self, dataset: rasterio.DatasetReader) -> bool:
        """Take room for a raster, where there is any."""
        size = sum(np.dtype(kind).itemsize for kind in dataset.dtypes) * dataset.width * dataset.height
        with self._lock:
            fits = size <= min(LARGEST_BYTES, self._free_bytes)
            self._free_bytes -= size if fits else 0
        return fits
