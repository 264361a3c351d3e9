"""The different rows of stations' columns: many share a channel, and what it decides is worked out once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def distinct_rows(*columns: ArrayLike) -> tuple[list[tuple[float, ...]], NDArray[np.intp]]:
    """Return the different rows of columns of equal length, and which of them each place has."""
    rows = [tuple(map(float, row)) for row in zip(*map(np.asarray, columns), strict=True)]
    number = {row: index for index, row in enumerate(dict.fromkeys(rows))}
    return list(number), np.array([number[row] for row in rows], dtype=np.intp)
