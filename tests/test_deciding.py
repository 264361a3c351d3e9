"""The few transmitters that decide stand for the list: held to its whole chance at every twentieth degree."""

from dataclasses import replace
from statistics import NormalDist
from types import SimpleNamespace

import numpy as np
import pytest
from benchmarks.bench_reception import random_scene
from benchmarks.bench_reception import wanted_list as bench_list
from reception_places import CROWD, crowded, wanted_of
from sure_figures import SURE_TIERS

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception import ListReceiver, ReceptionOptions, TierTable
from covermap.reception.aim_chance import (
    bounds_of_sites,
    chance_by_few,
    decides_by_few,
    reaches,
    set_sites,
    slack_of_few,
)
from covermap.reception.best_plans import read_receiver, set_tier
from covermap.reception.confidence import CHOSEN, TOTAL_DEVIATION
from covermap.reception.deciding import ALL, ANY, CERTAIN
from covermap.reception.extremes import PARTS, least_moments, take_lesser
from covermap.reception.plan import chance_of_plan
from covermap.reception.plan_columns import SINGLE, set_single
from covermap.reception.receive import cell_arrays, fields_of
from covermap.reception.single_precision import share_above

AIMS = range(0, 360, 20)


def with_ridges(scene, by_station):
    """Return a scene with all kinds of paths: in every cell one kind for all stations, or one for each."""
    signals, facts = scene
    random = np.random.default_rng(7)
    stations, cells = signals.field_dbuvm.shape[0], signals.open_land.size
    kinds = random.integers(0, len(PATH_CLASSES), (stations if by_station else 1, cells)).astype(np.uint8)
    return replace(signals, path_class=np.ascontiguousarray(np.broadcast_to(kinds, (stations, cells)))), facts


def crowd(cells, louder_db):
    """Return the crowded scene, its wanted stations louder than they are."""
    signals = crowded(cells)
    shift_db = np.zeros_like(signals.field_dbuvm)
    shift_db[:8] = louder_db
    return replace(signals, field_dbuvm=signals.field_dbuvm + shift_db), CROWD


def with_narrowing_lobe(tier):
    """Return a tier whose lobe grows narrower with frequency inside a band."""
    points = tuple(
        (mhz, tier.at(mhz)._replace(beamwidth_deg=70.0 - 0.2 * (mhz - 470.0))) for mhz in (470.0, 600.0)
    )
    return tier if tier.indoors else replace(tier, by_frequency=points)


OPTIONS = ReceptionOptions(
    path_spread_db={
        (kind, band): (6.0 + 2.0 * number, 8.0 + 2.0 * number)
        for number, kind in enumerate(PATH_CLASSES)
        for band in ("low_vhf", "high_vhf", "uhf")
    }
)
LISTS = {  # name -> cells and facts, wanted list, tiers, share of aims at least that the few tell of
    "plain": (lambda: random_scene(300), bench_list(8), SURE_TIERS, 1.0),
    "twenty": (lambda: random_scene(200, mean_dbuvm=66.0), bench_list(20), SURE_TIERS, 1.0),
    "one of eight": (lambda: random_scene(200, mean_dbuvm=45.0), bench_list(8, needed=1), SURE_TIERS, 1.0),
    "any three": (lambda: random_scene(50), bench_list(8, needed=3), SURE_TIERS, 0.0),
    "interference": (lambda: crowd(300, 35.0), wanted_of(0, 1, 2, 4, 5, 6, 7), SURE_TIERS, 1.0),
    "alternatives": (lambda: crowd(300, 20.0), wanted_of(0, 1, (2, 4), (3, 6), 7), SURE_TIERS, 0.2),
    "ridges of each mast": (
        lambda: with_ridges(random_scene(200), False),
        bench_list(8),
        SURE_TIERS,
        1.0,
    ),
    "ridges of each station": (
        lambda: with_ridges(random_scene(200), True),
        bench_list(8),
        SURE_TIERS,
        0.0,
    ),
}


@lean_kernel
def _compare(confidence, asked, fields, model, work, few, whole, least, most, slack, reached, left_out):
    for cell in range(fields.kind.size):
        if not read_receiver(cell, fields, model.wanted, model.pairs, work):
            continue
        kind, receiver, trial = fields.kind[cell], work.receiver, work.receiver.trial
        for tier in range(model.tiers):
            figures, other_figures = model.figures[kind, SINGLE, tier], model.other_figures[kind, tier]
            around = model.wanted, model.pairs, receiver
            set_tier(tier, np.int64(SINGLE), np.bool_(False), np.int64(-1), kind, model, work)
            for aim in range(few.shape[2]):
                set_single(20.0 * aim, np.int64(0), trial)
                if decides_by_few(asked.needed, model.wanted, figures, model.pairs, receiver):
                    few[cell, tier, aim] = chance_by_few(
                        False, trial, 0.0, asked.needed, figures, other_figures, *around
                    )[0]
                    sign = ALL if asked.needed == model.wanted.services else ANY
                    sites, _ = set_sites(sign, False, trial, 0.0, figures, other_figures, *around)
                    bounds = bounds_of_sites(sites, receiver.deciding.values)
                    least[cell, tier, aim], most[cell, tier, aim] = bounds
                    slack[cell, tier, aim] = slack_of_few(receiver)
                reached[cell, tier, aim] = reaches(
                    confidence, trial, 0.0, asked.needed, figures, other_figures, *around
                )
                whole[cell, tier, aim] = chance_of_plan(
                    trial, 0.0, asked.needed, figures, other_figures, *around
                )
                for service in range(model.wanted.services):
                    item = receiver.numbers[CHOSEN, service]
                    better = (
                        receiver.deciding.left_out[item] and receiver.values[TOTAL_DEVIATION, item] < CERTAIN
                    )
                    left_out[cell, tier, aim] = left_out[cell, tier, aim] or better


def compare(signals, facts, wanted, tiers):
    """Return what the deciding transmitters and the whole list say at every aim, (cells, 7, aims) each."""
    receiver = ListReceiver(facts, tiers, wanted, OPTIONS, signals.heights_m, signals.surroundings)
    fields = fields_of(signals, receiver.kind_of(signals), receiver.level_of)
    shape = signals.open_land.size, len(tiers), len(AIMS)
    found = {name: np.full(shape, np.nan) for name in ("few", "whole", "least", "most", "slack")}
    found |= {name: np.zeros(shape, bool) for name in ("reached", "left_out")}
    work = cell_arrays(signals.heights_m.size, receiver.model)
    _compare(0.9, receiver.asked, fields, receiver.model, work, *found.values())
    return SimpleNamespace(**found, told=~np.isnan(found["few"]))


@pytest.fixture(scope="module", params=LISTS)
def compared(request):
    make, wanted, tiers, share = LISTS[request.param]
    found = compare(*make(), wanted, tiers)
    assert found.told.mean() >= share
    found.every = wanted.needed == len(wanted.services)
    return found


def test_the_few_tell_what_the_whole_list_says(compared):
    told = compared.told
    assert np.all(np.abs(compared.few - compared.whole)[told] <= compared.slack[told])
    if told.any():  # squares of every kind
        assert compared.whole[told].min() < 0.1
        assert compared.whole[told].max() > 0.9


def test_whether_a_chance_is_reached_is_the_answer_of_the_whole_list(compared):
    assert np.array_equal(compared.reached, compared.whole >= 0.9)


def test_the_chance_lies_between_its_bounds(compared):
    told = compared.told
    of_sites = compared.few[told] if compared.every else 1.0 - compared.few[told]
    assert np.all(of_sites >= compared.least[told] - 1e-3)  # eight points of the integral
    assert np.all(of_sites <= compared.most[told] + 1e-3)


def test_a_transmitter_left_out_is_never_the_better_one_unless_both_are_certain(compared):
    assert not compared.left_out.any()


def test_lobes_that_follow_the_frequency_are_not_taken_for_alike():
    tiers = TierTable(tuple(with_narrowing_lobe(tier) for tier in SURE_TIERS))
    told = compare(*random_scene(40), bench_list(20), tiers).told
    assert told[:, :3].all()
    assert not told[:, 3:].any()


@pytest.mark.parametrize("deviation", [-13.0, -6.0, -3.0, -1.0, -0.3, 0.0, 0.2, 1.0, 2.5, 5.0])
def test_shares_in_single_precision(deviation):
    expected = 1.0 - NormalDist().cdf(deviation)
    found = float(_share(np.float32(deviation)))
    assert found == pytest.approx(expected, abs=5e-7)


@lean_kernel
def _share(deviation):
    return share_above(deviation)


@lean_kernel
def _lesser(rows):
    take_lesser(rows.shape[1], 0, PARTS, 2 * PARTS, rows)


def test_the_lesser_of_many_pairs_is_that_of_each_pair():
    random = np.random.default_rng(3)
    rows = np.empty((2 * PARTS + 2, 40))
    for first in (0, PARTS):
        rows[first] = random.normal(0.0, 2.0, 40)
        rows[first + 1] = random.uniform(0.3, 1.0, 40)
        rows[first + 2] = random.uniform(0.2, 1.0, 40)
        rows[first + 3] = random.uniform(0.5, 0.9, 40) * np.sqrt(rows[first + 1])
    before = rows.copy()
    _lesser(rows)
    for column in range(40):
        mean, variance, home, site, other, other_variance, other_home, other_site = before[:8, column]
        lesser = least_moments(mean, variance, other, other_variance, site * other_site)
        assert rows[:2, column] == pytest.approx(lesser[:2], abs=1e-6)
        share = lesser[2]
        assert rows[2, column] == pytest.approx(share * home + (1.0 - share) * other_home, abs=1e-6)
        assert rows[3, column] == pytest.approx(share * site + (1.0 - share) * other_site, abs=1e-6)


def in_order(signals, order):
    """Return signals with their cells in another order."""
    cells = signals.open_land.size
    arrays = {
        name: np.ascontiguousarray(values[..., order])
        for name, values in vars(signals).items()
        if isinstance(values, np.ndarray) and values.shape[-1:] == (cells,)
    }
    return replace(signals, **arrays)


# Work arrays are kept from cell to cell: with several transmitters a service more of them are read.
IN_ANY_ORDER = LISTS | {
    "many alternatives": (lambda: crowd(600, 10.0), wanted_of((0, 2, 3), (1, 5, 6), (4, 7)), SURE_TIERS, 0.0),
}


@pytest.mark.parametrize("name", IN_ANY_ORDER)
def test_an_answer_does_not_depend_on_the_cells_before_it(name):
    make, wanted, tiers, _ = IN_ANY_ORDER[name]
    signals, facts = make()
    receiver = ListReceiver(facts, tiers, wanted, OPTIONS, signals.heights_m, signals.surroundings)
    order = np.random.default_rng(11).permutation(signals.open_land.size)
    first, shuffled = receiver.receive(signals), receiver.receive(in_order(signals, order))
    for kind, values in vars(first).items():
        np.testing.assert_array_equal(vars(shuffled)[kind], values[..., order], err_msg=kind)
