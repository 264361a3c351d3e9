"""The page's value layers: one byte a pixel, one zlib stream a layer, written as base64."""

from __future__ import annotations

import base64
import math
import os
import zlib
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.wording.words import chance_step

UNKNOWN = 255
OUTSIDE = 254
"""Code of a pixel outside the map, in every layer whose own values end at 100 or 8."""

FIELD_OFFSET_DB = 60
"""A field layer holds whole dB(uV/m) plus this, so 0 is -60 or less and 254 is 194 or more."""

HOMES_STEP = 0.1
"""Homes are held in tenths, 16 bits; more than 6,553.4 in one square reads as that."""

COMPRESSION = 5
"""Of zlib: 7 takes 2.7 times as long for 4 % less, 8 seven times for 7 % (156 layers of a million pixels)."""

AT_ONCE = 8
"""Layers in the making while a page is packed."""

MOST_STATION_VALUES = 160_000 * 20
"""Cells times stations up to which the page holds the stations' values of every pixel."""


def station_step(pixels: int, stations: int) -> int:
    """Return the side in pixels of the blocks that share their middle pixel's station values, from 1."""
    return max(1, math.ceil(math.sqrt(pixels * stations / MOST_STATION_VALUES)))


def block_middles(values: NDArray[Any], step: int) -> NDArray[Any]:
    """Return the value at the middle of each block of step x step pixels (at the edge: the last one)."""
    rows, cols = (np.minimum(np.arange(0, size, step) + step // 2, size - 1) for size in values.shape)
    return values[np.ix_(rows, cols)]


def middles(size: int, step: int) -> NDArray[np.float64]:
    """Return the middles, in pixels, of the pixels that stand for blocks of step pixels along one side."""
    return np.minimum(np.arange(0, size, step) + step // 2, size - 1) + 0.5


def field_bytes(field_dbuvm: NDArray[np.floating[Any]]) -> NDArray[np.uint8]:
    """Return a field in whole dB as bytes, halves upwards; NaN is UNKNOWN."""
    whole = np.clip(np.floor(np.nan_to_num(field_dbuvm) + 0.5) + FIELD_OFFSET_DB, 0, UNKNOWN - 1)
    return np.where(np.isnan(field_dbuvm), UNKNOWN, whole).astype(np.uint8)


def chance_bytes(chance_percent: NDArray[np.uint8], step: int) -> NDArray[np.uint8]:
    """Return chances as the page holds them; where it shares values over blocks, in the steps that it says.

    No word or number of the page changes by it, and a million pixels take a third of the room.
    """
    if step == 1:
        return chance_percent
    said = np.arange(256, dtype=np.uint8)
    said[:101] = [chance_step(percent) for percent in range(101)]
    return said[chance_percent]


def two_bytes(values: NDArray[Any]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return whole numbers from -1 to 65534 as a low and a high byte; -1 is 255, 255."""
    wide = np.asarray(values).astype(np.uint16)
    return (wide & 0xFF).astype(np.uint8), (wide >> 8).astype(np.uint8)


def homes_tenths(homes: NDArray[np.floating[Any]]) -> NDArray[np.int64]:
    """Return homes per cell in tenths, at most 65534; NaN is -1."""
    tenths = np.clip(np.floor(np.nan_to_num(homes) / HOMES_STEP + 0.5), 0, 65534)
    return np.where(np.isnan(homes), -1, tenths).astype(np.int64)


def packed(values: NDArray[np.uint8]) -> str:
    """Return a layer as the page holds it: zlib stream in base64."""
    stream = zlib.compress(np.ascontiguousarray(values).tobytes(), COMPRESSION)
    return base64.b64encode(stream).decode("ascii")


def all_packed(layers: Iterable[tuple[str, NDArray[np.uint8]]]) -> Iterator[tuple[str, str]]:
    """Yield name and packed text of each layer, in order; several at once, a few held in memory."""
    waiting: deque[tuple[str, Future[str]]] = deque()
    with ThreadPoolExecutor(os.cpu_count()) as pool:  # zlib lets other threads run
        for name, values in layers:
            waiting.append((name, pool.submit(packed, values)))
            if len(waiting) > AT_ONCE:
                first, text = waiting.popleft()
                yield first, text.result()
        for name, text in waiting:
            yield name, text.result()
