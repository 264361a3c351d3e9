"""Homes that leaves, or another class of land cover right before them, would move to another tier."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from covermap.constants import UNKNOWN_UINT8
from covermap.planning.results import Results

IN_LEAF, COVER_DOUBT = "tier_in_leaf", "tier_cover_doubt"
MOVES_BY = 2  # classes from which a doubt is told


@dataclass(frozen=True)
class Moved:
    """Squares and homes looked at, and those of them that move; homes : None where they are not known."""

    squares: int
    squares_moved: int
    homes: float | None
    homes_moved: float | None


def in_leaf(results: Results, list_name: str) -> Moved | None:
    """Return what loses in summer, squares and homes that need a higher tier in leaf; None: not asked."""
    return _count(results, list_name, IN_LEAF)


def cover_doubt(results: Results, list_name: str) -> Moved | None:
    """Return what another class of cover would move by two tiers or more; None: not asked."""
    return _count(results, list_name, COVER_DOUBT)


def local_doubts_record(results: Results) -> dict[str, dict[str, dict[str, float | None]]]:
    """Return both counts of every list that has them, for run.json: in_leaf and cover_doubt."""
    counted = {"in_leaf": in_leaf, "cover_doubt": cover_doubt}
    found = {
        key: {name: count for name in results.lists if (count := of(results, name)) is not None}
        for key, of in counted.items()
    }
    return {key: {name: asdict(count) for name, count in by.items()} for key, by in found.items() if by}


def _count(results: Results, list_name: str, kind: str) -> Moved | None:
    if not results.has(f"{list_name}/{kind}"):
        return None
    squares, of_homes = np.zeros(2, dtype=np.int64), np.zeros(2)
    with_homes = results.has("homes")
    for band in results.grid.bands():
        tier = results.read(f"{list_name}/tier", band)
        other = results.read(f"{list_name}/{kind}", band)
        known = (tier != UNKNOWN_UINT8) & (other != UNKNOWN_UINT8)
        # tier_in_leaf is a tier; tier_cover_doubt is already how many classes it moves
        moved = known & ((other > tier) if kind == IN_LEAF else (other >= MOVES_BY))
        homes = np.nan_to_num(results.read("homes", band)) if with_homes else np.zeros(tier.shape)
        squares += known.sum(), moved.sum()
        of_homes += homes[known].sum(), homes[moved].sum()
    return Moved(
        int(squares[0]),
        int(squares[1]),
        float(of_homes[0]) if with_homes else None,
        float(of_homes[1]) if with_homes else None,
    )
