"""Where terrain is kept: the first of it in memory, all beyond in unnamed files that are memory-mapped."""

from __future__ import annotations

import mmap
import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from covermap.errors import CovermapError

IN_MEMORY_BYTES = 512 * 10**6  # of all rasters of a scenario together


class TerrainSpace:
    """Gives arrays for rasters, so that terrain larger than memory can be read.

    Arrays stand in memory until in_memory_bytes are given out. Others are mapped from files without a name
    in a folder, which vanish with the array; the system then keeps in memory what is in use, and can take
    it back. The system's folder for temporary files, often small or itself in memory, is the last resort.

    folder : where the files go, or would if it were there: its nearest parent is taken
    """

    def __init__(self, folder: Path | None = None, in_memory_bytes: int | None = None) -> None:
        self.folder = None if folder is None else _writable(Path(folder))
        self._left = IN_MEMORY_BYTES if in_memory_bytes is None else in_memory_bytes

    def array(self, rows: int, cols: int, dtype: DTypeLike) -> NDArray[Any]:
        """Return an array of (rows, cols) to fill. Raises CovermapError when the disk cannot hold it."""
        size = rows * cols * np.dtype(dtype).itemsize
        if size <= self._left:
            self._left -= size
            return np.empty((rows, cols), dtype=dtype)
        with tempfile.TemporaryFile(prefix="covermap_", dir=self.folder) as backing:
            _reserve(backing.fileno(), size, self.folder)
            # the mapping keeps the unnamed file alive
            return np.asarray(np.memmap(backing, dtype=dtype, mode="r+", shape=(rows, cols)))


def is_mapped(array: NDArray[Any]) -> bool:
    """Return whether an array stands in a file rather than in memory."""
    return _mapping(array) is not None


def release(array: NDArray[Any]) -> None:
    """Let the system take the memory of a mapped array back; its values stay. Others are left alone."""
    mapping = _mapping(array)
    if mapping is not None and hasattr(mmap, "MADV_DONTNEED"):
        # Of a shared mapping of a file this drops pages, not values: they are read again when asked for.
        mapping.madvise(mmap.MADV_DONTNEED)


def _mapping(array: Any) -> mmap.mmap | None:
    while array is not None and not isinstance(array, mmap.mmap):
        array = getattr(array, "base", None)
    return array


def _writable(folder: Path) -> Path | None:
    """Return the folder or its nearest parent that is there; None where nothing may be written there."""
    while not folder.is_dir() and folder != folder.parent:
        folder = folder.parent
    return folder if os.access(folder, os.W_OK) else None


def _reserve(file: int, size: int, folder: Path | None) -> None:
    """Give a file its size on disk: a mapped file that does not fit would end the process later."""
    try:
        if hasattr(os, "posix_fallocate"):
            # not ftruncate where this is there: that makes a hole, which fills up later and ends the process
            # with a signal
            os.posix_fallocate(file, 0, size)
        else:
            os.ftruncate(file, size)
    except OSError as error:
        raise CovermapError(
            f"The terrain does not fit in memory, and its {size / 1e9:.1f} GB do not fit into "
            f"{folder or tempfile.gettempdir()}: {error.strerror}.\n"
            "  Name a folder on a larger disk with --store."
        ) from error
