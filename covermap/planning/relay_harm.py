"""Homes that a relay's signal would harm: stations on its channels and on the channels beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.reception.channels import overlapped_share, protection_ratio_db

# 47 CFR 73.623(c)(3): 15 dB where the wanted signal is strong, up to 23 dB at the threshold of 15.19 dB.
STRONG_CO_CHANNEL_DB, WEAK_CO_CHANNEL_DB = 15.0, 23.0


@dataclass(frozen=True)
class Neighbour:
    """A station whose channel a relay's overlaps, or beside it.

    station : its index
    overlap_db : 10 log of the share of the relay's power that falls into its channel, None beside it
    adjacent_db : protection against the relay beside it, None on its channel
    """

    station: int
    overlap_db: float | None
    adjacent_db: float | None


def neighbours_of(
    station_mhz: Sequence[float],
    station_width_mhz: Sequence[float],
    relay_mhz: Sequence[float],
    relay_width_mhz: float,
) -> tuple[Neighbour, ...]:
    """Return the stations whose channels the relay's overlap, then those one channel above or below.

    station_mhz, relay_mhz : centre frequencies, each with the width of its channel

    What lies on a channel or beside it, and the protection beside it: covermap.reception.channels.
    """
    found = []
    for index, (mhz, width_mhz) in enumerate(zip(station_mhz, station_width_mhz, strict=True)):
        share = overlapped_share(mhz, width_mhz, relay_mhz, relay_width_mhz)
        beside_db = protection_ratio_db(mhz, relay_mhz, width_mhz, 0.0, relay_width_mhz)
        if (share > 0.0).any():
            found.append(Neighbour(index, float(10.0 * np.log10(share.max())), None))
        elif not np.isnan(beside_db).all():
            found.append(Neighbour(index, None, float(np.nanmax(beside_db))))
    return tuple(sorted(found, key=lambda one: one.overlap_db is None))


def co_channel_protection_db(margin_db: NDArray) -> NDArray[np.float64]:
    """Return how far a wanted signal must stand above one on its channel, by its margin over the noise.

    Source: 47 CFR 73.623(c)(3) before 2024: 15 + 10 log(1 / (1 - 10^(-x/10))), x = S/N - 15.19 dB, with
    23 dB as its table's end. From memory; its table agrees at S/N 16 and 28 dB.
    """
    # at no margin the formula is infinite; its table ends at 23 dB
    above_db = np.maximum(np.asarray(margin_db, dtype=np.float64), 0.01)
    needed_db = STRONG_CO_CHANNEL_DB - 10.0 * np.log10(1.0 - 10.0 ** (-above_db / 10.0))
    return np.asarray(np.minimum(needed_db, WEAK_CO_CHANNEL_DB))


def harmed_cells(
    station_dbuvm: NDArray, needed_dbuvm: float, relay_dbuvm: NDArray, neighbour: Neighbour
) -> NDArray[np.bool_]:
    """Return the cells that receive a station now and would not beside a relay, shape (C, N).

    station_dbuvm : its field, shape (N,); needed_dbuvm : what a rooftop antenna needs of it
    relay_dbuvm : the unwanted field of each of C sites, shape (C, N)

    The antenna's rejection of the relay's direction is not counted: it errs towards harm.
    """
    served = station_dbuvm >= needed_dbuvm
    if neighbour.overlap_db is None:
        protection_db = np.full(station_dbuvm.shape, neighbour.adjacent_db, np.float64)
    else:
        protection_db = co_channel_protection_db(station_dbuvm - needed_dbuvm) + neighbour.overlap_db
    over_db = station_dbuvm - relay_dbuvm
    return served & (over_db < protection_db)
