"""Where another model would ask for another antenna: counted, never mixed into the map's answer."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from covermap.constants import UNKNOWN_UINT8
from covermap.planning.results import Results

RASTER = "tier_second_opinion"


@dataclass(frozen=True)
class OpinionCount:
    """Squares and homes of a list by what the other model says; squares where both models know a tier.

    easier : a lower tier would do; harder : a higher one is needed. homes_… : None where homes are not known.
    mean_db : the other model's field of the limiting service less the map's, mean over squares
    """

    squares: int
    easier: int
    harder: int
    mean_db: float
    homes: float | None
    homes_easier: float | None
    homes_harder: float | None


def opinion_count(results: Results, list_name: str) -> OpinionCount | None:
    """Return what the second opinion says of a list; None where the run asked for none."""
    if not results.has(f"{list_name}/{RASTER}"):
        return None
    counts = np.zeros((2, 3))  # squares and homes: same tier, easier, harder
    differences, known_differences = 0.0, 0
    with_homes = results.has("homes")
    for band in results.grid.bands():
        tier = results.read(f"{list_name}/tier", band).astype(np.int64)
        other = results.read(f"{list_name}/{RASTER}", band).astype(np.int64)
        difference_db = results.read(f"{list_name}/second_opinion", band)
        known = (tier != UNKNOWN_UINT8) & (other != UNKNOWN_UINT8)
        homes = np.nan_to_num(results.read("homes", band)) if with_homes else np.zeros(tier.shape)
        for column, chosen in enumerate((tier == other, other < tier, other > tier)):
            counts[:, column] += (known & chosen).sum(), homes[known & chosen].sum()
        there = known & np.isfinite(difference_db)
        differences += float(difference_db[there].sum())
        known_differences += int(there.sum())
    squares, homes_of = counts
    return OpinionCount(
        squares=int(squares.sum()),
        easier=int(squares[1]),
        harder=int(squares[2]),
        mean_db=differences / max(known_differences, 1),
        homes=float(homes_of.sum()) if with_homes else None,
        homes_easier=float(homes_of[1]) if with_homes else None,
        homes_harder=float(homes_of[2]) if with_homes else None,
    )


def opinion_counts(results: Results) -> dict[str, dict[str, float | None]]:
    """Return the counts of every list that has a second opinion, for run.json."""
    found = {name: opinion_count(results, name) for name in results.lists}
    return {name: asdict(count) for name, count in found.items() if count is not None}
