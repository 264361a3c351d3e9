"""Single-frequency networks: one window, what falls into it adds up, what falls outside interferes.

Expected ratios are powers added by hand; all stations arrive far over the noise unless a test says so.
"""

from dataclasses import replace

import numpy as np
import pytest
from reception_places import TIERS, facts_of, one_cell, wanted_of

from covermap.propagation.compiling import lean_kernel
from covermap.reception import ReceiverSignals, ReceptionOptions, aim_plan, receive
from covermap.reception.aim_search import is_directional, search_circle, search_every_degree
from covermap.reception.plan_columns import CHANCE, PLAN_COLUMNS, SINGLE
from covermap.reception.receiver_site import receiver_site_with
from covermap.reception.search_arrays import CIRCLE, KNOWN, fill_squares, search_arrays
from covermap.tables import load_table

GUARD_US = 224.0  # ETSI EN 300 744: 8k mode, guard interval 1/4 (from memory)
KM_A_MICROSECOND = 0.299792  # speed of light
REQUIRED_CN_DB = 15.2


def network(arrivals_us, field_dbuvm, bearing_deg=None, window_us=GUARD_US, delay_us=None, service=None):
    """Return a place where stations of one network arrive after the first one by distance and delay."""
    count = len(arrivals_us)
    delay_us = np.zeros(count) if delay_us is None else np.array(delay_us, float)
    facts = facts_of(
        [569.0] * count,
        list(range(count)),
        required_cn_db=REQUIRED_CN_DB,
        network=[7] * count,
        delay_us=delay_us,
        window_us=[window_us] * count,
    )
    return ReceiverSignals(
        facts=facts,
        field_dbuvm=np.array(field_dbuvm, float),
        bearing_deg=np.zeros(count) if bearing_deg is None else np.array(bearing_deg, float),
        service=("News",) * count if service is None else tuple(service),
        clutter_height_m=10.0,
        distance_km=100.0 + KM_A_MICROSECOND * (np.array(arrivals_us) - delay_us),
    )


def carrier_to_interference_db(signals, aim_deg=0.0, **second):
    return aim_plan(signals, TIERS[5], aim_deg, **second).margins_db[0] + REQUIRED_CN_DB


@pytest.mark.parametrize(
    ("arrivals_us", "field_dbuvm", "ratio_db"),
    [
        # windows from -197 (70 and 53 over 59: 11.1 dB), from 0 (70 and 59 over 53: 17.3), from 217 (-11.1)
        ((-197.0, 0.0, 217.0), (53.0, 70.0, 59.0), 17.3),
        # the same turned round in time
        ((-217.0, 0.0, 197.0), (59.0, 70.0, 53.0), 17.3),
        # a span of twice the window: 60 and 60 over 60
        ((-200.0, 0.0, 200.0), (60.0, 60.0, 60.0), 3.0),
        # nothing else in any window: 70 over 53 and 59
        ((-300.0, 0.0, 300.0), (53.0, 70.0, 59.0), 10.0),
        # the strongest stays outside: 58.5, 58.5 and 50 over 60 against 60 over the others, -1.8 dB
        ((0.0, 300.0, 400.0, 500.0), (60.0, 58.5, 58.5, 50.0), 1.8),
        # from 0: 60, 50 and 62 over 58; from 100: 50, 62, 58 over 60, 3.6 dB; from 223: 3.0 dB
        ((0.0, 100.0, 223.0, 300.0), (60.0, 50.0, 62.0, 58.0), 6.3),
        # two pairs, each within a window of its own: 66 and 60 over 63 and 63
        ((0.0, 50.0, 400.0, 450.0), (66.0, 60.0, 63.0, 63.0), 1.0),
    ],
)
def test_window_stands_where_it_is_best(arrivals_us, field_dbuvm, ratio_db):
    signals = network(arrivals_us, np.array(field_dbuvm) + 45.0)
    assert carrier_to_interference_db(signals) == pytest.approx(ratio_db, abs=0.06)
    turned = network(arrivals_us[::-1], np.array(field_dbuvm[::-1]) + 45.0)
    assert carrier_to_interference_db(turned) == pytest.approx(ratio_db, abs=0.06)


def test_a_window_of_one_wanted_transmitter_holds_it():
    # only the first is wanted: 60 over 58.5, 58.5 and 50, though another window would be better
    signals = network(
        (0.0, 300.0, 400.0, 500.0), np.array([60.0, 58.5, 58.5, 50.0]) + 45.0, service=("News", "", "", "")
    )
    assert carrier_to_interference_db(signals) == pytest.approx(-1.8, abs=0.06)


@pytest.mark.parametrize(("aim_deg", "ratio_db"), [(0.0, 14.0), (180.0, 14.0), (90.0, 0.0)])
def test_the_aim_moves_the_window(aim_deg, ratio_db):
    # two alike, in no window together, before and behind an antenna with a front-to-back ratio of 14 dB
    signals = network((0.0, 300.0), (100.0, 100.0), bearing_deg=(0.0, 180.0))
    assert carrier_to_interference_db(signals, aim_deg) == pytest.approx(ratio_db, abs=0.06)


def test_two_antennas_take_the_worst_phase_of_what_adds_and_the_best_of_what_interferes():
    # each station 14 dB down in the other antenna: 20 log10(1 -+ 10^(-14 / 20)) = -1.933 and +1.583 dB
    signals = network((0.0, 300.0), (100.0, 100.0), bearing_deg=(0.0, 180.0))
    ratio_db = carrier_to_interference_db(signals, 0.0, second_azimuth_deg=180.0)
    assert ratio_db == pytest.approx(-1.933 - 1.583, abs=0.06)
    together = network((0.0, 200.0), (100.0, 100.0), bearing_deg=(0.0, 180.0))
    both = aim_plan(together, TIERS[5], 0.0, second_azimuth_deg=180.0).margins_db[0]
    one = aim_plan(network((0.0,), (100.0,)), TIERS[5], 0.0, second_azimuth_deg=180.0).margins_db[0]
    assert both - one == pytest.approx(3.01, abs=0.01)  # each loses as much


@pytest.mark.parametrize(
    ("arrivals_us", "below_db", "gain_db"),
    [
        # 10 log10 of the sum of powers: of 2, of 1 + 0.1, of 3 and of 4
        ((0.0, 10.0), (0.0, 0.0), 3.01),
        ((0.0, 10.0), (0.0, 10.0), 0.41),
        ((0.0, 10.0, 223.0), (0.0, 0.0, 0.0), 4.77),
        ((-110.0, 0.0, 10.0, 113.0), (0.0, 0.0, 0.0, 0.0), 6.02),
    ],
)
def test_signals_inside_the_window_add_up(arrivals_us, below_db, gain_db):
    alone = aim_plan(network((0.0,), (60.0,)), TIERS[5], 0.0).margins_db[0]
    signals = network(arrivals_us, 60.0 - np.array(below_db))
    assert aim_plan(signals, TIERS[5], 0.0).margins_db[0] - alone == pytest.approx(gain_db, abs=0.01)


@pytest.mark.parametrize(
    ("window_us", "inside_km", "outside_km"),
    [(224.0, 67.1, 67.3), (448.0, 134.2, 134.5)],  # guard intervals of EN 300 744 and EN 302 755: 67, 134 km
)
def test_window_in_kilometres(window_us, inside_km, outside_km):
    ratios_db = [
        carrier_to_interference_db(network((0.0, km / 0.299792), (100.0, 100.0), window_us=window_us))
        for km in (inside_km, outside_km)
    ]
    assert ratios_db[0] > 30.0  # nothing interferes
    assert ratios_db[1] == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize(
    ("distance_us", "delay_us", "inside"),
    # arrivals 200, 300, 267 and 167 us after the first one, against a window of 224 us
    [(200.0, 0.0, True), (200.0, 100.0, False), (267.0, 0.0, False), (267.0, -100.0, True)],
)
def test_a_sending_delay_moves_the_arrival(distance_us, delay_us, inside):
    signals = network((0.0, distance_us + delay_us), (100.0, 100.0), delay_us=(0.0, delay_us))
    assert (carrier_to_interference_db(signals) > 30.0) == inside


def test_windows_of_the_table():
    windows_us = {row["family"]: float(row["window_us"]) for row in load_table("sfn_windows")}
    # ETSI EN 300 744: 8k, guard interval 1/4; ETSI EN 302 755: 32k, 1/8 (both from memory)
    assert windows_us["dvbt"] == 224.0
    assert windows_us["dvbt2"] == 448.0
    assert windows_us["atsc1"] <= 50.0  # no guard interval: an equaliser of tens of microseconds


def test_outside_the_window_the_unwanted_time_percentage_counts():
    # 20 dB apart in the median, 12 dB more for 10 % of time: 8 dB; inside the window nothing of that counts
    signals = network((0.0, 300.0), (105.0, 85.0))
    night = replace(signals, unwanted_dbuvm=signals.field_dbuvm + np.array([0.0, 12.0]))
    assert carrier_to_interference_db(night) == pytest.approx(8.0, abs=0.06)
    inside = network((0.0, 200.0), (60.0, 60.0))
    night = replace(inside, unwanted_dbuvm=inside.field_dbuvm + np.array([0.0, 12.0]))
    assert aim_plan(night, TIERS[5], 0.0).margins_db == pytest.approx(
        aim_plan(inside, TIERS[5], 0.0).margins_db, abs=1e-9
    )


@pytest.mark.parametrize("unknown", [0, 1])
def test_a_network_station_that_is_not_known_does_no_harm(unknown):
    # the far station's path crosses a void: what the near one brings alone stays
    signals = network((0.0, 100.0), (60.0, 60.0), bearing_deg=(0.0, 90.0))
    cell = one_cell(signals)
    cell.field_dbuvm[unknown] = np.nan
    cell = replace(cell, distance_km=np.array([[30.0], [31.0]], np.float32))
    both = receive(cell, signals.facts, TIERS, wanted_of((0, 1)), ReceptionOptions())
    facts = replace(signals.facts, network=np.array([-1, -1]))
    single = receive(cell, facts, TIERS, wanted_of(1 - unknown), ReceptionOptions())
    assert both.tier[0] == single.tier[0]
    assert np.array_equal(both.tier_chance_percent, single.tier_chance_percent)


@lean_kernel
def quick_search(directional, needed, wanted, figures, other_figures, pairs, receiver, by_aim, plan):
    fill_squares(CIRCLE, 0, KNOWN, wanted, receiver.values, by_aim)
    search_circle(
        0.0, 0, 0.9, directional, needed, wanted, figures, other_figures, pairs, receiver, by_aim, plan
    )


def test_quick_search_finds_the_aim_of_every_degree_in_networks():
    # three or four stations of one network all around, a service of another mast beside them
    random = np.random.default_rng(4)
    lost = []
    for count in (3, 4) * 30:
        mast = random.normal(62.0, 7.0, count)
        alone = network(random.uniform(-300.0, 300.0, count), mast, np.round(random.uniform(0, 360, count)))
        site = receiver_site_with(alone, TIERS[5], SINGLE)
        seen = site.wanted, site.figures, site.other_figures, site.pairs, site.receiver
        full, few = np.empty(PLAN_COLUMNS), np.empty(PLAN_COLUMNS)
        search_every_degree(1, *seen, full)
        quick_search(is_directional(site.figures), 1, *seen, search_arrays(site.wanted), few)
        lost.append(full[CHANCE] - few[CHANCE])
    assert min(lost) > -1e-6
    assert np.percentile(lost, 95) < 0.005
    assert max(lost) < 0.03
