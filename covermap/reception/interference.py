"""What other transmitters on a channel, or beside it, do to each wanted one."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
from covermap.reception.bands import band_of
from covermap.reception.budget import (
    CN_DB,
    CROSS_DB,
    FLOOR_DB,
    NEED_DBUVM,
    OVER_NOISE_0_DB,
    WantedTransmitters,
    antenna_power_db,
)
from covermap.reception.channels import protection_ratio_db
from covermap.reception.confidence import APART_INVERSE, CLEAR_DB, OWN_DB, TAKEN_DB, UPPER_DB
from covermap.reception.distinct import distinct_rows
from covermap.reception.mount import mount_losses_db
from covermap.reception.options import ReceptionOptions
from covermap.reception.pattern import (
    HORIZONTAL,
    VERTICAL,
    cross_polar_loss_db,
    lobe_floor_db,
    lobe_rolloff,
)
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import Tier

# Rows of the figures of a tier, one column a station (all stations of the file), as what disturbs.
OTHER_POWER_DB = 0  # power at the antenna's terminals = field + this, in dB, as OVER_NOISE_0_DB counts it
OTHER_ROLLOFF = 1
OTHER_FLOOR_DB = 2
OTHER_CROSS_DB = 3  # at a horizontal mount; the next row: at a vertical one
OTHER_FIGURES = 5

# What a pair is at a receiver: row ROLE of PairArrays.values. One of a network adds inside the window, and
# interferes outside it.
SILENT, INTERFERES, NETWORK = 0.0, 1.0, 2.0

# Rows of PairArrays.values, one column a pair.
ROLE = 0
PAIR_BEARING_DEG = 1
OVER_NOISE_DB = 2  # at a tier: as interference, over noise
OVER_NEED_DB = 3  # at a tier, of a network: as signal, over the field that gives margin 0
ARRIVES_US = 4  # of a network: after the wanted transmitter's signal
HARM = 5  # at a plan: power as interference, over noise
HELP = 6  # at a plan, of a network: power as signal, over the need
PAIR_ROWS = 7

FAINTEST_DB = -20.0  # over noise: fainter interference costs under 0.05 dB
SURE_DEVIATIONS = 2.7  # one receiver site in 300
BESIDE_DB = 10.0  # farther down, a pair does not count beside another one either


class Pairs(NamedTuple):
    """The P pairs of a wanted transmitter and another station that can disturb or join it, by transmitter.

    start : (W + 1,), where each transmitter's pairs begin
    station, mast : (P,), of the other station
    shared : (P,), of the wanted one's site and band: both rise and fall together
    alike : (P,), at its position, in its band and polarization too: one aim treats both alike
    network : (P,), both in one single-frequency network; window_us : within which it adds up
    later_us : (P,), how much later the other one sends
    ratio_db : (P,), protection ratio less the required C/N
    spare : (P,), a margin left over interference, aimed alike, in s_i of the wanted path: what the
        interference then takes is lost at one receiver site of 300
    harmless_db : (L, P), a wanted field by this above the other one at every height has nothing to fear with
        any tier, by the level of its spread
    """

    start: NDArray[np.int64]
    station: NDArray[np.int64]
    mast: NDArray[np.int64]
    shared: NDArray[np.bool_]
    alike: NDArray[np.bool_]
    network: NDArray[np.bool_]
    window_us: NDArray[np.float64]
    later_us: NDArray[np.float64]
    ratio_db: NDArray[np.float64]
    spare: NDArray[np.float64]
    harmless_db: NDArray[np.float64]


class PairArrays(NamedTuple):
    """Work arrays of the pairs at one receiver site.

    most_dbuvm : (S,), each station's greatest field of those two
    level_dbuvm, day_dbuvm : (H, P), the other station's field at the unwanted time percentage and at 50 %
    joined_dbuvm : (H, P), its field at the wanted time percentage
    window_start_us : (W,), where the window of the plan looked at begins, after the transmitter's own signal
    values : (PAIR_ROWS, P). touched : (W,), whether a transmitter has a pair that counts at the tier
    live : (W,), whether it has one that may count there; some : (1,), whether any transmitter has
    """

    most_dbuvm: NDArray[np.float64]
    level_dbuvm: NDArray[np.float64]
    day_dbuvm: NDArray[np.float64]
    joined_dbuvm: NDArray[np.float64]
    window_start_us: NDArray[np.float64]
    values: NDArray[np.float64]
    touched: NDArray[np.bool_]
    live: NDArray[np.bool_]
    some: NDArray[np.bool_]


def find_pairs(wanted: WantedTransmitters, facts: StationFacts, options: ReceptionOptions) -> Pairs:
    """Return the pairs of a wanted list; none of them is known to be harmless."""
    frequency_mhz, width_mhz, required_cn_db, window_us, delay_us = (
        np.asarray(values, np.float64)
        for values in (
            facts.frequency_mhz, facts.bandwidth_mhz, facts.required_cn_db, facts.window_us, facts.delay_us
        )
    )  # fmt: skip
    others, ratios_db, start = [], [], [0]
    for index in wanted.station:
        ratio_db = protection_ratio_db(
            frequency_mhz[index], frequency_mhz, width_mhz[index], required_cn_db[index], width_mhz
        )
        ratio_db[index] = math.nan
        beside = np.flatnonzero(~np.isnan(ratio_db))
        others.append(beside)
        ratios_db.append(ratio_db[beside])
        start.append(start[-1] + beside.size)
    own = np.repeat(np.asarray(wanted.station, np.int64), np.diff(start))
    other = np.concatenate([np.empty(0, np.int64), *others]).astype(np.int64)
    mast, polarization, network, site = (
        np.asarray(values, np.int64) for values in (facts.mast, facts.polarization, facts.network, facts.site)
    )
    band = np.array([band_of(mhz) for mhz in frequency_mhz.tolist()])
    shared = (site[other] == site[own]) & (band[other] == band[own])
    return Pairs(
        start=np.array(start, dtype=np.int64),
        station=other,
        mast=mast[other],
        shared=shared,
        alike=shared & (mast[other] == mast[own]) & (polarization[other] == polarization[own]),
        network=(network[own] >= 0) & (network[own] == network[other]),
        window_us=window_us[own],
        later_us=delay_us[other] - delay_us[own],
        ratio_db=np.concatenate([np.empty(0), *ratios_db]) - required_cn_db[own],
        spare=SURE_DEVIATIONS
        * np.sqrt(2.0 - 2.0 * np.where(shared, options.site_correlation, options.home_correlation)),
        harmless_db=np.full((1, other.size), np.inf),
    )


def with_harmless(
    pairs: Pairs,
    figures: NDArray[np.float64],
    spreads: NDArray[np.float64],
    other_figures: NDArray[np.float64],
) -> Pairs:
    """Return the pairs with the difference of fields from which on they have no effect with any installation.

    figures (K, J, U, FIGURES, W), spreads (K, J, U, W, L, SPREADS), other_figures (K, U, OTHER_FIGURES, S) of
    every kind of surroundings, each way antennas are joined and every installation looked at.
    """
    item = np.repeat(np.arange(pairs.start.size - 1), np.diff(pairs.start))
    harmless_db = np.full((spreads.shape[-2], item.size), -np.inf)
    for figure, spread, other in zip(figures, spreads, other_figures, strict=True):
        aside_db = figure[..., [FLOOR_DB, CROSS_DB, CROSS_DB + 1], :].max(axis=-2)
        over_db = (figure[..., NEED_DBUVM, :] + figure[..., OVER_NOISE_0_DB, :])[..., item]
        over_db += other[:, OTHER_POWER_DB, pairs.station]
        over_db += pairs.ratio_db + np.where(pairs.alike, 0.0, aside_db[..., item])
        own_db = spread[..., OWN_DB - APART_INVERSE].swapaxes(-1, -2)[..., item]
        most_db = (over_db[..., None, :] + pairs.spare * own_db).max(axis=(0, 1))
        np.maximum(harmless_db, most_db, out=harmless_db)
    harmless_db[:, pairs.network] = np.inf
    # in C's order: a kernel is compiled once for each order of each array
    return pairs._replace(harmless_db=harmless_db)


def pair_arrays(pairs: Pairs, heights: int) -> PairArrays:
    """Return empty work arrays for receiver sites."""
    count = pairs.station.size
    return PairArrays(
        np.empty(int(pairs.station.max(initial=-1)) + 1),
        np.empty((heights, count)),
        np.empty((heights, count)),
        np.empty((heights, count)),
        np.zeros(pairs.start.size - 1),
        np.zeros((PAIR_ROWS, count)),
        np.zeros(pairs.start.size - 1, np.bool_),
        np.zeros(pairs.start.size - 1, np.bool_),
        np.zeros(1, np.bool_),
    )


def other_figures(
    tiers: tuple[Tier, ...],
    facts: StationFacts,
    clutter_m: NDArray[np.float64],
    open_land: NDArray[np.bool_],
    options: ReceptionOptions,
) -> NDArray[np.float64]:
    """Return the figures of each kind of surroundings, tier and station, shape (K, T, OTHER_FIGURES, S)."""
    frequency_mhz = np.asarray(facts.frequency_mhz, np.float64)
    figures = np.empty((clutter_m.size, len(tiers), OTHER_FIGURES, frequency_mhz.size))
    sent, as_sent = distinct_rows(frequency_mhz, facts.polarization)
    for number, tier in enumerate(tiers):
        figures[:, number] = np.array([_as_interferer(tier, mhz, int(way)) for mhz, way in sent])[as_sent].T
    figures[:, :, OTHER_POWER_DB] -= mount_losses_db(
        tiers, frequency_mhz, clutter_m, open_land, options.building
    )
    return figures


def _as_interferer(tier: Tier, frequency_mhz: float, polarization: int) -> tuple[float, ...]:
    """Return the figures of a station as what disturbs with a tier's installation, at its mount."""
    antenna = tier.at(frequency_mhz)
    return (
        antenna_power_db(antenna, frequency_mhz),
        lobe_rolloff(antenna.beamwidth_deg),
        lobe_floor_db(antenna.beamwidth_deg, antenna.front_to_back_db),
        cross_polar_loss_db(HORIZONTAL, polarization, tier.cross_polar_db),
        cross_polar_loss_db(VERTICAL, polarization, tier.cross_polar_db),
    )


@lean_kernel
def farthest_aside_db(station, figures):
    """Return what an antenna takes at most from a station that disturbs, when it looks away, in dB."""
    most_db = figures[OTHER_FLOOR_DB, station]
    for mount in range(2):
        cross_db = figures[OTHER_CROSS_DB + mount, station]
        most_db = cross_db if cross_db > most_db else most_db
    return most_db


@lean_kernel
def set_pairs(wanted, by_day, height, wanted_figures, figures, pairs, values, work):
    """Fill what each pair can do at most with a tier's installation, and which transmitters are touched.

    wanted : where a service has several transmitters TAKEN_DB is filled too
    by_day : with the field of interfering stations at 50 % of time. height : index of the tier's height
    wanted_figures : (FIGURES, W), figures : (OTHER_FIGURES, S) of the tier
    values : of the receiver site, CLEAR_DB and the spreads filled; UPPER_DB is filled here

    Left out is what stays 20 dB under the noise, or leaves a margin that holds however the antenna is aimed.
    """
    level_dbuvm = work.day_dbuvm if by_day else work.level_dbuvm
    alternatives = wanted.items[0] > wanted.services
    for item in range(wanted.items[0]):
        clear_db = values[CLEAR_DB, item]
        work.touched[item] = False
        values[UPPER_DB, item] = clear_db
        values[TAKEN_DB, item] = 0.0
        if not work.live[item]:
            continue
        aside_db = wanted_figures[FLOOR_DB, item]
        for mount in range(2):
            aside_db = max(aside_db, wanted_figures[CROSS_DB + mount, item])
        own_db = wanted_figures[OVER_NOISE_0_DB, item]
        upper, over_noise, offset_db = 1.0, 1.0, 0.0
        for pair in range(pairs.start[item], pairs.start[item + 1]):
            role, station = work.values[ROLE, pair], pairs.station[pair]
            role = role if clear_db > -math.inf else SILENT  # an unknown transmitter stays one
            over_db = -math.inf
            if role != SILENT:
                offset_db = own_db + figures[OTHER_POWER_DB, station] + pairs.ratio_db[pair]
                over_db = level_dbuvm[height, pair] + offset_db
            if role == NETWORK:
                need_db = work.joined_dbuvm[height, pair] + offset_db - wanted_figures[CN_DB, item]
                work.values[OVER_NEED_DB, pair] = need_db
                upper += exp2(LOG2_OF_DB * (need_db - clear_db))
                work.touched[item] = True
            elif role == INTERFERES and over_db > FAINTEST_DB:
                spare_db = pairs.spare[pair] * values[OWN_DB, item] + (0.0 if pairs.alike[pair] else aside_db)
                work.touched[item] = work.touched[item] or clear_db - over_db < spare_db
                if alternatives:
                    least_db = over_db - farthest_aside_db(station, figures)
                    over_noise += exp2(LOG2_OF_DB * least_db)
            work.values[OVER_NOISE_DB, pair] = over_db
        if alternatives:
            values[TAKEN_DB, item] = DB_OF_LOG2 * log2_positive(over_noise)
        if upper > 1.0:
            values[UPPER_DB, item] = clear_db + 10.0 * math.log10(upper)
