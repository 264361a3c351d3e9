"""Homes that a relay's signal would harm: stations on its channels and on the channels beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SAME_CHANNEL_MHZ = 0.3  # filed centres lie up to 0.17 MHz off the raster
LOWER_ADJACENT_DB, UPPER_ADJACENT_DB = -28.0, -26.0  # 47 CFR 73.623(c)(2), since 2024 73.620; not opened
# 47 CFR 73.623(c)(3): 15 dB where the wanted signal is strong, up to 23 dB at the threshold of 15.19 dB.
STRONG_CO_CHANNEL_DB, WEAK_CO_CHANNEL_DB = 15.0, 23.0


@dataclass(frozen=True)
class Neighbour:
    """A station on a relay's channel or beside it.

    station : its index; adjacent_db : protection against the relay, None on the same channel
    """

    station: int
    adjacent_db: float | None


def neighbours_of(
    station_mhz: Sequence[float], relay_mhz: Sequence[float], width_mhz: float
) -> tuple[Neighbour, ...]:
    """Return the stations on the relay's channels, then those one channel above or below.

    station_mhz, relay_mhz : centre frequencies; width_mhz : of a channel
    """
    found = []
    for index, frequency_mhz in enumerate(station_mhz):
        away_mhz = np.asarray(relay_mhz) - frequency_mhz
        if (np.abs(away_mhz) <= SAME_CHANNEL_MHZ).any():
            found.append(Neighbour(index, None))
        elif (np.abs(away_mhz - width_mhz) <= SAME_CHANNEL_MHZ).any():
            found.append(Neighbour(index, UPPER_ADJACENT_DB))
        elif (np.abs(away_mhz + width_mhz) <= SAME_CHANNEL_MHZ).any():
            found.append(Neighbour(index, LOWER_ADJACENT_DB))
    return tuple(sorted(found, key=lambda one: one.adjacent_db is not None))


def co_channel_protection_db(margin_db: NDArray) -> NDArray[np.float64]:
    """Return how far a wanted signal must stand above one on its channel, by its margin over the noise.

    Source: 47 CFR 73.623(c)(3) before 2024: 15 + 10 log(1 / (1 - 10^(-x/10))), x = S/N - 15.19 dB, with
    23 dB as its table's end. From memory; its table agrees at S/N 16 and 28 dB.
    """
    above_db = np.maximum(np.asarray(margin_db, dtype=np.float64), 0.01)
    needed_db = STRONG_CO_CHANNEL_DB - 10.0 * np.log10(1.0 - 10.0 ** (-above_db / 10.0))
    return np.asarray(np.minimum(needed_db, WEAK_CO_CHANNEL_DB))


def harmed_cells(
    station_dbuvm: NDArray, needed_dbuvm: float, relay_dbuvm: NDArray, adjacent_db: float | None
) -> NDArray[np.bool_]:
    """Return the cells that receive a station now and would not beside a relay, shape (C, N).

    station_dbuvm : its field, shape (N,); needed_dbuvm : what a rooftop antenna needs of it
    relay_dbuvm : the unwanted field of each of C sites, shape (C, N); adjacent_db : as in Neighbour

    The antenna's rejection of the relay's direction is not counted: it errs towards harm.
    """
    served = station_dbuvm >= needed_dbuvm
    protection_db = co_channel_protection_db(station_dbuvm - needed_dbuvm)
    if adjacent_db is not None:
        protection_db = np.full(station_dbuvm.shape, adjacent_db)
    over_db = station_dbuvm - relay_dbuvm
    return served & (over_db < protection_db)
