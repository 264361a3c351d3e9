"""80 % ranges of expected homes: one common error a mast and an error a cell, drawn again and again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

from covermap.constants import TIER_NOT_PROMISED
from covermap.propagation.compiling import kernel
from covermap.reception.normal import normal_share

COMMON_ERROR_DB = 4.0  # judgement: error all cells of one mast share (terrain, antenna and power as filed)
DRAWS = 400
SEED = 20261125
LOW_SHARE, HIGH_SHARE = 0.1, 0.9
NORMALS = 4096  # a table of them; a power of two
LEAST_REST_DB = 0.5  # keeps the draws finite where homes of a cell hardly differ
SHIFT_DB = 3.0  # of the rasters *_3db_weaker and *_3db_stronger
MASTS_A_CELL = 3  # the masts a cell depends on most


@dataclass(frozen=True)
class Spread:
    """Standard deviations of a prediction in dB: all of it, and the parts that cells share.

    common_db : shared by the cells of one mast; cell_db : shared by the homes of one cell
    """

    total_db: float
    common_db: float
    cell_db: float


def spread_of(run: dict[str, Any]) -> Spread | None:
    """Return the spread of a run's predictions; None where its record does not tell."""
    sigma = run.get("sigma_db")
    if not sigma:
        return None
    common_db = min(COMMON_ERROR_DB, sigma["prediction"])
    cell_db = math.sqrt(sigma["prediction"] ** 2 - common_db**2)
    return Spread(sigma["total"], common_db, cell_db)


def deviation(
    percent: NDArray, weaker: NDArray | None = None, stronger: NDArray | None = None, total_db: float = 1.0
) -> NDArray[np.float64]:
    """Return chances in whole percent as deviations of the normal distribution, shape (N,).

    weaker, stronger : the chances 3 dB down and up, 255 unknown. They tell how far a chance of 100 or
        0 % is from the edge; where they do not either, the deviation is infinite.
    """
    found = _deviation_of(percent)
    for shifted, shift_db in ((weaker, SHIFT_DB), (stronger, -SHIFT_DB)):
        if shifted is not None:
            beyond = np.isinf(found) & (shifted > 0) & (shifted < 100)
            found = np.where(beyond, _deviation_of(shifted) + shift_db / total_db, found)
    return found


def _deviation_of(percent: NDArray) -> NDArray[np.float64]:
    return ndtri(np.clip(np.asarray(percent, dtype=np.float64), 0.0, 100.0) / 100.0)


@dataclass(frozen=True, eq=False)
class MastShares:
    """The masts a cell's chance depends on most, and by what part; both of shape (3, N).

    A mast's level up by 1 dB moves the chance's deviation as `share` dB would.
    """

    mast: NDArray[np.int64]
    share: NDArray[np.float64]


def mast_shares(chance_percent: NDArray, mast: NDArray, masts: int, *, all_needed: bool) -> MastShares:
    """Return which masts the chance of all (or of any) services depends on.

    Parameters
    ----------
    chance_percent : of each service alone, shape (V, N), whole percent
    mast : that carries each service, shape (V, N)
    masts : how many there are
    all_needed : all services are needed: a mast's worst counts; else any suffices: its best counts

    For independent masts the chance P of all is the product of Phi(z) over the masts' worst services. Its
    slope by one mast's level is P phi(z) / Phi(z), and phi(Z) is the slope of P = Phi(Z). None received is
    the product for the negative of the best ones.
    """
    sure = np.clip(np.asarray(chance_percent, dtype=np.float64), 0.25, 99.75)  # rounded to whole percent
    z = ndtri(sure / 100.0) * (1.0 if all_needed else -1.0)
    log_chance = np.zeros((masts, z.shape[1]))
    slope = np.zeros((max(masts, MASTS_A_CELL), z.shape[1]))
    for number in range(masts):
        worst = np.where(mast == number, z, np.inf).min(axis=0)
        here = np.isfinite(worst)
        log_chance[number, here] = log_ndtr(worst[here])
        slope[number, here] = np.exp(-0.5 * worst[here] ** 2 - log_chance[number, here])
    chance = np.exp(log_chance.sum(axis=0))
    whole = np.exp(-0.5 * ndtri(np.clip(chance, 1e-12, 1.0 - 1e-12)) ** 2)
    slope *= chance / whole
    order = np.argsort(-slope, axis=0, kind="stable")[:MASTS_A_CELL]
    share = np.take_along_axis(slope, order, axis=0)
    share /= np.maximum(np.sqrt((share**2).sum(axis=0)), 1.0)
    return MastShares(np.minimum(order, masts - 1), share)


def common_errors_db(masts: int, common_db: float) -> NDArray[np.float64]:
    """Return the error of each mast in each draw, shape (DRAWS, masts), the same ones every time.

    A mast's errors are the middles of DRAWS equal parts of the normal distribution in random order, so
    that their spread is exact.
    """
    levels = common_db * ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
    rng = np.random.default_rng(SEED)
    return np.stack([rng.permutation(levels) for _ in range(masts)], axis=1)


@kernel
def _normal_index(cell, draw):
    """Return which normal of the table a cell gets in a draw; the same for every area that holds it."""
    mixed = cell * 6364136223846793005 + draw * 1442695040888963407
    mixed ^= mixed >> 29
    mixed *= -4658895280553007687
    mixed ^= mixed >> 32
    return mixed & (NORMALS - 1)


@kernel
def _add_draws(area, cell, weight, level_db, mast, share, cell_db, rest_db, errors_db, normals, mean, spread):
    """Add each part's homes that fail, and their binomial variance, to mean and spread, (A, DRAWS)."""
    for part in range(area.size):
        for draw in range(errors_db.shape[0]):
            error_db = cell_db[part] * normals[_normal_index(cell[part], draw)]
            for number in range(mast.shape[0]):
                error_db += share[number, part] * errors_db[draw, mast[number, part]]
            failed = normal_share(-(level_db[part] + error_db) / rest_db[part])
            mean[area[part], draw] += weight[part] * failed
            spread[area[part], draw] += weight[part] * failed * (1.0 - failed)


class RangeTally:
    """Draws of how many homes fail, for P areas.

    The error of one home is split: common to a mast, common to a cell, its own. Over the draws a home's
    chance keeps its mean. Homes of a cell fail apart from each other once the shared errors are given.
    """

    def __init__(self, areas: int, masts: int, spread: Spread) -> None:
        self.spread = spread
        self.mean = np.zeros((areas, DRAWS))
        self.variance = np.zeros((areas, DRAWS))
        self._errors_db = common_errors_db(masts, spread.common_db)
        self._normals = np.random.default_rng(SEED + 1).standard_normal(NORMALS)

    def add(
        self, area: NDArray, cell_id: NDArray, weight: NDArray, deviations: NDArray, shares: MastShares
    ) -> None:
        """Add parts of cells.

        area, weight : area and homes of each part, shape (N,); cell_id : whole number of its cell in the grid
        deviations : of the chance not to fail; shares : the masts it depends on
        """
        sure = np.isinf(deviations)
        failing = sure & (deviations < 0)
        self.mean += np.bincount(area[failing], weight[failing], minlength=len(self.mean))[:, None]
        drawn = np.flatnonzero(~sure & (weight > 0))
        share = np.ascontiguousarray(shares.share[:, drawn])
        together = (share**2).sum(axis=0)
        cell_db = self.spread.cell_db * np.sqrt(together)
        shared_db2 = self.spread.common_db**2 * together + cell_db**2
        _add_draws(
            area[drawn].astype(np.int64),
            cell_id[drawn].astype(np.int64),
            weight[drawn].astype(np.float64),
            deviations[drawn] * self.spread.total_db,
            np.ascontiguousarray(shares.mast[:, drawn]),
            share,
            cell_db,
            np.sqrt(np.maximum(self.spread.total_db**2 - shared_db2, LEAST_REST_DB**2)),
            self._errors_db,
            self._normals,
            self.mean,
            self.variance,
        )

    def ranges(self, expected: NDArray) -> tuple[NDArray, NDArray]:
        """Return low and high of the 80 % range of each area; the expected number lies inside."""
        counts = _whole_homes(self.mean, self.variance)
        low, high = np.quantile(counts, (LOW_SHARE, HIGH_SHARE), axis=1)
        return np.minimum(low, expected), np.maximum(high, expected)


def _whole_homes(mean: NDArray, variance: NDArray) -> NDArray[np.float64]:
    """Return one drawn number of homes for each mean: binomial with that mean and about that variance."""
    share = np.clip(1.0 - variance / np.maximum(mean, 1e-9), 1e-6, 1.0)
    tries = np.maximum(np.ceil(mean / share), 0.0)
    share = np.divide(mean, tries, out=np.zeros_like(mean), where=tries > 0)
    rng = np.random.default_rng(SEED + 2)
    return rng.binomial(tries.astype(np.int64), np.clip(share, 0.0, 1.0)).astype(np.float64)


def best_until(tier_chance_percent: NDArray, tier: int) -> NDArray:
    """Return the best chance of tiers 1 to `tier`, shape (N,), from chances of shape (7, N)."""
    return tier_chance_percent[: min(tier, TIER_NOT_PROMISED - 1)].max(axis=0)
