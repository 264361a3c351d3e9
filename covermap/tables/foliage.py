"""Reads the table of woodland: what a stretch of it takes, and what of that its leaves take."""

from __future__ import annotations

from functools import cache

import numpy as np

from covermap.propagation.foliage import Foliage
from covermap.tables.loader import load_table


@cache
def read_foliage() -> Foliage:
    """Return the built-in table."""
    rows = load_table("foliage")
    return Foliage(*(np.array([float(row[name]) for row in rows]) for name in Foliage._fields))
