"""Woodland in front of an antenna: what it takes, and what of that its leaves take."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError


class Foliage(NamedTuple):
    """Woodland at some frequencies, each an array (n,), increasing frequencies.

    gamma_db_per_m : loss of a metre of wood in leaf, at its first metres
    greatest_db : what any length of wood takes at most, the signal then coming over and around it
    leaf_share : the part of the loss that is gone without leaves, 0 to 1
    """

    frequency_mhz: NDArray[np.float64]
    gamma_db_per_m: NDArray[np.float64]
    greatest_db: NDArray[np.float64]
    leaf_share: NDArray[np.float64]


def woodland_loss_db(foliage: Foliage, frequency_mhz: float, length_m: ArrayLike) -> NDArray[np.float64]:
    """Return what a stretch of wood in leaf takes from a path that ends in it or close behind it.

    Parameters
    ----------
    foliage : Foliage
        Read by covermap.tables.foliage; between its frequencies powers of the frequency, beyond them too.
    frequency_mhz : float
        Above 0. [MHz]
    length_m : array_like
        Of the stretch, 0 or more. [m]

    Returns
    -------
    ndarray of float64
        Loss above that of the same path without the wood. [dB]

    Raises
    ------
    InputError
        If frequency_mhz is not above 0 or a length is negative.

    References
    ----------
    ITU-R P.833, terrestrial path with one terminal in woodland: A = Am (1 - exp(-d gamma / Am)).
    """
    length_m = np.asarray(length_m, dtype=np.float64)
    if not frequency_mhz > 0.0:
        raise InputError(f"frequency_mhz must be greater than 0, got {frequency_mhz}.")
    if np.any(length_m < 0.0):
        raise InputError(f"length_m must be 0 or more, got {length_m.min()}.")
    gamma = _at(foliage, foliage.gamma_db_per_m, frequency_mhz)
    greatest_db = _at(foliage, foliage.greatest_db, frequency_mhz)
    return greatest_db * (1.0 - np.exp(-length_m * gamma / greatest_db))


def leaf_loss_db(foliage: Foliage, frequency_mhz: float, length_m: ArrayLike) -> NDArray[np.float64]:
    """Return what a stretch of wood takes more in leaf than without leaves, in dB; as woodland_loss_db."""
    share = np.interp(np.log(frequency_mhz), np.log(foliage.frequency_mhz), foliage.leaf_share)
    return share * woodland_loss_db(foliage, frequency_mhz, length_m)


def _at(foliage: Foliage, values: NDArray[np.float64], frequency_mhz: float) -> float:
    """Return a value at a frequency, a power of it between two of the table and beyond its ends."""
    x, y = np.log(foliage.frequency_mhz), np.log(values)
    place = int(np.clip(np.searchsorted(x, np.log(frequency_mhz)) - 1, 0, x.size - 2))
    slope = (y[place + 1] - y[place]) / (x[place + 1] - x[place])
    return float(np.exp(y[place] + slope * (np.log(frequency_mhz) - x[place])))
