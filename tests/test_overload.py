"""Stations too strong for an amplifier or a tuner, and what that does to a cell."""

from dataclasses import replace

import numpy as np
import pytest
from reception_places import ADDRESS, TIERS, facts_of, one_cell, wanted_of, with_more

from covermap.reception import ReceiverSignals, ReceptionOptions, TierTable, aim_plan, best_aim, receive
from covermap.reception.signals import (
    AMPLIFIER_CODES,
    MAY_OVERLOAD,
    NEEDS_FILTER,
)
from covermap.reception.tiers import Distribution

OPTIONS = ReceptionOptions()
NO_LIMIT = {"amp_in_max_dbm": np.inf, "amp_out_max_dbm": np.inf}
ALL_THREE = wanted_of(0, 1, 2)


def stronger_a(by_db):
    """Return the worked address with A stronger."""
    return replace(ADDRESS, field_dbuvm=ADDRESS.field_dbuvm + np.array([by_db, 0.0, 0.0]))


def plan_with(by_db, tier=TIERS[6]):
    return aim_plan(stronger_a(by_db), tier, 40.0)


def cell_with(signals, wanted=ALL_THREE, tiers=TIERS, options=OPTIONS):
    return receive(one_cell(signals, 2.0), signals.facts, tiers, wanted, options)


def amplifier_of(cell):
    return AMPLIFIER_CODES[cell.amplifier[0]]


# --- the worked address with a local station: by hand, limits -15 and 0 dBm at the amplifier, -5 at the tuner


def test_the_address_as_it_stands_overloads_nothing():
    plan = plan_with(0.0)
    assert not plan.overloads
    assert not plan.may_overload


def test_a_local_station_reaches_the_amplifier_s_output_first():
    assert plan_with(43.4).overload_db == pytest.approx(0.0, abs=0.1)
    assert plan_with(43.4).overload_port == "amplifier output"
    assert not plan_with(43.2).overloads
    assert plan_with(43.6).overloads


def test_a_local_station_may_overload_a_spread_earlier():
    assert not plan_with(36.9).may_overload
    assert plan_with(37.3).may_overload
    assert not plan_with(37.3).overloads


def test_tuner_and_amplifier_input_would_follow():
    without_output = replace(TIERS[6], amp_out_max_dbm=np.inf)
    tuner = plan_with(46.1, without_output)
    assert tuner.overload_port == "tuner"
    assert tuner.overload_db == pytest.approx(0.0, abs=0.1)
    narrow = replace(without_output, passive_loss_db=60.0)  # so that the tuner is out of the way
    at_input = plan_with(46.4, narrow)
    assert at_input.overload_port == "amplifier input"
    assert at_input.overload_db == pytest.approx(0.0, abs=0.1)


def test_levels_at_each_port():
    # 45 dB more: output +1.6, tuner -6.1, input -16.4 dBm
    assert plan_with(45.0).overload_db == pytest.approx(1.6, abs=0.1)
    without_output = replace(TIERS[6], amp_out_max_dbm=np.inf)
    assert plan_with(45.0, without_output).overload_db - 5.0 == pytest.approx(-6.1, abs=0.1)
    at_input = replace(without_output, passive_loss_db=60.0)
    assert plan_with(45.0, at_input).overload_db - 15.0 == pytest.approx(-16.4, abs=0.1)


@pytest.mark.parametrize(
    ("in_max_dbm", "out_max_dbm"),
    [
        (-20.6, np.inf),  # by hand: -16.4 dBm at the antenna less 4.2 dB of 25 m of cable
        (np.inf, -6.6),  # and 14 dB of gain
    ],
)
def test_an_amplifier_in_the_house_has_its_own_limit_behind_the_cable(in_max_dbm, out_max_dbm):
    house = replace(
        TIERS[5], passive_loss_db=60.0, distribution=Distribution(14.0, 4.5, in_max_dbm, out_max_dbm, 0.0)
    )
    plan = plan_with(45.0, house)
    assert plan.overload_port == "distribution amplifier"
    assert plan.overload_db == pytest.approx(0.0, abs=0.1)


def test_verdicts_of_the_address():
    assert cell_with(ADDRESS).tier[0] == 6
    assert cell_with(ADDRESS).aim_deg[0] == 40
    assert cell_with(ADDRESS).second_aim_deg[0] == -1
    assert (cell_with(ADDRESS).aim_from_deg[0], cell_with(ADDRESS).aim_to_deg[0]) == (357, 84)
    assert amplifier_of(cell_with(ADDRESS)) == "helps"
    assert cell_with(ADDRESS).plan_flags[0] & (NEEDS_FILTER | MAY_OVERLOAD) == 0
    chances = cell_with(ADDRESS).tier_chance_percent[:, 0]
    assert chances[4] == pytest.approx(85, abs=10)  # one aim 75.5, two antennas 84.7
    assert chances[5] == pytest.approx(98.3, abs=0.8)


def test_at_70_percent_a_rooftop_with_one_aim_will_do():
    cell = cell_with(ADDRESS, options=replace(OPTIONS, confidence_percent=70.0))
    assert cell.tier[0] == 5
    assert cell.second_aim_deg[0] == -1
    # worked at ADDRESS: 14.8, 12.9 and 4.7 dB at one aim
    assert cell.tier_chance_percent[4, 0] == pytest.approx(75.5, abs=1.0)


def test_without_c_a_rooftop_without_amplifier_will_do():
    cell = cell_with(ADDRESS, wanted_of(0, 1))
    assert cell.tier[0] == 5
    # both by hand in test_aim.test_address_without_its_third_station
    assert cell.tier_chance_percent[4, 0] == pytest.approx(96.8, abs=0.8)
    assert cell.tier_chance_percent[3, 0] == pytest.approx(53.5, abs=1)
    # giving up the service that decides is worth a tier; which one it is, is the lowest chance at tier 5: C
    all_three = cell_with(ADDRESS)
    assert all_three.deciding_service[0] == 2
    assert all_three.tier_without_deciding[0] == 5
    assert all_three.limiting_service[0] == 1  # B: high VHF with house noise in play


def test_a_local_station_leaves_the_class_and_asks_for_a_filter():
    # two antennas without an amplifier would hold the list too, at 6 + 4 against 8: a filter costs less
    cell = cell_with(stronger_a(45.0))
    assert (cell.tier[0], cell.second_aim_deg[0]) == (6, -1)
    assert cell.plan_flags[0] & NEEDS_FILTER
    assert amplifier_of(cell) == "helps_with_filter"


def one_direction(by_db):
    """Return the address with all stations at 40 degrees and C so weak that it needs the amplifier."""
    return replace(
        stronger_a(by_db), bearing_deg=np.full(3, 40.0), field_dbuvm=np.array([58.8 + by_db, 49.9, 48.0])
    )


def test_a_local_station_flips_the_verdict():
    # A 43.4 dB stronger reaches the limit, 37.1 dB stronger may do so
    before, close, over = (cell_with(one_direction(by_db)) for by_db in (36.0, 38.0, 45.0))
    assert [int(cell.tier[0]) for cell in (before, close, over)] == [6, 6, 6]  # never a hole
    flags = [int(cell.plan_flags[0]) & (NEEDS_FILTER | MAY_OVERLOAD) for cell in (before, close, over)]
    assert flags == [0, MAY_OVERLOAD, NEEDS_FILTER]
    assert [amplifier_of(cell) for cell in (before, close, over)] == ["helps", "helps", "helps_with_filter"]


@pytest.mark.parametrize(("by_db", "code"), [(0.0, "not_needed"), (45.0, "harms")])
def test_an_amplifier_where_the_list_holds_without(by_db, code):
    # without C tier 5 holds; an amplifier is not needed, and 43.4 dB more of A overload it
    assert amplifier_of(cell_with(stronger_a(by_db), wanted_of(0, 1))) == code


@pytest.mark.parametrize(
    ("fields_db", "more", "code"),
    [
        # 515 MHz at the aim: without an amplifier nearly all noise is the set's own (F_sys 14.6 dB, of which
        # 1 dB comes in from outside); at 12 dB(uV/m) the signal is 20 dB short even with one
        (12.0, None, "no_use_signal"),
        # a station on its channel from the same direction, 8 dB down: C/I 8 against 15.2 dB needed
        (80.0, 72.0, "no_use_interference"),
    ],
)
def test_why_an_amplifier_is_of_no_use(fields_db, more, code):
    alone = ReceiverSignals(facts_of([515.0], [0]), np.array([fields_db]), np.array([40.0]))
    signals = alone
    if more is not None:
        signals = with_more(alone, field_dbuvm=more, bearing_deg=40.0, frequency_mhz=515.0, mast=1)
    cell = cell_with(signals, wanted_of(0))
    assert cell.tier[0] == 8
    assert amplifier_of(cell) == code


# --- one station of 105 dBuV/m at 575 MHz, 10 dBd: by hand -15.3 dBm at the antenna


def bench(amplified):
    """Return tier 6 with a cable of 5.2 dB, a splitter of 7.5 dB, with or without its amplifier of 18 dB."""
    cable_m = 100.0 * 5.2 / (16.0 * np.sqrt(575.0 / 500.0))
    tier = replace(TIERS[6], cable_m=cable_m, passive_loss_db=7.5)
    return tier if amplified else replace(tier, amplifier_gain_db=np.nan)


STRONG = ReceiverSignals(facts_of([575.0], [0]), np.array([105.0]), np.array([0.0]))


@pytest.mark.parametrize(
    ("amplified", "limits", "over_db", "port"),
    [
        (True, {}, 2.7, "amplifier output"),  # +2.7 against 0 dBm
        (True, {"amp_out_max_dbm": np.inf}, -0.3, "amplifier input"),  # -15.3 against -15 dBm
        (True, NO_LIMIT, -10.0 + 5.0, "tuner"),  # -10.0 against -5 dBm
        (False, {}, -28.0 + 5.0, "tuner"),
    ],
)
def test_one_strong_station_at_each_port(amplified, limits, over_db, port):
    plan = aim_plan(STRONG, replace(bench(amplified), **limits), 0.0)
    assert plan.overload_port == port
    assert plan.overload_db == pytest.approx(over_db, abs=0.1)


def test_power_of_several_stations_adds_up_at_the_amplifier():
    # four equal stations: 6.0 dB more than one
    four = ReceiverSignals(
        facts_of([575.0] * 4, [0, 1, 2, 3]), np.full(4, 95.0), np.zeros(4), ("a", "b", "c", "d")
    )
    one = aim_plan(replace(STRONG, field_dbuvm=np.array([95.0])), bench(True), 0.0)
    assert aim_plan(four, bench(True), 0.0).overload_db - one.overload_db == pytest.approx(6.02, abs=0.01)


def test_a_tuner_stands_less_of_each_of_several_channels():
    # ATSC A/74 (from memory): -5 dBm for one channel, -8 dBm for each of several
    two = with_more(STRONG, field_dbuvm=105.0, bearing_deg=0.0, frequency_mhz=587.0, mast=1)
    less_db = 20.0 * np.log10(587.0 / 575.0) + 5.2 * (np.sqrt(587.0 / 575.0) - 1.0)  # dipole and cable
    found = [aim_plan(signals, bench(False), 0.0).overload_db for signals in (STRONG, two)]
    assert found[1] - found[0] == pytest.approx(3.0 - less_db, abs=0.01)


def test_a_station_nobody_wants_overloads_too_and_the_pattern_helps():
    nobody = with_more(ADDRESS, field_dbuvm=108.0, bearing_deg=40.0, frequency_mhz=605.0, mast=2)
    behind = with_more(ADDRESS, field_dbuvm=108.0, bearing_deg=220.0, frequency_mhz=605.0, mast=2)
    ahead_db, behind_db = (aim_plan(s, TIERS[6], 40.0).overload_db for s in (nobody, behind))
    assert ahead_db > 0.0
    assert ahead_db - behind_db == pytest.approx(14.0, abs=0.05)  # front to back


# --- what a cell becomes


def test_overload_never_makes_a_hole():
    # so strong that the tuner suffers with every tier: the lowest tier that holds is kept, with a filter
    near = replace(STRONG, field_dbuvm=np.array([165.0]))
    cell = receive(one_cell(near), near.facts, TIERS, wanted_of(0), OPTIONS)
    assert cell.tier[0] == 1
    assert cell.plan_flags[0] & NEEDS_FILTER
    assert np.all(cell.tier_chance_percent[:, 0] == 100)
    assert cell.dead_zone_chance_percent[0] == 100


def test_a_tier_that_does_not_overload_goes_before_one_that_does():
    # A overloads tier 6 and 7 only by their amplifiers; without C, tier 5 carries the list unharmed
    cell = cell_with(stronger_a(45.0), wanted_of(0, 1))
    assert cell.tier[0] == 5
    assert cell.plan_flags[0] & NEEDS_FILTER == 0


def test_chances_leave_overload_out():
    signals = stronger_a(50.0)
    endless = TierTable(tuple(replace(tier, **(NO_LIMIT if tier.has_amplifier else {})) for tier in TIERS))
    with_limits, without = cell_with(signals), cell_with(signals, tiers=endless)
    assert np.array_equal(with_limits.tier_chance_percent, without.tier_chance_percent)
    assert with_limits.dead_zone_chance_percent[0] == without.dead_zone_chance_percent[0]


def test_an_amplifier_that_meets_noise_from_outside_does_nothing():
    # 69 MHz in a city: 25.9 dB of noise from outside (ITU-R P.372), the amplifier brings 0.5 dB at most
    signals = ReceiverSignals(facts_of([69.0], [0]), np.array([46.0]), np.array([10.0]))
    cell = receive(
        one_cell(signals), signals.facts, TIERS, wanted_of(0), replace(OPTIONS, noise_environment="city")
    )
    assert amplifier_of(cell) == "no_use_noise"
    chances = cell.tier_chance_percent[:, 0].astype(int)
    assert 0 <= chances[5] - chances[4] < 5
    assert chances[5] < 90  # there was something to gain


@pytest.mark.parametrize("by_db", [30.0, 38.0, 42.0, 44.0, 48.0])
def test_overload_of_a_cell_is_that_of_its_plan(by_db):
    cell = cell_with(one_direction(by_db))
    plan = best_aim(one_direction(by_db), TIERS[6])
    assert cell.tier[0] == 6
    assert bool(cell.plan_flags[0] & NEEDS_FILTER) == plan.overloads
    assert bool(cell.plan_flags[0] & MAY_OVERLOAD) == (plan.may_overload and not plan.overloads)
