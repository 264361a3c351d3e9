"""The installations of a tier table: what is the same for every cell, and the order of their cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.reception.aim_search import is_directional
from covermap.reception.budget import SHORT_DB, WantedTransmitters, heights_of, tier_figures
from covermap.reception.interference import Pairs, find_pairs, other_figures, with_harmless
from covermap.reception.options import ReceptionOptions
from covermap.reception.overload import Loads, load_figures, loads_of
from covermap.reception.path_spreads import tier_spreads
from covermap.reception.plan_columns import JOINED_AS
from covermap.reception.signals import StationFacts
from covermap.reception.surroundings import FiguresOf, Surroundings, by_kind
from covermap.reception.tiers import Tier

# What makes no difference to what an installation receives.
NAMES_AND_COSTS = {"tier", "name", "cost_order", "second_antenna_cost_order", "source", "antennas"}


class Installations(NamedTuple):
    """What is the same for every cell, in K kinds of surroundings: T tiers, each with one antenna or two.

    Behind the tiers stand those of them with an amplifier added or left out that are no tier: U in all.

    tiers : T
    figures : (K, 3, U, FIGURES, W), spreads : (K, 3, U, W, L, SPREADS), second axis plan.JOINED_AS
    other_figures : (K, U, OTHER_FIGURES, S), of all stations as what disturbs
    heights : (U,), index of each one's height. directional : bool (U,), whether it tells directions apart
    order : (I, 2), tier and number of antennas of every installation, least costly first
    settled : bool (T,), whether a tier that holds leaves no higher one that costs less
    twin : (T,), the same installation with an amplifier added, or without its own; -1 where no tier has one
    amplified : bool (T,), whether a tier has an amplifier
    paired : bool (U,), whether it is two antennas behind a diplexer already, which nobody combines with more
    diplexer : whether the list has VHF and UHF. high_vhf : whether it has high VHF
    """

    tiers: int
    figures: NDArray[np.float64]
    spreads: NDArray[np.float64]
    other_figures: NDArray[np.float64]
    heights: NDArray[np.int64]
    directional: NDArray[np.bool_]
    order: NDArray[np.int64]
    settled: NDArray[np.bool_]
    twin: NDArray[np.int64]
    amplified: NDArray[np.bool_]
    paired: NDArray[np.bool_]
    diplexer: bool
    high_vhf: bool
    wanted: WantedTransmitters
    pairs: Pairs
    loads: Loads


class StationFigures(NamedTuple):
    """What U installations make of stations in K kinds of surroundings, whatever list these are wanted in.

    every : the installations, those of the tiers first. twin : of with_twins
    station : (W,), indices of the stations that may be wanted, ascending
    figures, spreads : of these, other_figures, loads : of all stations; as Installations has them
    """

    every: tuple[Tier, ...]
    twin: NDArray[np.int64]
    station: NDArray[np.int64]
    figures: NDArray[np.float64]
    spreads: NDArray[np.float64]
    other_figures: NDArray[np.float64]
    loads: Loads


def station_figures(
    station: NDArray[np.int64],
    facts: StationFacts,
    tiers: Sequence[Tier],
    kinds: Surroundings,
    options: ReceptionOptions,
) -> StationFigures:
    """Return the figures of stations, of which those of these indices, ascending, may be wanted."""
    every, twin = with_twins(tiers)
    figures = by_kind(kinds, options, joined_each_way(partial(tier_figures, every, facts, station)))
    frequency_mhz = np.asarray(facts.frequency_mhz, np.float64)[station]
    clutter_m = np.asarray(kinds.clutter_height_m, np.float64)
    spreads = np.stack(
        [
            tier_spreads(every, frequency_mhz, clutter_m, options, figures[:, joined])
            for joined in range(len(JOINED_AS))
        ],
        axis=1,
    )
    return StationFigures(
        every,
        twin,
        station,
        figures,
        spreads,
        by_kind(kinds, options, partial(other_figures, every, facts)),
        loads_of(every, facts, by_kind(kinds, options, partial(load_figures, every, facts)), options),
    )


def installations(
    transmitters: WantedTransmitters,
    of_stations: StationFigures,
    facts: StationFacts,
    tiers: Sequence[Tier],
    heights_m: NDArray[np.float64],
    options: ReceptionOptions,
) -> Installations:
    """Return what is the same for every cell, for a list: every installation's figures of its transmitters.

    of_stations : of station_figures(), of the same facts, tiers and options; has every transmitter's station
    """
    every, place = of_stations.every, np.searchsorted(of_stations.station, transmitters.station)
    # taken, not indexed: in C's order, as a kernel is compiled once for each order of each array
    figures, spreads = of_stations.figures.take(place, axis=-1), of_stations.spreads.take(place, axis=3)
    directional = np.array([is_directional(figures[0, 0, number]) for number in range(len(every))])
    several = np.unique(transmitters.site).size > 1 or transmitters.mounts.size > 1
    order = in_order_of_cost(tiers, directional[: len(tiers)] & several)
    found = find_pairs(transmitters, facts, options)
    return Installations(
        tiers=len(tiers),
        figures=figures,
        spreads=spreads,
        other_figures=of_stations.other_figures,
        heights=heights_of(every, heights_m),
        directional=directional,
        order=order,
        settled=_settled(order, len(tiers)),
        twin=of_stations.twin,
        amplified=np.array([tier.has_amplifier for tier in tiers]),
        paired=np.array([tier.diplexer_loss_db > 0.0 for tier in every]),
        diplexer=bool(transmitters.uhf.any() and not transmitters.uhf.all()),
        high_vhf=bool((figures[..., SHORT_DB, :] > 0.0).any()),
        wanted=transmitters,
        pairs=with_harmless(found, figures, spreads, of_stations.other_figures),
        loads=of_stations.loads,
    )


def joined_each_way(figures_of: FiguresOf) -> FiguresOf:
    """Return a function of the same kinds of surroundings that also takes each way of JOINED_AS, axis 1."""

    def of_kinds(
        clutter_m: NDArray[np.float64], open_land: NDArray[np.bool_], options: ReceptionOptions
    ) -> NDArray[np.float64]:
        ways = [partial(figures_of, joined=joined) for joined in JOINED_AS]
        return np.stack([of_way(clutter_m, open_land, options) for of_way in ways], axis=1)

    return of_kinds


def in_order_of_cost(tiers: Sequence[Tier], may_gain: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return tier's index and number of antennas of every installation, least costly first, shape (I, 2).

    may_gain : bool (T,), where a second antenna may bring something; indoors none is put up. At equal cost
    one antenna goes before two, and the lower tier first.
    """
    found = []
    for number, tier in enumerate(tiers):
        found.append((tier.cost_order, 1, number))
        second = tier.second_antenna_cost_order
        if may_gain[number] and not tier.indoors and not math.isnan(second):
            found.append((tier.cost_order + second, 2, number))
    return np.array([(number, antennas) for _, antennas, number in sorted(found)], dtype=np.int64)


def _settled(order: NDArray[np.int64], tiers: int) -> NDArray[np.bool_]:
    """Return for each tier whether its one antenna costs less than that of every higher tier."""
    by_cost = [number for number, antennas in order.tolist() if antennas == 1]
    return np.array([max(by_cost[: by_cost.index(number) + 1]) == number for number in range(tiers)])


def with_twins(tiers: Sequence[Tier]) -> tuple[tuple[Tier, ...], NDArray[np.int64]]:
    """Return the tiers and, behind them, their twins that are no tier; and the index of each tier's twin.

    A tier's twin is the same installation without its amplifier, or with that of the first tier that has one.
    """
    every, amplifier = list(tiers), next((tier for tier in tiers if tier.has_amplifier), None)
    if amplifier is None:
        return tuple(every), np.full(len(every), -1, np.int64)
    known = {_as_received(tier): number for number, tier in reversed(list(enumerate(every)))}
    twin = []
    for tier in tiers:
        other = without_amplifier(tier) if tier.has_amplifier else with_amplifier(tier, amplifier)
        number = known.setdefault(_as_received(other), len(every))
        every += [other] if number == len(every) else []
        twin.append(number)
    return tuple(every), np.array(twin, np.int64)


def without_amplifier(tier: Tier) -> Tier:
    """Return the same installation without an amplifier."""
    return replace(
        tier,
        amplifier_gain_db=math.nan,
        amplifier_noise_figure_db=math.nan,
        amp_in_max_dbm=math.inf,
        amp_out_max_dbm=math.inf,
        amplifier_sd_db=0.0,
    )


def with_amplifier(tier: Tier, other: Tier) -> Tier:
    """Return the same installation with another one's amplifier."""
    return replace(
        tier,
        amplifier_gain_db=other.amplifier_gain_db,
        amplifier_noise_figure_db=other.amplifier_noise_figure_db,
        amp_in_max_dbm=other.amp_in_max_dbm,
        amp_out_max_dbm=other.amp_out_max_dbm,
        amplifier_sd_db=other.amplifier_sd_db,
    )


def _as_received(tier: Tier) -> str:
    """Return text that is equal for installations that receive alike; NaN equals NaN in it."""
    return repr([(name, value) for name, value in vars(tier).items() if name not in NAMES_AND_COSTS])
