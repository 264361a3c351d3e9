"""Two antennas: combined with loss and ripple, or one a band behind a diplexer; the search for their aims."""

import math
from dataclasses import replace

import numpy as np
import pytest
from plain_search import best_two, every_pair
from reception_places import ADDRESS, TIERS, facts_of, one_cell, wanted_of

from covermap.reception import (
    ReceiverSignals,
    ReceptionOptions,
    TierTable,
    aim_plan,
    best_aim,
    receive,
    receiving_chain,
)
from covermap.reception.chain import COMBINER_LOSS_DB, combined_noise_factor
from covermap.reception.installations import in_order_of_cost
from covermap.reception.plan_columns import (
    CHANCE,
    COMBINED,
    DIPLEXED,
    PLAN_COLUMNS,
)
from covermap.reception.plan_loss import combined_loss_db
from covermap.reception.receiver_site import receiver_site_with
from covermap.reception.signals import SECOND_VERTICAL, VERTICAL_MOUNT
from covermap.reception.two_antennas import aim_arrays, search_two

OPTIONS = ReceptionOptions()


@pytest.mark.parametrize(("apart_db", "ripple_db"), [(12.0, 2.5), (14.0, 1.9), (20.0, 0.9)])
def test_ripple_of_two_combined_antennas(apart_db, ripple_db):
    # by hand: 20 log10(1 - 10^(-x / 20)), x dB down at the other antenna
    assert combined_loss_db(0.0, apart_db, True) == pytest.approx(ripple_db, abs=0.05)
    assert combined_loss_db(apart_db, 0.0, True) == pytest.approx(ripple_db, abs=0.05)


def test_a_disturbing_signal_takes_the_strongest_sum():
    assert combined_loss_db(3.0, 3.0, False) == pytest.approx(3.0 - 6.02, abs=0.01)  # voltages add
    assert combined_loss_db(3.0, 3.0, True) == math.inf  # they may cancel


def test_combined_noise_by_hand():
    # 2 f_a + l_a f_r - 2 at 515 MHz: F_a 1 dB, cable 25 m 4.06, splitter 3.5, tuner 7, combiner 3.5 dB
    outside, inside = 10.0**0.1, 10.0 ** ((4.06 + 3.5 + 7.0 + 3.5) / 10.0)
    chain = receiving_chain(TIERS[5], 515.0, external_noise_db=1.0, joined="combined")
    by_hand = 2.0 * outside + inside - 2.0
    assert 10.0 ** (chain.system_noise_db / 10.0) == pytest.approx(by_hand, rel=2e-3)
    assert chain.external_noise_share == pytest.approx(2.0 * outside / by_hand, rel=2e-3)
    assert combined_noise_factor(1.0, 2.0, inside) == pytest.approx(2.0 * outside + 10**0.2 * inside - 2.0)
    assert COMBINER_LOSS_DB == 3.5


def test_75_degrees_apart_aimed_between():
    # a lobe of 60 degrees, 37.5 degrees off: 12 (37.5 / 60)^2 = 4.7 dB for each (tier 5's at 189 MHz)
    signals = ReceiverSignals(
        facts=facts_of([189.0, 189.0 + 18.0], [0, 1]),
        field_dbuvm=np.array([55.0, 55.0]),
        bearing_deg=np.array([40.0, 115.0]),
    )
    between = aim_plan(signals, TIERS[5], 77.5).margins_db
    at_it = [aim_plan(signals, TIERS[5], aim).margins_db[i] for i, aim in enumerate((40.0, 115.0))]
    assert np.array(at_it) - between == pytest.approx([4.7, 4.7], abs=0.05)


def test_two_rooftop_antennas_at_one_address():
    # the worked address: rooftop x 2, combined, no amplifier
    plan = aim_plan(ADDRESS, TIERS[5], 40.0, second_azimuth_deg=115.0, joined="combined")
    assert plan.margins_db == pytest.approx((9.4, 7.0, 13.3), abs=0.1)
    assert 100.0 * plan.chances == pytest.approx((93, 86, 98), abs=0.6)
    assert 100.0 * plan.chance == pytest.approx(
        80.0, abs=0.5
    )  # integral of those margins over the three factors
    assert [100.0 * bound for bound in plan.chance_bounds] == pytest.approx((78, 86), abs=0.6)
    assert plan.azimuths_deg == (40.0, 115.0)


def test_order_of_two_combined_antennas_does_not_matter():
    one = aim_plan(ADDRESS, TIERS[5], 40.0, second_azimuth_deg=115.0)
    other = aim_plan(ADDRESS, TIERS[5], 115.0, second_azimuth_deg=40.0)
    assert other.chance == pytest.approx(one.chance, abs=1e-12)


def test_a_diplexer_costs_its_loss_and_no_ripple():
    # VHF at 40 degrees, UHF at 115, each antenna at its own: the margins of one antenna less what 0.75 dB in
    # front of everything adds to the noise; at UHF with 1 dB of external noise: F_sys 14.55 -> 15.29 dB
    signals = replace(
        ADDRESS, bearing_deg=np.array([115.0, 40.0, 115.0]), facts=facts_of([569, 189, 515], [1, 0, 1])
    )
    plan = aim_plan(signals, TIERS[5], 40.0, second_azimuth_deg=115.0, joined="diplexed")
    aimed = [aim_plan(signals, TIERS[5], aim).margins_db for aim in (40.0, 115.0)]
    assert aimed[1][[0, 2]] - plan.margins_db[[0, 2]] == pytest.approx([0.75, 0.75], abs=0.02)
    assert 0.0 < aimed[0][1] - plan.margins_db[1] < 0.75  # outside noise does not pass the diplexer's loss


# Half a circle apart and not strong enough for the antenna's back.
APART = replace(ADDRESS, bearing_deg=np.array([40.0, 40.0, 200.0]), field_dbuvm=np.array([62.8, 57.9, 61.6]))


def cell_of(signals, options=OPTIONS, tiers=TIERS):
    return receive(one_cell(signals, 2.0), signals.facts, tiers, wanted_of(0, 1, 2), options)


def with_costs(**costs):
    """Return the tiers with a cost of a second antenna of their own, by tier."""
    return TierTable(
        tuple(
            replace(tier, second_antenna_cost_order=costs.get(f"tier_{tier.tier}", math.nan))
            for tier in TIERS
        )
    )


def test_two_antennas_reach_the_confidence_where_one_misses_it():
    assert best_aim(ADDRESS, TIERS[5]).chance < 0.9
    assert best_two(ADDRESS, TIERS[5]) is None  # two reach 84.7 % at best
    assert best_aim(APART, TIERS[5]).chance < 0.9
    two = best_two(APART, TIERS[5])
    assert two.joined == "combined"
    assert sorted(two.azimuths_deg) == pytest.approx([40.0, 200.0], abs=1.0)
    assert two.chance >= 0.9


@pytest.mark.parametrize(
    ("costs", "tier", "antennas"),
    [
        # one rooftop antenna with an amplifier costs 8 and holds; two without cost 6 and the second one
        ({"tier_5": 4.0}, 6, 1),
        ({"tier_5": 2.0}, 6, 1),  # as much: one antenna goes first
        ({"tier_5": 1.9}, 5, 2),
        ({}, 6, 1),  # no second antenna is put up
    ],
)
def test_the_least_costly_installation_that_holds_is_the_answer(costs, tier, antennas):
    assert best_aim(APART, TIERS[6]).chance >= 0.9
    cell = cell_of(APART, tiers=with_costs(**costs))
    assert (cell.tier[0], 1 + int(cell.second_aim_deg[0] >= 0)) == (tier, antennas)
    assert bool(cell.two_antennas_chance_percent[0] < 255) is (antennas == 2)
    # a tier's own chance is that of one antenna, whatever the answer
    assert cell.tier_chance_percent[4, 0] == pytest.approx(100.0 * best_aim(APART, TIERS[5]).chance, abs=1.0)
    if antennas == 2:
        two = best_two(APART, TIERS[5])
        assert cell.two_antennas_chance_percent[0] == pytest.approx(100.0 * two.chance, abs=0.6)
        assert {int(cell.aim_deg[0]), int(cell.second_aim_deg[0])} == {round(a) for a in two.azimuths_deg}
        assert 0 <= cell.second_from_deg[0] < 360


def test_indoors_one_antenna_stands_alone():
    apart = replace(
        ADDRESS, field_dbuvm=ADDRESS.field_dbuvm + 22.0, bearing_deg=np.array([40.0, 40.0, 220.0])
    )
    order = in_order_of_cost(with_costs(tier_3=0.0, tier_4=0.0), np.ones(7, bool)).tolist()
    assert [2, 2] not in order
    assert [3, 2] in order
    assert cell_of(apart).second_aim_deg[0] == -1


def test_one_mast_with_two_polarizations_may_take_an_antenna_for_each():
    # UHF horizontal and high VHF vertical of one mast at 57 and 52 dB(uV/m): the cross-polar 16 dB of one
    # antenna are lost by one of them; behind a diplexer each has its own, less 0.75 dB
    signals = ReceiverSignals(
        facts_of([569.0, 189.0], [0, 0], [0, 1]), np.array([57.0, 52.0]), np.array([40.0, 40.0]),
        clutter_height_m=10.0,
    )  # fmt: skip
    assert best_aim(signals, TIERS[5]).chance < 0.9
    two = best_two(signals, TIERS[5])
    assert two.joined == "diplexed"
    assert (two.polarization, two.second_polarization) == ("vertical", "horizontal")
    assert two.azimuths_deg == (40.0, 40.0)
    # each alone 98 %; the bands of a site fade in part together (docs/decisions/what_services_share.md)
    assert 0.98**2 <= two.chance <= 0.98
    cell = receive(one_cell(signals, 2.0), signals.facts, TIERS, wanted_of(0, 1), OPTIONS)
    assert (cell.tier[0], cell.second_aim_deg[0]) == (5, 40)
    assert cell.plan_flags[0] & (VERTICAL_MOUNT | SECOND_VERTICAL) == VERTICAL_MOUNT
    assert cell.tier_chance_percent[5, 0] == pytest.approx(90, abs=3)  # one antenna with an amplifier
    # 2 dB more, and that one holds and costs less
    louder = replace(signals, field_dbuvm=signals.field_dbuvm + 2.0)
    cell = receive(one_cell(louder, 2.0), signals.facts, TIERS, wanted_of(0, 1), OPTIONS)
    assert (cell.tier[0], cell.second_aim_deg[0]) == (6, -1)


# --- the search against every pair of whole fives of degrees


def random_home(random, band_split=False):
    masts = random.integers(2, 4)
    services = random.integers(masts, 8)
    mast = np.concatenate([np.arange(masts), random.integers(0, masts, services - masts)])
    bearing = random.uniform(0, 360, masts)
    frequency_mhz = 473.0 + 6.0 * random.choice(20, services, replace=False)
    if band_split:
        frequency_mhz[:1] = 189.0
    elif random.random() < 0.3:
        frequency_mhz[random.integers(0, services)] = random.choice([189.0, 69.0])
    mixed = random.random() < 0.25
    level = random.normal(random.uniform(60, 75), 6.0, masts)[mast] + random.normal(0, 3.0, services)
    return ReceiverSignals(
        facts=facts_of(frequency_mhz, mast, random.choice([0, 1], masts)[mast] if mixed else None),
        field_dbuvm=level,
        bearing_deg=bearing[mast],
        at_least=None if random.random() < 0.8 else int(max(1, services - 1)),
        clutter_height_m=10.0,
    )


def searches(joined, seed, homes, band_split):
    """Return chances of the search and of every pair, for homes where one antenna does not reach 90 %."""
    random = np.random.default_rng(seed)
    found = []
    for _ in range(homes):
        signals = random_home(random, band_split)
        for tier in (4, 5, 6, 7):
            if best_aim(signals, TIERS[tier]).chance >= 0.9:
                continue
            site = receiver_site_with(signals, TIERS[tier], joined)
            seen = site.wanted, site.figures, site.other_figures, site.pairs, site.receiver
            quick, whole = np.zeros(PLAN_COLUMNS), np.zeros(PLAN_COLUMNS)
            search_two(joined, 0.9, signals.needed, *seen, aim_arrays(site.wanted), quick)
            every_pair(joined, 0.9, signals.needed, *seen, whole)
            found.append((quick[CHANCE], whole[CHANCE]))
    return np.array(found)


@pytest.mark.parametrize(("joined", "seed", "band_split"), [(COMBINED, 21, False), (DIPLEXED, 22, True)])
def test_search_finds_what_every_pair_finds(joined, seed, band_split):
    found = searches(joined, seed, 200, band_split)
    passes = found >= 0.9
    assert passes[:, 1].sum() >= 8  # the scenes have something to find
    assert np.mean(passes[:, 0] != passes[:, 1]) <= 0.01
