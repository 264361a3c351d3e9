"""Homes that cannot be promised the list: which service decides there, and why it is hard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.list_tally import causes_of
from covermap.planning.results import Results
from covermap.planning.suppression import rounded


@dataclass(frozen=True)
class NotPromised:
    """Homes (without homes: cells) of tier 8 by deciding service and by main cause, most first.

    by_cause is empty where the result holds no causes
    """

    by_service: dict[str, float]
    by_cause: dict[str, float]

    def rounded(self) -> NotPromised:
        """Return the same with homes rounded, as public totals are."""
        by_service, by_cause = (
            {name: rounded(count) for name, count in counts.items()}
            for counts in (self.by_service, self.by_cause)
        )
        return NotPromised(by_service, by_cause)


def not_promised(results: Results, list_name: str) -> NotPromised:
    """Return what stands behind the cells of tier 8 of a list."""
    services, causes = results.services(list_name), causes_of(results, list_name)
    by_service, by_cause = np.zeros(len(services)), np.zeros(len(causes))
    for tile in results.grid.tiles():
        if results.has("homes"):
            weight = np.nan_to_num(results.read("homes", tile).ravel().astype(np.float64))
        else:
            weight = results.inside_area(tile).ravel().astype(np.float64)
        cell = np.flatnonzero(
            (results.read(f"{list_name}/tier", tile).ravel() == TIER_NOT_PROMISED) & (weight > 0)
        )
        for sums, kind in ((by_service, "deciding_service"), (by_cause, "main_cause")):
            if cell.size == 0 or sums.size == 0:
                continue
            index = results.read(f"{list_name}/{kind}", tile).ravel()[cell]
            known = index < sums.size
            sums += np.bincount(index[known], weight[cell][known], minlength=sums.size)
    return NotPromised(_most_first(services, by_service), _most_first(causes, by_cause))


def _most_first(names: tuple[str, ...], sums: np.ndarray) -> dict[str, float]:
    order = np.argsort(-sums, kind="stable")
    return {names[index]: float(sums[index]) for index in order if sums[index] > 0}
