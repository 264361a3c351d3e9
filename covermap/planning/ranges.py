"""80 % ranges of expected homes: errors that cells share, drawn again and again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.shared_errors import SharedErrors
from covermap.propagation.compiling import kernel
from covermap.reception.normal import normal_share

DRAWS = 400
SEED = 20261125
LOW_SHARE, HIGH_SHARE = 0.1, 0.9
NORMALS = 4096  # a table of them; a power of two
LEAST_REST = 0.08  # of a deviation; keeps the draws finite where homes of a cell hardly differ
SHIFT_DB = 3.0  # of the rasters *_3db_weaker and *_3db_stronger


def deviation(
    percent: NDArray,
    weaker: NDArray | None = None,
    stronger: NDArray | None = None,
    per_db: float | NDArray = 1.0,
) -> NDArray[np.float64]:
    """Return chances in whole percent as deviations of the normal distribution, shape (N,).

    weaker, stronger : the chances 3 dB down and up, 255 unknown. They tell how far a chance of 100 or
        0 % is from the edge; where they do not either, the deviation is infinite.
    per_db : deviations by which the chance moves when every field moves by 1 dB
    """
    found = _deviation_of(percent)
    for shifted, shift_db in ((weaker, SHIFT_DB), (stronger, -SHIFT_DB)):
        if shifted is not None:
            beyond = np.isinf(found) & (shifted > 0) & (shifted < 100)
            found = np.where(beyond, _deviation_of(shifted) + shift_db * per_db, found)
    return found


def _deviation_of(percent: NDArray) -> NDArray[np.float64]:
    return ndtri(np.clip(np.asarray(percent, dtype=np.float64), 0.0, 100.0) / 100.0)


def common_errors(groups: int, home_correlation: float) -> NDArray[np.float64]:
    """Return the error of each group in each draw, in deviations, shape (DRAWS, groups), always the same.

    A group's errors are the middles of DRAWS equal parts of the normal distribution, so that their spread is
    exact; any two groups' are correlated by home_correlation.
    """
    # Not random numbers: 400 of them miss the tails by chance, and the ends of an 80 % range stand on 40
    # draws each.
    levels = ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
    # A fixed seed: the same result must give the same ranges, run again or in parts.
    rng = np.random.default_rng(SEED)
    own = np.stack([rng.permutation(levels) for _ in range(groups)], axis=1)
    mixed = np.sqrt(home_correlation) * rng.permutation(levels)[:, None] + np.sqrt(1 - home_correlation) * own
    # By rank: the mix is put back onto the exact levels, in its own order.
    return levels[mixed.argsort(axis=0, kind="stable").argsort(axis=0)]


@kernel
def _normal_index(cell, draw):
    """Return which normal of the table a cell gets in a draw; the same for every area that holds it."""
    # A hash of cell and draw, not a state: a cell's error is then the same in every neighbourhood and zone
    # that asks. The constants are of a usual 64-bit generator and mixer (from memory); overflow is meant.
    mixed = cell * 6364136223846793005 + draw * 1442695040888963407
    mixed ^= mixed >> 29
    mixed *= -4658895280553007687
    mixed ^= mixed >> 32
    return mixed & (NORMALS - 1)


@kernel
def _add_draws(area, cell, weight, level, group, common, cell_sd, rest, errors, normals, mean, spread):
    """Add each part's homes that fail, and their binomial variance, to mean and spread, (A, DRAWS)."""
    for part in range(area.size):
        for draw in range(errors.shape[0]):
            error = cell_sd[part] * normals[_normal_index(cell[part], draw)]
            for number in range(group.shape[0]):
                error += common[number, part] * errors[draw, group[number, part]]
            failed = normal_share(-(level[part] + error) / rest[part])
            mean[area[part], draw] += weight[part] * failed
            spread[area[part], draw] += weight[part] * failed * (1.0 - failed)


class RangeTally:
    """Draws of how many homes fail, for P areas.

    The error of one home is split: common to the cells of a site and band, common to a cell, its own. Over
    the draws a home's chance keeps its mean. Homes of a cell fail apart from each other once the shared
    errors are given.
    """

    def __init__(self, areas: int, groups: int, home_correlation: float) -> None:
        self.mean = np.zeros((areas, DRAWS))
        self.variance = np.zeros((areas, DRAWS))
        self._home_correlation = home_correlation
        self._errors = common_errors(groups, home_correlation)
        self._normals = np.random.default_rng(SEED + 1).standard_normal(NORMALS)

    def add(
        self, area: NDArray, cell_id: NDArray, weight: NDArray, deviations: NDArray, shared: SharedErrors
    ) -> None:
        """Add parts of cells.

        area, weight : area and homes of each part, shape (N,); cell_id : whole number of its cell in the grid
        deviations : of the chance not to fail; shared : what it has in common with other cells
        """
        # A chance of 0 or 100 % that stays so 3 dB up and down moves with no draw.
        sure = np.isinf(deviations)
        failing = sure & (deviations < 0)
        self.mean += np.bincount(area[failing], weight[failing], minlength=len(self.mean))[:, None]
        drawn = np.flatnonzero(~sure & (weight > 0))
        common = np.ascontiguousarray(shared.common[:, drawn])
        cell_variance = self._variance(shared.cell[:, drawn])
        _add_draws(
            area[drawn].astype(np.int64),
            cell_id[drawn].astype(np.int64),
            weight[drawn].astype(np.float64),
            deviations[drawn].astype(np.float64),
            np.ascontiguousarray(shared.group[:, drawn]),
            common,
            np.sqrt(cell_variance),
            np.sqrt(np.maximum(1.0 - cell_variance - self._variance(common), LEAST_REST**2)),
            self._errors,
            self._normals,
            self.mean,
            self.variance,
        )

    def _variance(self, parts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the variance of a sum of parts, shape (3, N), correlated as two paths to one home."""
        apart, together = (parts**2).sum(axis=0), parts.sum(axis=0) ** 2
        return (1.0 - self._home_correlation) * apart + self._home_correlation * together

    def ranges(self, expected: NDArray) -> tuple[NDArray, NDArray]:
        """Return low and high of the 80 % range of each area; the expected number lies inside."""
        counts = _whole_homes(self.mean, self.variance)
        low, high = np.quantile(counts, (LOW_SHARE, HIGH_SHARE), axis=1)
        # Draws are of whole homes: a small expected number may lie outside most of them.
        return np.minimum(low, expected), np.maximum(high, expected)


def _whole_homes(mean: NDArray, variance: NDArray) -> NDArray[np.float64]:
    """Return one drawn number of homes for each mean: binomial with that mean and about that variance."""
    # For a binomial variance/mean = 1 - p, so p and the number of tries follow from both.
    share = np.clip(1.0 - variance / np.maximum(mean, 1e-9), 1e-6, 1.0)
    tries = np.maximum(np.ceil(mean / share), 0.0)
    share = np.divide(mean, tries, out=np.zeros_like(mean), where=tries > 0)
    rng = np.random.default_rng(SEED + 2)
    return rng.binomial(tries.astype(np.int64), np.clip(share, 0.0, 1.0)).astype(np.float64)


def best_until(tier_chance_percent: NDArray, tier: int) -> NDArray:
    """Return the best chance of tiers 1 to `tier`, shape (N,), from chances of shape (7, N)."""
    return tier_chance_percent[: min(tier, TIER_NOT_PROMISED - 1)].max(axis=0)
