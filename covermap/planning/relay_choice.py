"""Choosing relay sites: greedy cover of homes or land, then swaps while they help."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array


def choose_sites(
    reached: csr_array, weight: NDArray[np.float64], harmed: NDArray[np.float64], count: int
) -> list[int]:
    """Return up to `count` sites, in the order in which each adds most to those before it.

    Parameters
    ----------
    reached : bool, shape (C, N), which of N cells each of C sites brings over the line
    weight : shape (N,), homes or land of each
    harmed : shape (C,), what each site takes from another signal
    count : how many sites at most

    The score of a set is what any of it reaches less all that is harmed. Greedy choice, then any site is
    swapped for any other while the score grows; a site that adds nothing is left out.
    """
    chosen = _greedy(reached, weight, harmed, count)
    best = score(reached, weight, harmed, chosen)
    improved = True
    while improved:
        improved = False
        for place in range(len(chosen)):
            for other in np.setdiff1d(np.arange(harmed.size), chosen):
                changed = [*chosen[:place], int(other), *chosen[place + 1 :]]
                found = score(reached, weight, harmed, changed)
                # more than rounding, or two equal sets would be swapped for ever
                if found > best + 1e-9:
                    chosen, best, improved = changed, found, True
    # Once more in order: after swaps the first in the list need not be the one that adds most.
    return _greedy(reached[chosen], weight, harmed[chosen], count, chosen)


def score(
    reached: csr_array, weight: NDArray[np.float64], harmed: NDArray[np.float64], sites: list[int]
) -> float:
    """Return what any of the sites reaches less what they harm."""
    if not sites:
        return 0.0
    covered = np.zeros(weight.size, dtype=bool)
    covered[reached[sites].indices] = True
    return float(weight[covered].sum() - harmed[sites].sum())


def _greedy(
    reached: csr_array,
    weight: NDArray[np.float64],
    harmed: NDArray[np.float64],
    count: int,
    names: list[int] | None = None,
) -> list[int]:
    """Return the sites one by one, each the one that adds most; `names` stand for the rows."""
    left = weight.astype(np.float64).copy()
    chosen: list[int] = []
    for _ in range(min(count, harmed.size)):
        gain = reached @ left - harmed
        gain[chosen] = -np.inf
        best = int(np.argmax(gain))
        if gain[best] <= 0:
            break
        chosen.append(best)
        left[reached[[best]].indices] = 0.0
    return [names[site] for site in chosen] if names is not None else chosen
