"""What reception settles by bounds, without looking: against answers worked out without them."""

from itertools import product

import numpy as np
import pytest
from reception_places import CROWD, TIERS, crowded, facts_of, place_of, wanted_of

from covermap.jobs.local_doubts import stays_in_leaf
from covermap.reception import ReceptionOptions, receive
from covermap.reception.confidence import (
    CLEAR_DB,
    INTERFERENCE_DB,
    MARGIN_DB,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
    UPPER_DB,
)
from covermap.reception.least_disturbed import most_spare_db
from covermap.reception.plan_columns import AIM_DEG, MOUNT, PLAN_COLUMNS, SECOND_DEG, SINGLE
from covermap.reception.receiver_site import receiver_site_with

OPTIONS = ReceptionOptions()
CELLS = 1500
# Nothing disturbs but neighbours in the channels beside, on one mast.
NEIGHBOURS = facts_of([569.0, 575.0, 189.0, 515.0, 521.0, 599.0, 605.0], [0, 0, 0, 1, 1, 2, 2])
LISTS = {
    "one transmitter a service": wanted_of(0, 1, 2, 4),
    "with an alternative": wanted_of(0, (1, 5), 2),
    "some are enough": wanted_of(0, 1, 2, 4, 6, needed=3),
}


def answers(signals, wanted, facts=CROWD):
    return receive(signals, facts, TIERS, wanted, OPTIONS, np.ones(signals.open_land.size, bool))


@pytest.fixture(scope="module", params=LISTS)
def scene(request):
    """Cells among many stations, a list, and its answers."""
    signals = crowded(CELLS, seed=31, mean_dbuvm=72.0)
    return signals, LISTS[request.param], answers(signals, LISTS[request.param])


@pytest.mark.parametrize("wanted", LISTS.values(), ids=LISTS)
def test_leaves_do_not_move_a_tier_that_is_said_to_stay(wanted):
    signals = crowded(CELLS, seed=32, mean_dbuvm=66.0, facts=NEIGHBOURS)
    found = answers(signals, wanted, NEIGHBOURS)
    stays = stays_in_leaf(found, 3.0)
    masts = int(NEIGHBOURS.mast.max()) + 1
    loss_db = np.random.default_rng(5).uniform(0.0, 3.0, (masts, 1, CELLS))  # as much from all of a mast
    in_leaf = answers(signals.moved(-loss_db[NEIGHBOURS.mast]), wanted, NEIGHBOURS)
    assert 0.3 < stays.mean() < 0.95
    assert (found.service_interference_db[:, stays] > 0).any()
    assert np.mean(in_leaf.tier[stays] != found.tier[stays]) < 0.001
    assert np.mean(in_leaf.tier[~stays] != found.tier[~stays]) > 0.05
    assert not stays_in_leaf(found, 3.1).any()  # leaves that take more than was tried


def test_nothing_stays_among_stations_that_disturb_from_elsewhere(scene):
    assert np.mean(stays_in_leaf(scene[2], 3.0)) < 0.01


def test_the_tier_without_the_deciding_service_is_that_of_the_list_without_it(scene):
    signals, wanted, found = scene
    if wanted.needed < len(wanted.services):
        pytest.skip("the deciding service can be spared as it is")
    lower = 0
    for service in range(len(wanted.services)):
        cells = np.flatnonzero(found.deciding_service == service)
        rest = [stations for number, stations in enumerate(wanted.transmitters) if number != service]
        alone = answers(signals.some(cells), wanted_of(*rest)).tier
        told = found.tier_without_deciding[cells]
        assert np.mean(np.minimum(alone, found.tier[cells]) != told) < 0.005
        lower += int((told < found.tier[cells]).sum())
    assert lower > 0.05 * CELLS


@pytest.mark.parametrize("wanted", LISTS.values(), ids=LISTS)
def test_no_dead_zone_with_weaker_fields_is_none_with_such_fields(wanted):
    signals = crowded(CELLS, seed=33, mean_dbuvm=40.0)
    found = answers(signals, wanted)
    weaker = answers(signals.moved(np.full(signals.field_dbuvm.shape, -3.0)), wanted)
    sure = found.dead_weaker == 100
    assert 0.2 < sure.mean() < 0.9
    assert (weaker.dead_zone_chance_percent[sure] >= 99).all()
    assert (found.dead_zone_chance_percent[sure] >= 99).all()
    assert (found.dead_stronger[sure] >= 99).all()


@pytest.mark.parametrize("deviation", [0.0, 1.0, 1.28])
def test_no_aim_that_keeps_a_disturbed_station_loses_more_of_it_than_its_bound(deviation):
    """Against every third degree, with the interference that stands there."""
    wanted = wanted_of(0, 1, 2, 4, 6)
    signals = crowded(60, seed=34, mean_dbuvm=72.0)
    kept = short = 0
    for cell, tier in product(range(60), (TIERS[3], TIERS[5])):
        site = receiver_site_with(place_of(signals, cell, tier.tier, wanted), tier, SINGLE)
        values, touched = site.receiver.values, np.flatnonzero(site.receiver.interfering.touched)
        bound_db = [
            most_spare_db(item, deviation, site.figures, site.other_figures, site.pairs, site.receiver)
            for item in touched
        ]
        plain_db = values[UPPER_DB, touched] - deviation / values[TOTAL_INVERSE, touched]
        short += int((np.array(bound_db) < plain_db - 3.0).sum())
        plan = np.zeros(PLAN_COLUMNS)
        plan[SECOND_DEG] = -1.0
        for plan[AIM_DEG], plan[MOUNT] in product(range(0, 360, 3), site.wanted.mounts):
            site.chance(plan, len(wanted.services))
            lost_db = values[CLEAR_DB, touched] - values[MARGIN_DB, touched]
            lost_db -= values[INTERFERENCE_DB, touched]
            keeps = values[TOTAL_DEVIATION, touched] >= deviation
            kept += int(keeps.sum())
            assert (lost_db <= np.array(bound_db) + 1e-6)[keeps].all()
    assert min(kept, short) > 100
