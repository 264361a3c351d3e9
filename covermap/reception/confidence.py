"""The chance that a plan suffices: one service, all services, or at least some of them."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.propagation.compiling import lean_kernel
from covermap.reception.normal import LEAST, POINT, PRODUCT, WEIGHT, integral_points, normal_share

# Rows of the work arrays of one home: values (VALUE_ROWS, services + 1 or more), services of one mast side
# by side. They are passed whole: a view of a row costs more than the sums over it.
CLEAR_DB = 0  # of a transmitter: margin at its own bearing; -inf where it is unknown
BEARING_DEG = 1
MARGIN_DB = 2  # at the aim
TOTAL_DEVIATION = 3  # the same in total standard deviations
DEVIATION = 4  # of a service: margin in its own standard deviations, m / s_i
COMMON_PART = 5  # s_c / s_i
SHARE = 6
COUNT_CHANCE = 7
UPPER_DB = 8  # of a transmitter: margin that no aim exceeds
INTERFERENCE_DB = 9  # at the aim: what interference takes from its margin, network stations' help against it
OWN_INVERSE_AIMED = 10  # at the aim: 1 / s_i and s_c / s_i, interference included
COMMON_RATIO_AIMED = 11
VALUE_ROWS = 12

# Rows of the whole numbers that go with them.
GROUP_START = 0  # index of each mast's first service; behind the last mast the number of services
CHOSEN = 1  # transmitter of each service
INDEX_ROWS = 2


@lean_kernel
def _shares_something(first, last, values):
    """Return True where one of these services has something in common with the home's others."""
    for item in range(first, last):
        if values[COMMON_PART, item] > 0.0:
            return True
    return False


@lean_kernel
def _multiply_mast(sign, first, last, values, points):
    """Multiply the product by the share of homes that receive one mast's worst service, at each point."""
    for item in range(first, last):
        deviation, common = sign * values[DEVIATION, item], values[COMMON_PART, item]
        for point in range(points.shape[1]):
            shifted = deviation + common * points[POINT, point]
            least = shifted if item == first or shifted < points[LEAST, point] else points[LEAST, point]
            points[LEAST, point] = least
    for point in range(points.shape[1]):
        points[PRODUCT, point] *= normal_share(points[LEAST, point])


@lean_kernel
def all_confidence(sign, groups, values, index, points):
    """Return the chance that every service is received, 0 to 1.

    sign : 1, or -1 for the chance that every service fails
    groups : number of masts. values, index : rows DEVIATION, COMMON_PART and GROUP_START filled
    points : of integral_points

    Masts are independent given the home's common deviation z; on one mast the worst service decides.

    Source: integral of phi(z) product of normal_share(min((m + s_c z) / s_i)) dz, a one-factor model of
        our own, by Gauss-Hermite quadrature of 16 points.
    Accuracy: within 0.003 for s_c up to 3 s_i; 0.03 too low at s_c = 4.4 s_i.
    """
    fixed = 1.0
    varies = False
    for group in range(groups):
        first, last = index[GROUP_START, group], index[GROUP_START, group + 1]
        if not _shares_something(first, last, values):
            worst = sign * values[DEVIATION, first]
            for item in range(first + 1, last):
                deviation = sign * values[DEVIATION, item]
                worst = deviation if deviation < worst else worst
            fixed *= normal_share(worst)
            continue
        if not varies:
            for point in range(points.shape[1]):
                points[PRODUCT, point] = points[WEIGHT, point]
            varies = True
        _multiply_mast(sign, first, last, values, points)
    if not varies:
        return fixed
    total = 0.0
    for point in range(points.shape[1]):
        total += points[PRODUCT, point]
    return fixed * total


@lean_kernel
def _fill_shares_downward(common, first, last, values):
    """Fill row SHARE with one mast's chances at a common deviation, greatest first."""
    for item in range(first, last):
        share = normal_share(values[DEVIATION, item] + values[COMMON_PART, item] * common)
        place = item - first
        while place > 0 and values[SHARE, place - 1] < share:
            values[SHARE, place] = values[SHARE, place - 1]
            place -= 1
        values[SHARE, place] = share


@lean_kernel
def _add_mast(services, needed, values):
    """Convolve the chances of 0 to needed received services with those of one more mast, in place.

    The j best of the mast's services arrive together with chance share[j - 1] - share[j] (row SHARE). The
    last count means needed or more.
    """
    for have in range(needed - 1, -1, -1):
        chance = values[COUNT_CHANCE, have]
        values[COUNT_CHANCE, have] = chance * (1.0 - values[SHARE, 0])
        for brought in range(1, services + 1):
            exactly = values[SHARE, brought - 1]
            if brought < services:
                exactly -= values[SHARE, brought]
            values[COUNT_CHANCE, min(needed, have + brought)] += chance * exactly


@lean_kernel
def at_least_confidence(needed, groups, values, index, points):
    """Return the chance that at least needed services are received, 0 to 1; arguments as all_confidence.

    Source: as all_confidence; the masts' counts are added by convolution (Poisson-binomial).
    Accuracy: as all_confidence.
    """
    sharing = _shares_something(0, index[GROUP_START, groups], values)
    total = 0.0
    for point in range(points.shape[1] if sharing else 1):
        common = points[POINT, point] if sharing else 0.0
        values[COUNT_CHANCE, 0] = 1.0
        for count in range(1, needed + 1):
            values[COUNT_CHANCE, count] = 0.0
        for group in range(groups):
            first, last = index[GROUP_START, group], index[GROUP_START, group + 1]
            _fill_shares_downward(common, first, last, values)
            _add_mast(last - first, needed, values)
        total += (points[WEIGHT, point] if sharing else 1.0) * values[COUNT_CHANCE, needed]
    return total


@lean_kernel
def needed_confidence(needed, groups, values, index, points):
    """Return the chance of at least needed services, by whichever way is quickest.

    At least one arrives unless all fail, and the common deviation is symmetric.
    """
    services = index[GROUP_START, groups]
    if 1 < needed < services:
        return at_least_confidence(needed, groups, values, index, points)
    sign = 1.0 if needed == services else -1.0
    chance = all_confidence(sign, groups, values, index, points)
    return chance if needed == services else 1.0 - chance


def joint_confidence(
    margins_db: ArrayLike,
    sd_db: ArrayLike,
    mast: Sequence[Hashable] | NDArray,
    common_sd_db: ArrayLike,
    at_least: int | None = None,
) -> float:
    """Chance that one plan brings all services of a list, or at least some number of them.

    Parameters
    ----------
    margins_db : array_like, shape (services,)
        C/N minus required C/N, median. [dB]
    sd_db : array_like, shape (services,)
        Standard deviation of each service's own path, without what the home's services share. [dB]
    mast : sequence of labels, shape (services,)
        Services with equal labels stand on one structure: there the worst service decides.
    common_sd_db : float or array_like, shape (services,)
        Standard deviation of what the home's services share (entry loss, noise). [dB]
    at_least : int, optional
        How many services must arrive; None means all.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    InputError
        If the arrays differ in length or are empty, a margin is NaN, a standard deviation is out of
        range, or at_least is not from 1 to the number of services.

    References
    ----------
    Gauss-Hermite quadrature, 16 points; normal distribution: Abramowitz and Stegun 7.1.28.
    """
    margins = np.atleast_1d(np.asarray(margins_db, dtype=np.float64))
    own_sd, common_sd = _checked_spreads(margins, sd_db, common_sd_db)
    order, group_start = _by_mast(mast, margins.size)
    needed = _checked_needed(at_least, margins.size)
    values = np.empty((VALUE_ROWS, margins.size + 1))
    values[DEVIATION, :-1] = (margins / own_sd)[order]
    values[COMMON_PART, :-1] = (common_sd / own_sd)[order]
    index = np.zeros((INDEX_ROWS, group_start.size), dtype=np.int64)
    index[GROUP_START] = group_start
    return float(needed_confidence(needed, group_start.size - 1, values, index, integral_points()))


def confidence_bounds(chances: ArrayLike) -> tuple[float, float]:
    """Return the elementary bounds of the chance that all services arrive, from each one's own chance.

    chances : 0 to 1, one a service. The bounds hold whatever the services share:
    max(0, sum - (n - 1)) and the least (Frechet's inequalities).
    """
    each = np.atleast_1d(np.asarray(chances, dtype=np.float64))
    return max(0.0, float(each.sum()) - (each.size - 1)), float(each.min())


def _checked_spreads(
    margins: NDArray[np.float64], sd_db: ArrayLike, common_sd_db: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if margins.ndim != 1 or margins.size == 0:
        raise InputError(f"margins_db must hold one value a service, got an array of shape {margins.shape}.")
    if np.any(np.isnan(margins)):
        raise InputError(f"margins_db is NaN at index {int(np.argmax(np.isnan(margins)))}: leave it out.")
    try:
        own_sd = np.broadcast_to(np.asarray(sd_db, dtype=np.float64), margins.shape)
        common_sd = np.broadcast_to(np.asarray(common_sd_db, dtype=np.float64), margins.shape)
    except ValueError as error:
        raise InputError(
            f"sd_db {np.shape(sd_db)} and common_sd_db {np.shape(common_sd_db)} must be one value or one "
            f"a service, as margins_db {margins.shape}."
        ) from error
    if not np.all((own_sd > 0.0) & np.isfinite(own_sd)):
        raise InputError(f"sd_db must be greater than 0 and finite, got {own_sd.tolist()}.")
    if not np.all((common_sd >= 0.0) & np.isfinite(common_sd)):
        raise InputError(f"common_sd_db must be 0 or more and finite, got {common_sd.tolist()}.")
    return own_sd, common_sd


def _by_mast(mast: Sequence[Hashable] | NDArray, services: int) -> tuple[NDArray[np.intp], NDArray[np.int64]]:
    """Return the order that puts each mast's services together, and where each mast begins."""
    labels = list(mast)
    if len(labels) != services:
        raise InputError(f"mast must hold one label a service: got {len(labels)} for {services} margins.")
    numbers = {label: number for number, label in enumerate(dict.fromkeys(labels))}
    number = np.array([numbers[label] for label in labels])
    counts = np.bincount(number)
    return np.argsort(number, kind="stable"), np.concatenate(([0], np.cumsum(counts))).astype(np.int64)


def _checked_needed(at_least: int | None, services: int) -> int:
    if at_least is None:
        return services
    if at_least != int(at_least) or not 1 <= at_least <= services:
        raise InputError(f"at_least must be a whole number from 1 to {services}, got {at_least}.")
    return int(at_least)
