"""The chance that one plan brings all services of a list, or some of them: for someone at a Python prompt."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.reception.confidence import (
    DEVIATION,
    FARTHEST,
    GROUP_START,
    HOME_PART,
    INDEX_ROWS,
    SITE_PART,
    VALUE_ROWS,
    needed_confidence,
)
from covermap.reception.normal import integral_points
from covermap.reception.options import HOME_CORRELATION, SITE_CORRELATION

MOST_AT_HOME = 0.95  # a home's part above this would leave services nothing of their own


def joint_confidence(
    margins_db: ArrayLike,
    sd_db: ArrayLike,
    site: Sequence[Hashable] | NDArray,
    common_sd_db: ArrayLike,
    at_least: int | None = None,
    band: Sequence[Hashable] | NDArray | None = None,
    *,
    home_correlation: float = HOME_CORRELATION,
    site_correlation: float = SITE_CORRELATION,
) -> float:
    """Chance that one plan brings all services of a list, or at least some number of them.

    Parameters
    ----------
    margins_db : array_like, shape (services,)
        C/N minus required C/N, median. [dB]
    sd_db : array_like, shape (services,)
        Standard deviation of each service's path, without building entry and noise. [dB]
    site : sequence of labels, shape (services,)
        Services with equal labels stand at one site.
    common_sd_db : float or array_like, shape (services,)
        Standard deviation of what the home's services share besides (entry loss, noise). [dB]
    at_least : int, optional
        How many services must arrive; None means all.
    band : sequence of labels, shape (services,), optional
        Services of one site and one band share more than those of one site; None: all of one band.
    home_correlation, site_correlation : float
        Correlation of two paths' deviations at a receiver: of any two, and of two from one site in one band.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    InputError
        If the arrays differ in length or are empty, a margin is NaN, a standard deviation or a correlation is
        out of range, or at_least is not from 1 to the number of services.

    References
    ----------
    A factor model of our own; the worst, second worst, ... of one site and band as normal deviations: Clark,
    Operations Research 9 (1961); between them Gauss-Hermite quadrature of 8 points. Normal distribution:
    Abramowitz and Stegun 7.1.28. Within 0.01 of the model's own integrals, 0.02 where
    site_correlation is under 0.3 more than home_correlation.
    """
    margins = np.atleast_1d(np.asarray(margins_db, dtype=np.float64))
    own_sd, common_sd = _checked_spreads(margins, sd_db, common_sd_db)
    require_correlations(home_correlation, site_correlation)
    bands = [""] * margins.size if band is None else list(band)
    order, group_start = _by_label(
        _checked_labels(site, "site", margins), _checked_labels(bands, "band", margins)
    )
    needed = _checked_needed(at_least, margins.size)
    apart_sd = own_sd * math.sqrt(1.0 - home_correlation)
    home_sd = np.sqrt(home_correlation * own_sd * own_sd + common_sd * common_sd)
    values = np.zeros((VALUE_ROWS + margins.size, margins.size + 1))
    values[DEVIATION, :-1] = np.clip(margins / apart_sd, -FARTHEST, FARTHEST)[order]
    values[HOME_PART, :-1] = (home_sd / apart_sd)[order]
    values[SITE_PART, :-1] = site_part(home_correlation, site_correlation)
    index = np.zeros((INDEX_ROWS, group_start.size), dtype=np.int64)
    index[GROUP_START] = group_start
    return float(needed_confidence(needed, group_start.size - 1, values, index, integral_points()))


def site_part(home_correlation: float, site_correlation: float) -> float:
    """Return the part of a path's deviation without the home's that its site and band share, 0 to 1."""
    return math.sqrt((site_correlation - home_correlation) / (1.0 - home_correlation))


def require_correlations(home_correlation: float, site_correlation: float) -> None:
    """Refuse correlations that no paths can have; see joint_confidence."""
    if not 0.0 <= home_correlation <= MOST_AT_HOME:
        raise InputError(f"home_correlation must be from 0 to {MOST_AT_HOME:g}, got {home_correlation:g}.")
    if not home_correlation <= site_correlation <= 1.0:
        raise InputError(
            f"site_correlation must be from home_correlation ({home_correlation:g}) to 1, got "
            f"{site_correlation:g}: paths from one site have in common what all paths to a home have."
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


def _checked_labels(
    labels: Sequence[Hashable] | NDArray, name: str, margins: NDArray[np.float64]
) -> list[Hashable]:
    given = list(labels)
    if len(given) != margins.size:
        raise InputError(
            f"{name} must hold one label a service: got {len(given)} for {margins.size} margins."
        )
    return given


def _by_label(site: list[Hashable], band: list[Hashable]) -> tuple[NDArray[np.intp], NDArray[np.int64]]:
    """Return the order that puts the services of each site and band together, and where each group begins."""
    pairs = list(zip(site, band, strict=True))
    numbers = {pair: number for number, pair in enumerate(dict.fromkeys(pairs))}
    number = np.array([numbers[pair] for pair in pairs])
    counts = np.bincount(number)
    return np.argsort(number, kind="stable"), np.concatenate(([0], np.cumsum(counts))).astype(np.int64)


def _checked_needed(at_least: int | None, services: int) -> int:
    if at_least is None:
        return services
    if at_least != int(at_least) or not 1 <= at_least <= services:
        raise InputError(f"at_least must be a whole number from 1 to {services}, got {at_least}.")
    return int(at_least)
