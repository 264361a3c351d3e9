"""Finds areas whose homes are the sum of other areas in the same layer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError

COVERED_SHARE = 0.95  # judgement: parts that fill this much of an area may be all of it
SAME_SHARE, SAME_HOMES = 0.02, 2.0  # judgement: a sum this near to the total is the total


def refuse_totals_with_parts(polygons: NDArray[Any], count: NDArray[np.float64], path: Path) -> None:
    """Raise InputError if an area holds the homes of the areas that fill it: a total beside its parts.

    polygons, count : one a feature, NaN without a count; path : of the file, for the message
    """
    total, part = _inside(polygons)
    if total.size == 0:
        return
    area = shapely.area(polygons)
    filled = np.bincount(total, area[part], minlength=len(polygons))
    homes = np.bincount(total, np.nan_to_num(count[part]), minlength=len(polygons))
    near = np.abs(homes - count) <= np.maximum(SAME_SHARE * count, SAME_HOMES)
    found = np.flatnonzero((filled >= COVERED_SHARE * area) & near & (homes > 0))
    if found.size:
        first = int(found[0])
        parts = int(np.count_nonzero(total == first))
        raise InputError(
            f"{path.name}, feature {first + 1}: its {count[first]:,.0f} homes are those of the {parts} "
            f"features inside it ({homes[first]:,.0f}): a total beside its parts would count every home "
            "twice. Keep the parts in the layer and leave the totals out."
        )


def _inside(polygons: NDArray[Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return pairs (larger, smaller): the middle of the smaller lies in the larger one."""
    tree = shapely.STRtree(polygons)
    # a point on the surface, not the centroid, which of a crescent lies outside it
    smaller, larger = tree.query(shapely.point_on_surface(polygons), predicate="within")
    area = shapely.area(polygons)
    kept = (smaller != larger) & (area[smaller] < area[larger] * COVERED_SHARE)
    return larger[kept], smaller[kept]
