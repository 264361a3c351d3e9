"""The store: a folder of loss blocks, each a file named by the digest of all it depends on."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import math
import os
import threading
import time
import uuid
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.errors import CovermapError, InputError
from covermap.grid.loss_block import LossBlock, PackedBlock, pack, unpack

# The number rises when LAYOUT does. A file of another layout is taken as damaged: removed and computed anew.
MAGIC = b"covermap loss block 3\n"
SUFFIX = ".block"
CHECKSUM_BYTES = hashlib.sha256().digest_size
KEEP_AFTER_EVICTION = 0.9  # of the size limit, so that not every new block looks through the folder
TEMPORARY_AGE_S = 86400.0  # a temporary file this old was left by a run that died
SIZE_LIMIT_GB = 20.0
LAYOUT = (("loss", "<i2"), ("spread", "u1"), ("departure", "<i2"), ("near", "u1"), ("path_class", "u1"))


def block_path(folder: Path, digest: str) -> Path:
    """Return where the block of a digest stands in a store's folder."""
    # 256 folders, so that none holds all of a large store's files
    return folder / digest[:2] / f"{digest}{SUFFIX}"


def bytes_a_cell(frequencies: int, heights: int) -> float:
    """Return what one cell takes in the files of a mast's frequencies: see LAYOUT; near is a bit."""
    size = {name: float(np.dtype(kind).itemsize) for name, kind in LAYOUT} | {"near": 0.125}
    by_height = ("loss", "spread")
    return frequencies * sum(bytes_ * (heights if name in by_height else 1) for name, bytes_ in size.items())


class Store:
    """Loss blocks kept in a folder, within a size limit; the least recently used go first.

    Safe for many threads and processes at once: a block is written under a temporary name and renamed,
    and two writers of one digest write equal bytes.

    loaded, saved, damaged : blocks read, written, and found damaged so far
    """

    def __init__(self, folder: Path, size_limit_gb: float = SIZE_LIMIT_GB) -> None:
        """Open or make the folder. Raises InputError for a limit of 0 or less, CovermapError if it fails."""
        if not size_limit_gb > 0:
            raise InputError(f"The store's size limit is {size_limit_gb} GB. It must be greater than 0.")
        self.folder = Path(folder)
        self.size_limit_bytes = int(size_limit_gb * 1e9)
        self.loaded = self.saved = self.damaged = 0
        self._lock = threading.Lock()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CovermapError(
                f"The store {self.folder} cannot be made: {error.strerror}. Name another folder with --store."
            ) from error
        self._bytes = sum(size for _, size, _ in self._blocks())
        self._remove_old_temporaries()

    def path(self, digest: str) -> Path:
        """Return where the block of a digest stands."""
        return block_path(self.folder, digest)

    def has(self, digest: str) -> bool:
        """Return whether there is a file for a digest; only load tells whether it is whole."""
        return self.path(digest).exists()

    def load(self, digest: str, cells: NDArray[np.int64] | None = None) -> LossBlock | None:
        """Return the block of a digest, or None where there is none that is whole.

        cells : some of its tile's cells, as LossBlock.some has them; None is all of them, in rows and columns
        A damaged file is removed and counted, so that its block is computed and saved again.
        """
        path = self.path(digest)
        try:
            content = path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise CovermapError(f"The store's file {path} cannot be read: {error.strerror}.") from error
        with contextlib.suppress(OSError):  # another's eviction, or a store that may only be read
            os.utime(path)  # marks the block as used; access times are often not kept
        packed = _decode(content, digest)
        with self._lock:
            if packed is None:
                self.damaged += 1
            else:
                self.loaded += 1
        if packed is None:
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        return unpack(packed) if cells is None else unpack(packed.some(cells)).some(slice(None))

    def save(self, digest: str, block: LossBlock) -> None:
        """Keep a block. Raises CovermapError, leaving nothing of it behind, when the disk refuses it."""
        content = _encode(pack(block), digest)
        path = self.path(digest)
        # A name of its own for each writer: two processes may write the same digest at once, and the later
        # rename puts equal bytes over equal bytes.
        temporary = path.with_name(f"{digest}.{uuid.uuid4().hex}.tmp")
        try:
            path.parent.mkdir(exist_ok=True)
            temporary.write_bytes(content)
            os.replace(temporary, path)
        except OSError as error:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise CovermapError(_write_trouble(self.folder, len(content), error)) from error
        with self._lock:
            self.saved += 1
            # Other processes' blocks are not counted here: _evict looks through the folder and sets the count
            # right.
            self._bytes += len(content)
            if self._bytes > self.size_limit_bytes:
                self._evict(keep=path)

    def _evict(self, keep: Path) -> None:
        """Remove the least recently used blocks until the store is at 90 % of its limit."""
        blocks = sorted(self._blocks())
        self._bytes = sum(size for _, size, _ in blocks)
        for _, size, path in blocks:
            if self._bytes <= KEEP_AFTER_EVICTION * self.size_limit_bytes:
                return
            # By the clock of a network disk the block just written may look like the oldest.
            if path != keep:
                with contextlib.suppress(OSError):
                    path.unlink()
                self._bytes -= size

    def _blocks(self) -> list[tuple[float, int, Path]]:
        """Return (time of last use, bytes, path) of every block; files vanish under another's eviction."""
        found = []
        for path in self.folder.glob(f"??/*{SUFFIX}"):
            with contextlib.suppress(OSError):
                facts = path.stat()
                found.append((facts.st_mtime, facts.st_size, path))
        return found

    def _remove_old_temporaries(self) -> None:
        """Remove what runs that died left half written."""
        for path in self.folder.glob("??/*.tmp"):
            with contextlib.suppress(OSError):
                # not at once: a younger one may be another process's, in the middle of its write
                if time.time() - path.stat().st_mtime > TEMPORARY_AGE_S:
                    path.unlink()


def _encode(packed: PackedBlock, digest: str) -> bytes:
    """Return a block as bytes: magic line, header line, arrays, SHA-256 of all before.

    at, of : of the tile, the row and column where the arrays begin, and its shape
    """
    frequencies, heights, rows, cols = packed.loss.shape
    header = {
        "digest": digest,
        "loss": {"shape": [frequencies, heights, rows, cols], "unit": "0.01 dB from 300 dB"},
        "spread": {"shape": [frequencies, heights, rows, cols], "unit": "0.25 dB"},
        "departure": {"shape": [rows, cols], "unit": "0.01 degree"},
        "near": {"shape": [-(-rows * cols // 8)], "unit": "bit"},
        "path_class": {"shape": [rows, cols], "unit": "class"},
        "at": [packed.row, packed.col],
        "of": [packed.rows, packed.cols],
    }
    arrays = (packed.loss, packed.spread, packed.departure, np.packbits(packed.near), packed.path_class)
    body = b"".join(
        np.ascontiguousarray(array, dtype=kind).tobytes()
        for array, (_, kind) in zip(arrays, LAYOUT, strict=True)
    )
    content = MAGIC + json.dumps(header, sort_keys=True).encode("ascii") + b"\n" + body
    return content + hashlib.sha256(content).digest()


def _decode(content: bytes, digest: str) -> PackedBlock | None:
    """Return the block in some bytes, or None when they are damaged or another block's."""
    # The checksum is looked at before the header is read: a torn or foreign file never reaches json or numpy.
    whole, checksum = content[:-CHECKSUM_BYTES], content[-CHECKSUM_BYTES:]
    if not whole.startswith(MAGIC) or hashlib.sha256(whole).digest() != checksum:
        return None
    start = whole.index(b"\n", len(MAGIC)) + 1
    header: dict[str, Any] = json.loads(whole[len(MAGIC) : start])
    # a whole file under another's name: copied or renamed by hand
    if header["digest"] != digest:
        return None
    arrays = {}
    for name, kind in LAYOUT:
        shape = header[name]["shape"]
        arrays[name] = np.frombuffer(whole, dtype=kind, count=math.prod(shape), offset=start).reshape(shape)
        start += arrays[name].nbytes
    rows, cols = header["departure"]["shape"]
    near = np.unpackbits(arrays["near"], count=rows * cols).reshape(rows, cols).astype(bool)
    return PackedBlock(
        arrays["loss"],
        arrays["spread"],
        arrays["departure"],
        near,
        arrays["path_class"],
        *header["at"],
        *header["of"],
    )


def _write_trouble(folder: Path, size: int, error: OSError) -> str:
    """Return what went wrong in writing, in words."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return (
            f"The disk of the store {folder} is full: a block of {size / 1e6:.1f} MB did not fit. "
            "Free space, or name a folder on another disk with --store; the finished blocks are kept."
        )
    return f"The store {folder} cannot be written: {error.strerror}. Name another folder with --store."
