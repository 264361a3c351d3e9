"""The chance that a plan suffices: one service, all services, or at least some of them."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.propagation.compiling import kernel
from covermap.reception.normal import LEAST, POINT, PRODUCT, WEIGHT, integral_points, normal_share


@kernel
def _multiply_mast(deviation, common_ratio, first, last, points):
    """Multiply the product by the share of homes that receive one mast's worst service, at each point."""
    if last - first == 1:
        alone, ratio = deviation[first], common_ratio[first]
        for point in range(points.shape[1]):
            points[PRODUCT, point] *= normal_share(alone + ratio * points[POINT, point])
        return
    points[LEAST, :] = math.inf
    for item in range(first, last):
        margin, ratio = deviation[item], common_ratio[item]
        for point in range(points.shape[1]):
            shifted = margin + ratio * points[POINT, point]
            points[LEAST, point] = shifted if shifted < points[LEAST, point] else points[LEAST, point]
    for point in range(points.shape[1]):
        points[PRODUCT, point] *= normal_share(points[LEAST, point])


@kernel
def _shares_nothing(common_ratio, first, last):
    """Return True where these services have nothing in common with the home's others."""
    for item in range(first, last):
        if common_ratio[item] > 0.0:
            return False
    return True


@kernel
def all_confidence(deviation, common_ratio, group_start, groups, points):
    """Return the chance that every service is received, 0 to 1.

    deviation : margin of each service in its own standard deviations, m / s_i, ordered by mast
    common_ratio : s_c / s_i of each service
    group_start : index of each mast's first service, and behind the last mast the number of services
    groups : number of masts. points : of integral_points

    Masts are independent given the home's common deviation z; on one mast the worst service decides.

    Source: integral of phi(z) product of normal_share(min((m + s_c z) / s_i)) dz, a one-factor model of
        our own, by Gauss-Hermite quadrature of 16 points.
    Accuracy: within 0.003 for s_c up to 3 s_i; 0.03 too low at s_c = 4.4 s_i.
    """
    fixed = 1.0
    varies = False
    for group in range(groups):
        first, last = group_start[group], group_start[group + 1]
        if _shares_nothing(common_ratio, first, last):
            worst = deviation[first]
            for item in range(first + 1, last):
                worst = min(worst, deviation[item])
            fixed *= normal_share(worst)
            continue
        if not varies:
            points[PRODUCT, :] = points[WEIGHT, :]
            varies = True
        _multiply_mast(deviation, common_ratio, first, last, points)
    if not varies:
        return fixed
    total = 0.0
    for point in range(points.shape[1]):
        total += points[PRODUCT, point]
    return fixed * total


@kernel
def _sort_downward(values, count):
    """Sort the first count values in place, greatest first."""
    for item in range(1, count):
        value = values[item]
        place = item
        while place > 0 and values[place - 1] < value:
            values[place] = values[place - 1]
            place -= 1
        values[place] = value


@kernel
def _add_mast(count_chance, needed, shares, services):
    """Convolve the chances of 0 to needed received services with those of one more mast, in place.

    shares : chance of each of the mast's services, greatest first; the j best arrive together with
        chance shares[j - 1] - shares[j]. The last count means needed or more.
    """
    for have in range(needed - 1, -1, -1):
        chance = count_chance[have]
        count_chance[have] = chance * (1.0 - shares[0])
        for brought in range(1, services + 1):
            exactly = shares[brought - 1]
            if brought < services:
                exactly -= shares[brought]
            count_chance[min(needed, have + brought)] += chance * exactly


@kernel
def _at_least_given(common, deviation, common_ratio, group_start, groups, needed, shares, count_chance):
    """Return the chance of at least needed services when the home's common deviation is given."""
    count_chance[: needed + 1] = 0.0
    count_chance[0] = 1.0
    for group in range(groups):
        first = group_start[group]
        services = group_start[group + 1] - first
        for item in range(services):
            shares[item] = normal_share(deviation[first + item] + common_ratio[first + item] * common)
        _sort_downward(shares, services)
        _add_mast(count_chance, needed, shares, services)
    return count_chance[needed]


@kernel
def at_least_confidence(deviation, common_ratio, group_start, groups, needed, points, shares, count_chance):
    """Return the chance that at least needed services are received, 0 to 1; arguments as all_confidence.

    shares, count_chance : work, needed + 1 values and one a service or more

    Source: as all_confidence; the masts' counts are added by convolution (Poisson-binomial).
    Accuracy: as all_confidence.
    """
    alone = _shares_nothing(common_ratio, 0, group_start[groups])
    total = 0.0
    for point in range(1 if alone else points.shape[1]):
        common = 0.0 if alone else points[POINT, point]
        chance = _at_least_given(
            common, deviation, common_ratio, group_start, groups, needed, shares, count_chance
        )
        total += chance if alone else points[WEIGHT, point] * chance
    return total


@kernel
def needed_confidence(deviation, common_ratio, group_start, groups, needed, points, shares, count_chance):
    """Return the chance of at least needed services, by whichever way is quickest.

    At least one arrives unless all fail, which is all_confidence of the opposite margins: the common
    deviation is symmetric.
    """
    services = group_start[groups]
    if 1 < needed < services:
        return at_least_confidence(
            deviation, common_ratio, group_start, groups, needed, points, shares, count_chance
        )
    sign = 1.0 if needed == services else -1.0
    for item in range(services):
        shares[item] = sign * deviation[item]
    chance = all_confidence(shares, common_ratio, group_start, groups, points)
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
    return float(
        needed_confidence(
            (margins / own_sd)[order],
            (common_sd / own_sd)[order],
            group_start,
            group_start.size - 1,
            needed,
            integral_points(),
            np.empty(margins.size),
            np.empty(margins.size + 1),
        )
    )


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
