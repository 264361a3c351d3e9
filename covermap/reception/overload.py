"""What the strongest stations do to an amplifier and a tuner."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.constants import BANDS
from covermap.propagation.compiling import lean_kernel
from covermap.propagation.free_space import dipole_factor_db
from covermap.propagation.vector_math import LOG2_OF_DB, exp2
from covermap.reception.bands import band_of
from covermap.reception.chain import FRONT_LOSS_DB, cable_loss_db
from covermap.reception.distinct import distinct_rows
from covermap.reception.mount import mount_losses_db
from covermap.reception.options import ReceptionOptions
from covermap.reception.path_spreads import spread_levels
from covermap.reception.pattern import (
    HORIZONTAL,
    VERTICAL,
    cross_polar_loss_db,
    lobe_floor_db,
    lobe_rolloff,
)
from covermap.reception.plan_columns import JOINED, JOINED_AS
from covermap.reception.plan_loss import plan_loss_db
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import Tier
from covermap.reception.variability import own_spread_db

# A tuner's limits for one strong channel, and for each of several: ATSC A/74 (from memory).
TUNER_ONE_DBM, TUNER_SEVERAL_DBM = -5.0, -8.0

# Rows of the figures of a tier, one column a station (all stations of the file).
POWER_DB = 0  # power at the antenna's terminals = field + this, in dBm
LOAD_ROLLOFF = 1
LOAD_FLOOR_DB = 2
LOAD_CROSS_DB = 3  # at a horizontal mount; the next row: at a vertical one
TUNER_DB = 5  # from the antenna's terminals to the tuner
HOUSE_DB = 6  # from the antenna's terminals to an amplifier inside the house
LOAD_FIGURES = 7

TWICE_THE_VOLTAGE_DB = 6.02  # two combined antennas at most

# Ports that a signal can be too strong for.
NO_PORT, AMPLIFIER_INPUT, AMPLIFIER_OUTPUT, TUNER, DISTRIBUTION = range(5)


class Loads(NamedTuple):
    """What decides overload: figures (K, T, LOAD_FIGURES, S); and of the T tiers and S stations:

    input_dbm, output_dbm : (T,), the amplifier's limits as total power at the antenna, inf without one
    house_dbm : (T,), limit of an amplifier inside the house as total power at its input, inf without one
    front_db : (3,), loss in front of everything for each of JOINED_AS
    spread_db : (T, L, S), s_i of a station among clutter of 10 m, by the level of its path (spread_levels)
    mast : (S,). uhf : bool (S,). risk_db : (S,), a field of minus this could pass a limit of some tier
    """

    figures: NDArray[np.float64]
    input_dbm: NDArray[np.float64]
    output_dbm: NDArray[np.float64]
    house_dbm: NDArray[np.float64]
    front_db: NDArray[np.float64]
    spread_db: NDArray[np.float64]
    mast: NDArray[np.int64]
    uhf: NDArray[np.bool_]
    risk_db: NDArray[np.float64]


def load_figures(
    tiers: tuple[Tier, ...],
    facts: StationFacts,
    clutter_m: NDArray[np.float64],
    open_land: NDArray[np.bool_],
    options: ReceptionOptions,
) -> NDArray[np.float64]:
    """Return the figures of each kind of surroundings, tier and station, shape (K, T, LOAD_FIGURES, S)."""
    stations = np.asarray(facts.frequency_mhz).size
    figures = np.empty((clutter_m.size, len(tiers), LOAD_FIGURES, stations))
    sent, as_sent = distinct_rows(facts.frequency_mhz, facts.polarization)
    for number, tier in enumerate(tiers):
        of_sent = np.array([_as_load(tier, mhz, int(way), options) for mhz, way in sent])
        figures[:, number] = of_sent[as_sent].T
    figures[:, :, POWER_DB] -= mount_losses_db(
        tiers, np.asarray(facts.frequency_mhz, np.float64), clutter_m, open_land, options.building
    )
    return figures


def loads_of(
    tiers: tuple[Tier, ...], facts: StationFacts, figures: NDArray[np.float64], options: ReceptionOptions
) -> Loads:
    """Return what decides overload for every tier and station; figures : of load_figures."""
    bands = [band_of(float(frequency_mhz)) for frequency_mhz in facts.frequency_mhz]
    input_dbm = np.array([tier.amp_in_max_dbm if tier.has_amplifier else np.inf for tier in tiers])
    output_dbm = np.array(
        [tier.amp_out_max_dbm - tier.amplifier_gain_db if tier.has_amplifier else np.inf for tier in tiers]
    )
    house_dbm = np.array([_house_limit_dbm(tier) for tier in tiers])
    amplifier_db = figures[:, :, POWER_DB] - np.minimum(input_dbm, output_dbm)[:, None]
    tuner_db = figures[:, :, POWER_DB] + figures[:, :, TUNER_DB] - TUNER_SEVERAL_DBM
    house_db = figures[:, :, POWER_DB] + figures[:, :, HOUSE_DB] - house_dbm[:, None]
    spread_db = _spreads_db(tiers, np.asarray(facts.frequency_mhz, np.float64), options)
    risk_db = np.maximum(np.maximum(amplifier_db, tuner_db), house_db) + spread_db.max(axis=1)
    return Loads(
        figures,
        input_dbm,
        output_dbm,
        house_dbm,
        np.array([FRONT_LOSS_DB[joined] for joined in JOINED_AS]),
        spread_db,
        np.asarray(facts.mast, np.int64),
        np.array([band == "uhf" for band in bands]),
        risk_db.max(axis=(0, 1)),
    )


def _spreads_db(
    tiers: tuple[Tier, ...], frequency_mhz: NDArray[np.float64], options: ReceptionOptions
) -> NDArray[np.float64]:
    """Return s_i of each tier, level of path and station among clutter of 10 m, shape (T, L, S)."""
    of_level_db = spread_levels(options)[1]
    sent, as_sent = distinct_rows(frequency_mhz)
    known = [(mhz, BANDS.index(band_of(mhz))) for (mhz,) in sent]
    spread_db = np.array(
        [
            [
                [
                    own_spread_db(
                        level[band], options.has_land_cover, mhz, float(options.cell_m), tier.height_m, 0.0
                    )
                    for mhz, band in known
                ]
                for level in of_level_db
            ]
            for tier in tiers
        ]
    )
    return np.take(spread_db, as_sent, axis=2)


def _house_limit_dbm(tier: Tier) -> float:
    house = tier.distribution
    return math.inf if house is None else min(house.in_max_dbm, house.out_max_dbm - house.gain_db)


def _as_load(
    tier: Tier, frequency_mhz: float, polarization: int, options: ReceptionOptions
) -> tuple[float, ...]:
    """Return the figures of a station as a load of a tier's installation, at its mount."""
    antenna = tier.at(frequency_mhz)
    gain_db = tier.amplifier_gain_db if tier.has_amplifier else 0.0
    to_house_db = gain_db - cable_loss_db(frequency_mhz, tier.cable_m)
    house = tier.distribution
    inside_db = 0.0 if house is None else house.gain_db - cable_loss_db(frequency_mhz, house.cable_m)
    return (
        antenna.gain_dbd + dipole_factor_db(frequency_mhz),
        lobe_rolloff(antenna.beamwidth_deg),
        lobe_floor_db(antenna.beamwidth_deg, antenna.front_to_back_db),
        cross_polar_loss_db(HORIZONTAL, polarization, tier.cross_polar_db),
        cross_polar_loss_db(VERTICAL, polarization, tier.cross_polar_db),
        to_house_db + inside_db - tier.passive_db(frequency_mhz),
        to_house_db,
    )


@lean_kernel
def overload_of(tier, height, cell, figures, plan, median_dbuvm, level, bearing_deg, loads):
    """Return by how much the strongest stations pass the nearest limit, in dB, its port, and their spread.

    figures : (LOAD_FIGURES, S) of the tier in the surroundings. level : (S, N), of each path's spread.
    Stations without a known field are left out. Negative: within all limits; -inf where nothing is known.

    Source: each limit at its own port: total power at the amplifier's input and output, single channels at
        the tuner. Limits of the tier table; tuner: ATSC A/74 (from memory).
    """
    total_mw, house_mw, strongest_dbm, spread_db = 0.0, 0.0, -math.inf, 0.0
    first_dbm, second_dbm = -math.inf, -math.inf
    front_db = loads.front_db[int(plan[JOINED])]
    for station in range(figures.shape[1]):
        field = median_dbuvm[station, height, cell]
        bearing = bearing_deg[loads.mast[station], cell]
        if math.isnan(field) or math.isnan(bearing):
            continue
        loss_db = plan_loss_db(
            plan, loads.uhf[station], False, bearing, figures[LOAD_ROLLOFF, station],
            figures[LOAD_FLOOR_DB, station], figures[LOAD_CROSS_DB, station],
            figures[LOAD_CROSS_DB + 1, station],
        )  # fmt: skip
        power_dbm = field + figures[POWER_DB, station] - loss_db - front_db
        total_mw += exp2(LOG2_OF_DB * power_dbm)
        if loads.house_dbm[tier] < math.inf:
            house_mw += exp2(LOG2_OF_DB * (power_dbm + figures[HOUSE_DB, station]))
        if power_dbm > strongest_dbm:
            strongest_dbm, spread_db = power_dbm, loads.spread_db[tier, level[station, cell], station]
        tuner_dbm = power_dbm + figures[TUNER_DB, station]
        if tuner_dbm > first_dbm:
            first_dbm, second_dbm = tuner_dbm, first_dbm
        elif tuner_dbm > second_dbm:
            second_dbm = tuner_dbm
    if total_mw == 0.0:
        return -math.inf, NO_PORT, 0.0
    total_dbm = 10.0 * math.log10(total_mw)
    excess_db, port = total_dbm - loads.output_dbm[tier], AMPLIFIER_OUTPUT
    if total_dbm - loads.input_dbm[tier] > excess_db:
        excess_db, port = total_dbm - loads.input_dbm[tier], AMPLIFIER_INPUT
    if house_mw > 0.0 and 10.0 * math.log10(house_mw) - loads.house_dbm[tier] > excess_db:
        excess_db, port = 10.0 * math.log10(house_mw) - loads.house_dbm[tier], DISTRIBUTION
    tuner_db = max(first_dbm - TUNER_ONE_DBM, second_dbm - TUNER_SEVERAL_DBM)
    if tuner_db > excess_db:
        excess_db, port = tuner_db, TUNER
    return excess_db, port, spread_db


@lean_kernel
def may_overload(cell, median_dbuvm, loads):
    """Return whether any plan of any tier could pass a limit, the strongest station one spread stronger."""
    most_db = -math.inf
    stations, heights = median_dbuvm.shape[0], median_dbuvm.shape[1]
    for station in range(stations):
        for height in range(heights):
            over_db = median_dbuvm[station, height, cell] + loads.risk_db[station]
            most_db = over_db if over_db > most_db else most_db
    return most_db + 10.0 * math.log10(stations) + TWICE_THE_VOLTAGE_DB > 0.0
