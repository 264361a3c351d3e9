"""Which stations stand on a channel or beside it, and how far a wanted one must stand above them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.reception.signals import StationFacts

# Protection ratios of a channel below and above, wanted over unwanted: 47 CFR 73.620 (before 2024
# 73.623(c)(2)), from memory. On the channel itself the required C/N counts.
LOWER_ADJACENT_DB, UPPER_ADJACENT_DB = -28.0, -26.0
# Share of a channel that may lie over the next one's edge: filed centres lie up to 0.17 MHz off their raster,
# and the signal leaves as much free at each edge of the channel (common practice, no source).
EDGE_SHARE = 0.05


def overlapped_share(
    wanted_mhz: ArrayLike, wanted_width_mhz: ArrayLike, unwanted_mhz: ArrayLike, unwanted_width_mhz: ArrayLike
) -> NDArray[np.float64]:
    """Return how much of an unwanted channel, and so of its power, lies in a wanted one, 0 to 1.

    Centres and widths in MHz, of shapes that go together. Up to 0.05 is the edge of a channel beside: 0.
    """
    half_mhz = 0.5 * np.asarray(wanted_width_mhz), 0.5 * np.asarray(unwanted_width_mhz)
    low_mhz = np.maximum(np.asarray(wanted_mhz) - half_mhz[0], np.asarray(unwanted_mhz) - half_mhz[1])
    high_mhz = np.minimum(np.asarray(wanted_mhz) + half_mhz[0], np.asarray(unwanted_mhz) + half_mhz[1])
    share = (high_mhz - low_mhz) / np.asarray(unwanted_width_mhz)
    return np.where(share > EDGE_SHARE, np.minimum(share, 1.0), 0.0)


def on_one_channel(facts: StationFacts) -> NDArray[np.bool_]:
    """Return for each station (S, S) whether another one's channel is its own or overlaps it."""
    mhz, width_mhz = np.asarray(facts.frequency_mhz), np.asarray(facts.bandwidth_mhz)
    return overlapped_share(mhz[:, None], width_mhz[:, None], mhz, width_mhz) > 0.0


def protection_ratio_db(
    wanted_mhz: float,
    unwanted_mhz: ArrayLike,
    bandwidth_mhz: float,
    required_cn_db: float,
    unwanted_bandwidth_mhz: ArrayLike | None = None,
) -> NDArray[np.float64]:
    """Return the protection ratio against stations on the channel or beside it, NaN farther off. [dB]

    bandwidth_mhz : of the wanted station, and of the other ones where that is not given

    Source: on the channel the required C/N, of the part of the unwanted power that falls into it; beside it
        47 CFR 73.620 (before 2024 73.623(c)(2)), from memory.
    """
    width_mhz = np.asarray(bandwidth_mhz if unwanted_bandwidth_mhz is None else unwanted_bandwidth_mhz)
    share = overlapped_share(wanted_mhz, bandwidth_mhz, unwanted_mhz, width_mhz)
    apart_mhz = np.asarray(unwanted_mhz) - wanted_mhz
    beside = np.abs(apart_mhz) - 0.5 * (bandwidth_mhz + width_mhz) < 0.5 * bandwidth_mhz
    beside_db = np.where(apart_mhz < 0.0, LOWER_ADJACENT_DB, UPPER_ADJACENT_DB)
    with np.errstate(divide="ignore"):
        on_channel_db = required_cn_db + 10.0 * np.log10(share)
    return np.where(share > 0.0, on_channel_db, np.where(beside, beside_db, math.nan))
