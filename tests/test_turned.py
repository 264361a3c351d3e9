"""Antennas turned to one azimuth for good: what the map and the sheet count for them."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from reception_places import CROWD, crowded, place_of, wanted_of
from small_catalogue import CATALOGUE

from covermap.catalogue import installed
from covermap.errors import InputError
from covermap.reception import ReceptionOptions, aim_plan, best_aim
from covermap.reception.installed import HoldingReceiver, InstallationCounter, Receiving
from covermap.reception.turned import best_turned, hears_all_around, ways_to_turn
from covermap.tables import read_tiers

TIERS = read_tiers()
OPTIONS = ReceptionOptions()
CELLS = 120
LIST = wanted_of(0, 1, 2)  # UHF, high VHF and UHF, on two masts
APART = wanted_of(1, 2)  # high VHF on one mast, UHF on another
POLARIZATIONS = ("horizontal", "vertical")


def put_up(spec):
    return installed(spec, CATALOGUE, TIERS)


def around(signals, facts=CROWD):
    return Receiving(facts, OPTIONS, signals.heights_m, signals.surroundings)


@pytest.fixture(scope="module")
def signals():
    return crowded(CELLS, mean_dbuvm=62.0)


def best_of(chances):
    return np.array(chances).max(axis=0)


@pytest.mark.parametrize("upright", [False, True], ids=["as they are", "one station upright"])
@pytest.mark.parametrize("aim_deg", [0, 135, 250])
def test_a_turned_antenna_holds_where_it_does_at_that_aim(signals, aim_deg, upright):
    """As of a place: the plan at the same azimuth, with a polarization that a station of the list has."""
    facts, mounts = CROWD, POLARIZATIONS[:1]
    if upright:
        mounts = POLARIZATIONS
        polarization = np.array(CROWD.polarization)
        polarization[2] = 1
        facts = replace(CROWD, polarization=polarization)
    one = put_up(f"both:{aim_deg}")
    found = HoldingReceiver((one.plain,), LIST, around(signals, facts)).receive(signals)
    free = put_up("both").plain
    chances = []
    for cell in range(CELLS):
        place = place_of(signals, cell, free.tier, LIST)
        place = replace(place, facts=facts)
        chances.append(max(aim_plan(place, free, aim_deg, mount).chance for mount in mounts))
    chances = np.array(chances)
    sure = np.abs(chances - 0.9) > 1e-3
    assert np.array_equal(found[sure] == 1, chances[sure] >= 0.9)
    assert {0, 1} <= set(found.tolist()) or aim_deg != 135


def test_a_turned_antenna_never_holds_more_than_one_aimed_at_each_home(signals):
    free = HoldingReceiver((put_up("both").plain,), LIST, around(signals)).receive(signals)
    turned = [
        HoldingReceiver((put_up(f"both:{aim}").plain,), LIST, around(signals)).receive(signals)
        for aim in range(0, 360, 30)
    ]
    assert not (np.max(turned, axis=0) > free).any()
    counts = [int((one == 1).sum()) for one in turned]
    assert max(counts) > min(counts)  # it matters where it looks
    assert max(counts) < (free == 1).sum()


def test_one_of_a_pair_turned_leaves_the_other_its_own_aim(signals):
    """High VHF turned, UHF aimed at each home: never more than both aimed, never less than both turned."""
    specs = ("uhf_20+vhf_6", "uhf_20+vhf_6:135", "uhf_20:135+vhf_6:135")
    free, half, whole = (
        HoldingReceiver((put_up(spec).plain,), APART, around(signals)).receive(signals) == 1 for spec in specs
    )
    assert not (half & ~free).any()
    assert not (whole & ~half).any()
    assert free.sum() > half.sum() > whole.sum()
    cell = int(np.flatnonzero(half & ~whole)[0])
    tier = put_up("uhf_20+vhf_6:135").plain
    plan = best_turned(place_of(signals, cell, tier.tier, APART), tier)
    assert plan.azimuth_deg == 135.0
    assert plan.joined == "diplexed"
    assert plan.chance >= 0.9


@pytest.mark.parametrize("spec", ["both:135", "uhf_20+vhf_6:135", "uhf_20:40+vhf_6:135"])
def test_map_and_sheet_agree_on_a_turned_antenna(signals, spec):
    tier = put_up(spec).plain
    wanted = APART if "+" in spec else LIST
    found = HoldingReceiver((tier,), wanted, around(signals)).receive(signals)
    chances = np.array(
        [best_turned(place_of(signals, cell, tier.tier, wanted), tier).chance for cell in range(CELLS)]
    )
    sure = np.abs(chances - 0.9) > 2e-3
    assert np.array_equal(found[sure] == 1, chances[sure] >= 0.9)


def test_services_of_a_turned_antenna_are_those_that_arrive_at_that_aim(signals):
    services = SimpleNamespace(
        services=tuple("abcdefgh"), transmitters=tuple((n,) for n in range(8)), needed=8, at_least=None
    )
    one = put_up("both:135")
    bits = InstallationCounter([one.plain, put_up("both").plain], services, around(signals)).count(signals)
    alone = bits & 1
    free = put_up("both").plain
    for cell in range(CELLS):
        chances = np.array(
            [
                [aim_plan(place, free, 135.0, mount).chance for mount in POLARIZATIONS]
                for place in (place_of(signals, cell, free.tier, wanted_of(n)) for n in range(8))
            ]
        )
        if np.abs(chances - 0.9).min() > 1e-3:
            arrive = chances >= 0.9
            most = int(arrive.sum(axis=0).argmax())  # mounted as brings most of them
            assert alone[:, cell].tolist() == arrive[:, most].tolist()
    assert not (alone.sum(axis=0) > ((bits >> 1) & 1).sum(axis=0)).any()


def test_turned_bands_hear_all_around_and_nothing_else_changes():
    tier = put_up("uhf_20+vhf_6:135").plain
    assert tier.turned_deg == {"high_vhf": 135.0}
    plain = hears_all_around(tier)
    assert math.isnan(plain.at(195.0).beamwidth_deg)
    assert plain.at(195.0).gain_dbd == tier.at(195.0).gain_dbd
    assert plain.at(600.0) == tier.at(600.0)
    assert ways_to_turn(plain, CROWD, LIST) == ()


def test_a_free_antenna_is_not_touched(signals):
    one = put_up("both").plain
    place = place_of(signals, 3, one.tier, LIST)
    assert one.turned_deg == {}
    assert best_aim(place, one).chance >= best_turned(place, put_up("both:135").plain).chance


@pytest.mark.parametrize("spec", ["both:x", "both:400", "both:-3", "both:", "uhf_20+vhf_6:nan"])
def test_a_bearing_that_is_none_is_told(spec):
    with pytest.raises(InputError, match="degrees from true north, 0 to 360"):
        put_up(spec)


def test_names_say_the_bearing():
    assert put_up("uhf_20+vhf_6:135").name == "uhf_20 + vhf_6 (135°)"
    assert put_up("both:360@gable").plain.turned_deg["uhf"] == 0.0
    with pytest.raises(InputError, match="one antenna twice"):
        put_up("both:10+both:20")
