"""Why a service is weak: each cause on a cell made for it, and what noise costs, by hand."""

from dataclasses import replace

import numpy as np
import pytest
from reception_places import ADDRESS, TIERS, facts_of, one_cell, wanted_of, with_more

from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception import ReceiverSignals, ReceptionOptions, aim_plan, best_aim, receive
from covermap.reception.causes import (
    CAUSES,
    Obstructions,
    cause_of,
    main_cause,
    noise_loss_db,
    service_causes,
)
from covermap.reception.channels import on_one_channel
from covermap.reception.signals import NEEDS_FILTER

OPTIONS = ReceptionOptions()
APART = np.eye(3, dtype=bool)  # three stations, each on a channel of its own


def obstructions(obstacle_db=0.0, path_class="clear", null_db=0.0, land_cover=True, stations=1):
    return Obstructions(
        np.full((stations, 1), obstacle_db, np.float32),
        np.full((stations, 1), PATH_CLASSES.index(path_class), np.uint8),
        np.full((stations, 1), null_db, np.float32),
        land_cover,
    )


def cause(interference_db=0.0, noise_db=0.0, station=0, one_channel=True, **of_path):
    found = cause_of(
        np.array([station]),
        np.array([1]),
        np.array([interference_db]),
        np.array([noise_db]),
        obstructions(**of_path),
        np.full((2, 2), one_channel),
    )
    return CAUSES[found[0]] if found[0] < len(CAUSES) else ""


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"obstacle_db": 18.3, "path_class": "one_ridge"}, "ridges"),
        ({"obstacle_db": 37.0, "path_class": "two_ridges"}, "ridges"),
        ({"obstacle_db": 40.0, "path_class": "many_ridges"}, "ridges"),
        ({"obstacle_db": 25.0, "path_class": "earth_bulge"}, "earth_bulge"),
        ({"obstacle_db": 60.0, "path_class": "scatter"}, "earth_bulge"),
        ({"obstacle_db": 12.0, "path_class": "clear"}, "clutter"),
        ({"obstacle_db": 12.0, "path_class": "grazing"}, "clutter"),
        ({"obstacle_db": 12.0, "path_class": "clear", "land_cover": False}, "distance"),
        ({"obstacle_db": 3.0, "path_class": "clear"}, "distance"),  # nothing in the way: it is far
        ({"obstacle_db": 5.9, "path_class": "one_ridge"}, "distance"),  # under 6 dB is no cause (judgement)
        ({"noise_db": 19.0}, "noise"),
        ({"interference_db": 19.0}, "same_channel"),
        ({"interference_db": 19.0, "one_channel": False}, "next_channel"),
        ({"null_db": 19.0}, "pattern_null"),
    ],
)
def test_each_cause(given, expected):
    assert cause(**given) == expected


@pytest.mark.parametrize(
    ("losses_db", "greatest"),
    [
        ({"interference_db": 17.0, "noise_db": 10.0, "null_db": 9.0}, "ridges"),
        ({"interference_db": 19.0, "noise_db": 10.0, "null_db": 9.0}, "same_channel"),
        ({"interference_db": 19.0, "noise_db": 20.0}, "noise"),
        ({"noise_db": 20.0, "null_db": 21.0}, "pattern_null"),
    ],
)
def test_the_greatest_loss_is_the_cause(losses_db, greatest):
    assert cause(obstacle_db=18.0, path_class="one_ridge", **losses_db) == greatest


def test_unknown_stays_unknown():
    assert cause(station=-1, obstacle_db=30.0) == ""
    assert cause(obstacle_db=np.nan, path_class="one_ridge") == "distance"  # a loss nobody knows is none


def test_noise_by_hand():
    # what external noise adds to the receiver's own: 10 log10(f_sys / (f_sys - f_a))
    facts = facts_of([515.0, 189.0, 69.0], [0, 1, 2])
    table = noise_loss_db(facts, TIERS, OPTIONS)
    assert table.shape == (7, 3)
    # rooftop and amplifier, 515 MHz: f_sys 2.474, f_a 1.259 (F_a 1 dB): 10 log10(2.474 / 1.215)
    assert table[5, 0] == pytest.approx(3.09, abs=0.03)
    # the same at 189 MHz: w 0.891: -10 log10(0.109)
    assert table[5, 1] == pytest.approx(9.63, abs=0.06)
    # rooftop at 69 MHz, residential: F_a 21.56 dB = 143; cable 1.49 + 3.5 + 7 dB = 15.8; f_sys 158
    assert table[4, 2] == pytest.approx(10.0 * np.log10(158.0 / 14.8), abs=0.06)
    # more noise costs more
    city = noise_loss_db(facts, TIERS, replace(OPTIONS, noise_environment="city"))
    assert np.all(city[3:, 1:] > table[3:, 1:])


def test_main_cause_is_that_of_the_deciding_service_one_tier_lower():
    # the worked address needs tier 6 because of C (M2, one ridge and trees 24 dB), 75 degrees off the aim
    found = receive(one_cell(ADDRESS, 2.0), ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    assert found.deciding_station[0] == 2
    noise_db = noise_loss_db(ADDRESS.facts, TIERS, OPTIONS)
    around = Obstructions(
        np.array([[37.0], [32.0], [24.0]], np.float32),
        np.array([[PATH_CLASSES.index(name)] for name in ("two_ridges", "two_ridges", "clear")], np.uint8),
        np.zeros((3, 1), np.float32),
        True,
    )
    assert CAUSES[main_cause(found, noise_db, around, APART)[0]] == "clutter"
    ridge = replace(around, path_class=np.full((3, 1), PATH_CLASSES.index("one_ridge"), np.uint8))
    assert CAUSES[main_cause(found, noise_db, ridge, APART)[0]] == "ridges"


def test_tier_1_and_unknown_cells_have_no_cause():
    near = replace(ADDRESS, field_dbuvm=np.full(3, 105.0))
    cell = one_cell(near)
    found = receive(cell, ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    assert found.tier[0] == 1
    noise_db = noise_loss_db(ADDRESS.facts, TIERS, OPTIONS)
    assert main_cause(found, noise_db, obstructions(30.0, "one_ridge", stations=3), APART)[0] == 255
    cell.field_dbuvm[0] = np.nan
    unknown = receive(cell, ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    assert main_cause(unknown, noise_db, obstructions(30.0, "one_ridge", stations=3), APART)[0] == 255
    assert np.all(service_causes(unknown, 90.0, noise_db, obstructions(stations=3), APART) == 255)


def test_a_plan_that_needs_a_filter_is_hard_because_of_overload():
    level = np.array([103.8, 49.9, 48.0])  # A 45 dB over the worked address, C too weak for no amplifier
    signals = replace(ADDRESS, bearing_deg=np.full(3, 40.0), field_dbuvm=level)
    found = receive(one_cell(signals, 2.0), ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    assert found.plan_flags[0] & NEEDS_FILTER
    noise_db = noise_loss_db(ADDRESS.facts, TIERS, OPTIONS)
    assert (
        CAUSES[main_cause(found, noise_db, obstructions(30.0, "one_ridge", stations=3), APART)[0]]
        == "overload"
    )


@pytest.mark.parametrize(
    ("apart_mhz", "over_db", "expected"),
    [
        (0.0, -15.0, "same_channel"),  # 15 dB apart, 15.2 needed
        (6.0, 26.0, "next_channel"),  # 26 dB the other way: 47 CFR 73.620 gives -26 dB above the channel
        (-6.0, 28.0, "next_channel"),  # and -28 dB below it
        (3.0, -12.0, "same_channel"),  # half of it falls into the channel: 12.2 dB needed
    ],
)
def test_a_cell_with_interference_names_the_station_and_where_its_channel_lies(apart_mhz, over_db, expected):
    signals = ReceiverSignals(
        facts_of([569.0], [0]), np.array([75.0]), np.array([0.0]), ("News",), clutter_height_m=10.0
    )
    other = {"bearing_deg": 5.0, "mast": 1, "frequency_mhz": 569.0 + apart_mhz}
    signals = with_more(signals, field_dbuvm=75.0 + over_db, **other)
    fainter = {"bearing_deg": 5.0, "mast": 2, "frequency_mhz": 569.0}
    signals = with_more(signals, field_dbuvm=40.0, **fainter)
    found = receive(one_cell(signals), signals.facts, TIERS, wanted_of(0), OPTIONS)
    assert found.tier[0] == 8
    noise_db = noise_loss_db(signals.facts, TIERS, OPTIONS)
    around = obstructions(stations=3), on_one_channel(signals.facts)
    assert CAUSES[main_cause(found, noise_db, *around)[0]] == expected
    assert CAUSES[service_causes(found, 90.0, noise_db, *around)[0, 0]] == expected
    assert found.deciding_interference_db[0] > 15
    assert found.deciding_interferer[0] == found.service_interferer[0, 0] == 1
    assert best_aim(signals, TIERS[5]).interferer.tolist() == [1]


def test_nobody_interferes_where_nothing_is_on_the_channel():
    found = receive(one_cell(ADDRESS, 2.0), ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    assert found.deciding_interferer[0] == -1
    assert np.all(found.service_interferer == -1)


def test_in_a_network_only_what_falls_outside_the_window_interferes():
    # 200 and 300 us after the first with a window of 224 us, from three directions
    facts = facts_of([569.0] * 3, [0, 1, 2], network=[0] * 3, delay_us=[0.0] * 3, window_us=[224.0] * 3)
    signals = ReceiverSignals(
        facts, np.array([85.0, 84.0, 70.0]), np.zeros(3), ("News",) * 3, clutter_height_m=10.0,
        distance_km=0.299792 * np.array([100.0, 300.0, 400.0]),
    )  # fmt: skip
    plan = aim_plan(signals, TIERS[5], 0.0)
    assert plan.station.tolist() == [0]
    assert plan.interferer.tolist() == [2]


def test_a_service_that_arrives_has_no_cause():
    found = receive(one_cell(ADDRESS, 2.0), ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    noise_db = noise_loss_db(ADDRESS.facts, TIERS, OPTIONS)
    assert np.all(
        service_causes(found, 90.0, noise_db, obstructions(30.0, "one_ridge", stations=3), APART) == 255
    )
    weak = replace(ADDRESS, field_dbuvm=ADDRESS.field_dbuvm - np.array([0.0, 0.0, 40.0]))
    found = receive(one_cell(weak, 2.0), ADDRESS.facts, TIERS, wanted_of(0, 1, 2), OPTIONS)
    each = service_causes(found, 90.0, noise_db, obstructions(30.0, "one_ridge", stations=3), APART)[:, 0]
    assert CAUSES[each[2]] == "ridges"
