"""Many masts in reach of a receiver site: few of a service's transmitters are looked at, and none is missed.

Networks of 12 masts, channels used again, so that stations have others on their channel.
"""

import numpy as np
import pytest
from every_degree import best_of_every_degree, with_one_antenna
from plain_search import every_pair
from reception_places import facts_of, wanted_of
from sure_figures import SURE_TIERS

from covermap.reception import CellSignals, ReceiverSignals, ReceptionOptions, receive
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    MARGIN_DB,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
)
from covermap.reception.disturbed import disturb
from covermap.reception.list_here import MOST_A_SERVICE
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan import set_plan
from covermap.reception.plan_columns import AIM_DEG, CHANCE, COMBINED, PLAN_COLUMNS, SINGLE, set_single
from covermap.reception.receiver_site import receiver_site_with

TIERS, OPTIONS = SURE_TIERS, ReceptionOptions()
MASTS = 12


def country(networks, reuse, *, everywhere):
    """Return stations and list: networks on every mast or one on each; channels come again."""
    mast, network = [], []
    for number in range(MASTS):
        here = range(networks) if everywhere else [number % networks]
        mast += [number] * len(here)
        network += here
    channel = [4 * (number % reuse) + carried for number, carried in zip(mast, network, strict=True)]
    transmitters = [tuple(np.flatnonzero(np.array(network) == one).tolist()) for one in range(networks)]
    return facts_of([473.0 + 6.0 * one for one in channel], mast), wanted_of(*transmitters)


FACTS, LIST = country(3, 4, everywhere=True)
APART, APART_LIST = country(2, 8, everywhere=False)  # two antennas hold both networks in some places


def scene(facts, cells, seed, mean_dbuvm=62.0):
    """Return cells whose masts stand anywhere around them, most of them far below the strongest."""
    random = np.random.default_rng(seed)
    level = random.normal(mean_dbuvm, 12.0, (MASTS, cells))[facts.mast]
    level += random.normal(0.0, 3.0, level.shape)
    return CellSignals(
        heights_m=np.array([10.0, 15.0]),
        field_dbuvm=np.stack([level, level + 2.0], axis=1).astype(np.float32),
        bearing_deg=random.uniform(0.0, 360.0, (MASTS, cells)).astype(np.float32),
        clutter_height_m=np.full(cells, 10.0, np.float32),
        open_land=np.zeros(cells, np.bool_),
    )


def place(facts, wanted, signals, cell):
    """Return one cell of a scene as a place of its own, whose list is whole."""
    label = [""] * facts.mast.size
    for name, stations in zip(wanted.services, wanted.transmitters, strict=True):
        for station in stations:
            label[station] = name
    return ReceiverSignals(
        facts=facts,
        field_dbuvm=signals.field_dbuvm[:, 0, cell].astype(float),
        bearing_deg=signals.bearing_deg[facts.mast, cell].astype(float),
        service=tuple(label),
        clutter_height_m=10.0,
    )


def test_one_antenna_against_every_degree_and_every_transmitter():
    assert all(len(stations) > 2 * MOST_A_SERVICE for stations in LIST.transmitters)
    signals = scene(FACTS, 400, 5)
    chance, _ = best_of_every_degree(signals, FACTS, TIERS, LIST, OPTIONS)
    found = with_one_antenna(signals, FACTS, TIERS, LIST, OPTIONS)
    reaches = chance >= 0.9
    tier = np.where(reaches.any(axis=0), reaches.argmax(axis=0) + 1, 8)
    assert np.mean(found.tier != tier) <= 0.005
    missed = np.where(chance < 0.015, 0.0, 100.0 * chance - found.tier_chance_percent)  # 0 % is not searched
    assert np.mean(missed[3:] > 1.5, axis=1).max() <= 0.02
    assert np.unique(tier).size >= 5  # every kind of square is among them


def test_two_antennas_against_every_pair_of_aims_and_every_transmitter():
    assert all(len(stations) > MOST_A_SERVICE for stations in APART_LIST.transmitters)
    signals = scene(APART, 300, 6, 38.0)
    found = receive(signals, APART, TIERS, APART_LIST, OPTIONS)
    asked = np.flatnonzero((found.tier_chance_percent[:6] < 90).all(axis=0))
    holds, judged = found.tier[asked] < 7, []
    for cell in asked:
        best = 0.0
        for tier in (4, 5, 6):
            site, plan = (
                receiver_site_with(place(APART, APART_LIST, signals, cell), TIERS[tier], COMBINED),
                np.zeros(PLAN_COLUMNS),
            )
            every_pair(
                COMBINED, 0.9, 2, site.wanted, site.figures, site.other_figures, site.pairs,
                site.receiver, plan,
            )  # fmt: skip
            best = max(best, plan[CHANCE])
        judged.append(best >= 0.9)
    assert holds.sum() >= 5  # there is something to find
    assert (~holds).sum() >= 5
    assert np.mean(holds != np.array(judged)) <= 0.03


@pytest.mark.parametrize("tier", [1, 5, 7])
def test_a_service_has_the_transmitter_that_is_best_with_everything_that_disturbs(tier):
    signals = scene(FACTS, 40, 7)
    for cell in range(40):
        site = receiver_site_with(place(FACTS, LIST, signals, cell), TIERS[tier], SINGLE)
        trial = np.zeros(PLAN_COLUMNS)
        set_single(float(9 * cell), 0, trial)
        around = site.figures, site.other_figures, site.wanted, site.pairs, site.receiver
        set_plan(trial, 0.0, *around)
        values, chosen = site.receiver.values, site.receiver.numbers[CHOSEN, : len(LIST.services)].copy()
        best = values[TOTAL_DEVIATION, chosen].copy()
        for item, service in enumerate(site.wanted.service):
            angle_deg = off_axis_deg(trial[AIM_DEG], values[BEARING_DEG, item])
            rolloff, floor_db, cross_db = site.figures[[ROLLOFF, FLOOR_DB, CROSS_DB], item]
            loss_db = off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db)
            values[MARGIN_DB, item] = values[CLEAR_DB, item] - loss_db
            values[TOTAL_DEVIATION, item] = values[MARGIN_DB, item] * values[TOTAL_INVERSE, item]
            if site.receiver.interfering.touched[item]:
                disturb(item, trial, 0.0, *around)
            assert values[TOTAL_DEVIATION, item] <= best[service] + 1e-9
