"""A wanted list as far as it counts at one receiver site: the few best transmitters of each service.

A country's list has hundreds of transmitters, and a receiver site hears some dozens of them. What follows
sees a list of these few.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import inner_kernel
from covermap.reception.budget import CROSS_DB, FIGURES, WantedTransmitters
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    LEVEL,
    MARGIN_DB,
    SPREADS,
    TAKEN_DB,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
    UPPER_DB,
)
from covermap.reception.deciding import is_touched
from covermap.reception.disturbed import disturb
from covermap.reception.installations import Installations
from covermap.reception.interference import ARRIVES_US, PAIR_BEARING_DEG, ROLE, SILENT, Pairs
from covermap.reception.plan_columns import set_single

# Transmitters of a service that are kept at a receiver site: the best ones at each of two installations.
MOST_A_SERVICE = 3
OF_PAIR = (ROLE, PAIR_BEARING_DEG, ARRIVES_US)  # rows that are filled before a tier is set


class ListArrays(NamedTuple):
    """The list at a receiver site, and work arrays for it, made once a thread; W transmitters in the whole.

    shortened : whether the list here is another than the whole one, as a service has many transmitters
    kept : bool (W,), whether one is on the list here. item : (W,), which one each of those here is
    place : (W,), the other way round
    best, best_item : (MOST_A_SERVICE,), of a service's transmitters, the best one first
    kind : (1,), the kind of surroundings that figures and spreads of the model here are of, -1 none
    figured : (W,), whose figures stand at each place of it, -1 none
    spread : (W, L), whose spreads stand at each place and level
    model : the installations with the list here; where it is shortened, of its arrays the first places are
        used, and it has one kind of surroundings, the receiver site's
    """

    shortened: bool
    kept: NDArray[np.bool_]
    item: NDArray[np.int64]
    place: NDArray[np.int64]
    best: NDArray[np.float64]
    best_item: NDArray[np.int64]
    kind: NDArray[np.int64]
    figured: NDArray[np.int64]
    spread: NDArray[np.int64]
    model: Installations


def list_arrays(model: Installations) -> ListArrays:
    """Return the list at a receiver site, and work arrays for it, not filled."""
    count = model.wanted.station.size
    shortened = int(np.diff(model.wanted.service_start).max()) > MOST_A_SERVICE
    return ListArrays(
        shortened,
        np.zeros(count, np.bool_),
        np.zeros(count, np.int64),
        np.zeros(count, np.int64),
        np.empty(MOST_A_SERVICE),
        np.empty(MOST_A_SERVICE, np.int64),
        np.full(1, -1),
        np.full(count, -1),
        np.full((count, model.spreads.shape[4]), -1),
        _of_one_kind(model) if shortened else model,
    )


def _of_one_kind(model: Installations) -> Installations:
    """Return the same with arrays of its own for a list and one kind of surroundings."""
    return model._replace(
        figures=np.empty_like(model.figures[:1]),
        spreads=np.empty_like(model.spreads[:1]),
        other_figures=np.empty_like(model.other_figures[:1]),
        wanted=model.wanted._replace(**_copies(model.wanted)),
        pairs=model.pairs._replace(**_copies(model.pairs)),
    )


def _copies(record: WantedTransmitters | Pairs) -> dict[str, Any]:
    """Return copies of a record's arrays by name."""
    return {name: array.copy() for name, array in record._asdict().items() if isinstance(array, np.ndarray)}


@inner_kernel
def _aimed_deviation(item, figures, other_figures, wanted, pairs, receiver):
    """Return a transmitter's margin over its spread with the antenna at its bearing; the installation set."""
    values, trial = receiver.values, receiver.trial
    values[MARGIN_DB, item] = values[CLEAR_DB, item]
    if is_touched(item, receiver.interfering):
        upright = figures[CROSS_DB + 1, item] < figures[CROSS_DB, item]
        set_single(values[BEARING_DEG, item], 1 if upright else 0, trial)
        disturb(item, trial, 0.0, figures, other_figures, wanted, pairs, receiver)
    return values[MARGIN_DB, item] * values[TOTAL_INVERSE, item]


@inner_kernel
def _fill_greatest(wanted, receiver):
    """Fill row TOTAL_DEVIATION with what no aim exceeds; the installation set."""
    values = receiver.values
    for item in range(wanted.items[0]):
        most_db = values[UPPER_DB, item]
        if is_touched(item, receiver.interfering):
            most_db -= values[TAKEN_DB, item]
        values[TOTAL_DEVIATION, item] = most_db * values[TOTAL_INVERSE, item]


@inner_kernel
def keep_best(figures, other_figures, wanted, pairs, receiver, here):
    """Keep the transmitters of each service that are received best, each aimed at; the installation set."""
    values, best = receiver.values, here.best
    _fill_greatest(wanted, receiver)
    for service in range(wanted.services):
        best[:], here.best_item[:] = -math.inf, -1
        for _ in range(wanted.service_start[service], wanted.service_start[service + 1]):
            likely = wanted.by_service[wanted.service_start[service]]
            for position in range(wanted.service_start[service] + 1, wanted.service_start[service + 1]):
                item = wanted.by_service[position]
                likely = item if values[TOTAL_DEVIATION, item] > values[TOTAL_DEVIATION, likely] else likely
            if values[TOTAL_DEVIATION, likely] <= best[MOST_A_SERVICE - 1] and here.best_item[0] >= 0:
                break
            deviation = _aimed_deviation(likely, figures, other_figures, wanted, pairs, receiver)
            values[TOTAL_DEVIATION, likely] = -math.inf
            place = MOST_A_SERVICE
            while place > 0 and (here.best_item[place - 1] < 0 or deviation > best[place - 1]):
                place -= 1
            for after in range(MOST_A_SERVICE - 1, place, -1):
                best[after], here.best_item[after] = best[after - 1], here.best_item[after - 1]
            if place < MOST_A_SERVICE:
                best[place], here.best_item[place] = deviation, likely
        for place in range(MOST_A_SERVICE):
            if here.best_item[place] >= 0:
                here.kept[here.best_item[place]] = True


@inner_kernel
def _pack_pairs(item, to, first, pairs, interfering, here):
    """Move a transmitter's pairs that count to places from first on; return the place behind them."""
    live = interfering.live[item]
    interfering.live[to] = live
    interfering.touched[to] = False
    here.start[to] = first
    for pair in range(pairs.start[item], pairs.start[item + 1] if live else 0):
        if interfering.values[ROLE, pair] == SILENT:
            continue
        for row in OF_PAIR:
            interfering.values[row, first] = interfering.values[row, pair]
        for height in range(interfering.level_dbuvm.shape[0]):
            interfering.level_dbuvm[height, first] = interfering.level_dbuvm[height, pair]
            interfering.day_dbuvm[height, first] = interfering.day_dbuvm[height, pair]
            interfering.joined_dbuvm[height, first] = interfering.joined_dbuvm[height, pair]
        here.station[first], here.mast[first] = pairs.station[pair], pairs.mast[pair]
        here.shared[first], here.alike[first] = pairs.shared[pair], pairs.alike[pair]
        here.network[first], here.window_us[first] = pairs.network[pair], pairs.window_us[pair]
        here.later_us[first], here.ratio_db[first] = pairs.later_us[pair], pairs.ratio_db[pair]
        here.spare[first] = pairs.spare[pair]
        first += 1
    return first


@inner_kernel
def _pack_item(item, to, wanted, level_dbuvm, receiver, here):
    """Move what is known of a transmitter to a place of the list here."""
    here.station[to], here.mast[to], here.site[to] = (
        wanted.station[item],
        wanted.mast[item],
        wanted.site[item],
    )
    here.service[to], here.uhf[to], here.shared[to] = (
        wanted.service[item],
        wanted.uhf[item],
        wanted.shared[item],
    )
    receiver.values[BEARING_DEG, to] = receiver.values[BEARING_DEG, item]
    receiver.numbers[LEVEL, to] = receiver.numbers[LEVEL, item]
    for height in range(level_dbuvm.shape[0]):
        level_dbuvm[height, to] = level_dbuvm[height, item]


@inner_kernel
def _order_services(wanted, place, kept, chosen, here):
    """Fill the services of the list here: their transmitters, and their order; rows as of wanted."""
    position = 0
    for service in range(wanted.services):
        here.service_start[service] = position
        chosen[service] = -1
        for carrier in range(wanted.service_start[service], wanted.service_start[service + 1]):
            item = wanted.by_service[carrier]
            if kept[item]:
                here.by_service[position] = place[item]
                position += 1
    here.service_start[wanted.services] = position
    found = 0
    for item in range(here.items[0]):
        service = here.service[item]
        if chosen[service] < 0:
            chosen[service] = item
            here.service_order[found] = service
            found += 1


@inner_kernel
def _gather(kind, model, receiver, here):
    """Fill the figures and spreads of the transmitters here, in one kind of surroundings.

    Squares side by side mostly keep the same transmitters: what stands in its place already is left.
    """
    figures, spreads = here.model.figures, here.model.spreads
    for place in range(here.model.wanted.items[0]):
        item, level = here.item[place], receiver.numbers[LEVEL, place]
        if here.figured[place] != item:
            here.figured[place] = item
            here.spread[place, :] = -1
            for joined in range(figures.shape[1]):
                for tier in range(figures.shape[2]):
                    for row in range(FIGURES):
                        figures[0, joined, tier, row, place] = model.figures[kind, joined, tier, row, item]
        if here.spread[place, level] != item:
            here.spread[place, level] = item
            for joined in range(figures.shape[1]):
                for tier in range(figures.shape[2]):
                    for row in range(SPREADS):
                        spread = model.spreads[kind, joined, tier, item, level, row]
                        spreads[0, joined, tier, place, level, row] = spread


@inner_kernel
def _change_kind(kind, other_figures, here):
    """Fill the figures of what disturbs in a kind of surroundings; those of transmitters are forgotten."""
    if here.kind[0] == kind:
        return
    here.kind[0] = kind
    here.figured[:] = -1
    for tier in range(other_figures.shape[1]):
        for row in range(other_figures.shape[2]):
            for station in range(other_figures.shape[3]):
                here.model.other_figures[0, tier, row, station] = other_figures[kind, tier, row, station]


@inner_kernel
def fill_list(kind, model, level_dbuvm, receiver, here):
    """Fill the list here in one kind of surroundings; the kept are chosen.

    What is known of the cell's transmitters and pairs moves to their places of it.
    """
    whole, wanted, interfering = model.wanted, here.model.wanted, receiver.interfering
    count, pairs, groups, last_group = 0, 0, 0, -1
    interfering.some[0] = False
    for item in range(whole.items[0]):
        if not here.kept[item]:
            continue
        if whole.group[item] != last_group:
            last_group = whole.group[item]
            wanted.group_start[groups] = count
            groups += 1
        wanted.group[count] = groups - 1
        here.item[count], here.place[item] = item, count
        _pack_item(item, count, whole, level_dbuvm, receiver, wanted)
        pairs = _pack_pairs(item, count, pairs, model.pairs, interfering, here.model.pairs)
        interfering.some[0] = interfering.some[0] or interfering.live[count]
        count += 1
    wanted.group_start[groups], here.model.pairs.start[count] = count, pairs
    wanted.items[0], wanted.groups[0] = count, groups
    _order_services(whole, here.place, here.kept, receiver.numbers[CHOSEN], wanted)
    _change_kind(kind, model.other_figures, here)
    _gather(kind, model, receiver, here)
