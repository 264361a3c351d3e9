"""Installations of the catalogue judged by reception: which holds a list, what each brings."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_equal
from reception_places import CROWD, crowded, place_of, wanted_of
from small_catalogue import CATALOGUE

from covermap.catalogue import installed
from covermap.errors import InputError
from covermap.reception import ReceptionOptions, aim_plan, best_aim, receive
from covermap.reception.installed import HoldingReceiver, InstallationCounter, Receiving
from covermap.reception.ladder import deaf_in, ladder
from covermap.reception.receive import ListReceiver
from covermap.tables import read_tiers

TIERS = read_tiers()
LOW_GAIN = CATALOGUE.devices["masthead_low"]
OPTIONS = ReceptionOptions()
CELLS = 120
LIST = wanted_of(0, 1, 2)  # UHF, high VHF and UHF, on two masts
APART = wanted_of(1, 2)  # high VHF on one mast, UHF on another


def put_up(spec, **more):
    return installed(spec, CATALOGUE, TIERS, **more)


def around(signals):
    return Receiving(CROWD, OPTIONS, signals.heights_m, signals.surroundings)


@pytest.fixture(scope="module")
def signals():
    return crowded(CELLS, mean_dbuvm=58.0)


@pytest.mark.parametrize(
    ("spec", "mount", "gain_uhf_dbd"),
    [
        # gains of tests/small_catalogue.py
        ("uhf_10", "rooftop", 8.0),
        ("uhf_10@loft", "loft", 8.0),
        ("panel", "window", 0.0),
        ("uhf_20+vhf_6", "rooftop", 11.0),
    ],
)
def test_what_a_word_puts_up(spec, mount, gain_uhf_dbd):
    one = put_up(spec, amplifier=LOW_GAIN)
    assert one.mount == mount
    assert one.plain.gain_dbd["uhf"] == gain_uhf_dbd
    assert not one.plain.has_amplifier
    assert one.amplifiers == (() if mount == "window" else (LOW_GAIN,))  # none stands beside the set
    assert all(tier.amplifier_gain_db == 14.0 for tier in one.tiers[1:])
    assert (one.plain.diplexer_loss_db > 0.0) == ("+" in spec)
    low, high = one.at_ends()
    assert low.gain_dbd["uhf"] <= one.plain.gain_dbd["uhf"] <= high.gain_dbd["uhf"]


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("uhf_11", 'no antenna "uhf_11". Did you mean uhf_10'),
        ("uhf_10+vhf_6+both", "found 3 antennas"),
        ("uhf_10@shelf", 'found the mount "shelf". It must be one of loft, gable, rooftop, mast'),
        ("uhf_10+panel", "no mount that suits both"),
    ],
)
def test_what_cannot_be_put_up_is_told(spec, said):
    with pytest.raises(InputError, match=said):
        put_up(spec)


def test_an_amplifier_is_left_out_beside_a_built_in_one():
    own = replace(CATALOGUE.antennas["uhf_10"], amplifier=LOW_GAIN)
    catalogue = replace(CATALOGUE, antennas={**CATALOGUE.antennas, "active": own})
    one = installed("active", catalogue, TIERS, amplifier=LOW_GAIN)
    assert one.plain.has_amplifier
    assert one.tiers == (one.plain,)


def test_height_takes_the_place_of_the_mounts_own():
    assert put_up("uhf_10", height_m=7.5).plain.height_m == 7.5


def test_a_ladder_keeps_its_order_and_what_stands_behind_receives_nothing(signals):
    one = put_up("both")
    found = receive(signals, CROWD, ladder([one.plain]), LIST, OPTIONS)
    assert set(found.tier.tolist()) == {1, 8}
    assert not found.tier_chance_percent[1:].any()
    with pytest.raises(InputError, match="1 to 7 installations, got 8"):
        ladder([one.plain] * 8)


def test_an_installation_holds_where_its_best_aim_reaches_the_confidence(signals):
    """The same rule as of a place: the best of all whole azimuths, interference in it."""
    one = put_up("both", amplifier=LOW_GAIN)
    found = HoldingReceiver(one.tiers, LIST, around(signals)).receive(signals)
    chances = []
    for tier in one.tiers:
        places = [place_of(signals, cell, tier.tier, LIST) for cell in range(CELLS)]
        chances.append([best_aim(place, tier).chance for place in places])
    plain, amplified = np.array(chances) >= 0.9
    expected = np.where(plain, 1, np.where(amplified, 2, 0))
    close = np.abs(np.array(chances) - 0.9).min(axis=0) < 1e-3
    assert np.array_equal(found[~close], expected[~close])
    assert {0, 1, 2} == set(expected.tolist())


def test_a_pair_is_never_combined_with_a_second_pair(signals):
    """Each antenna has its own aim behind the diplexer; four antennas on a roof are not what was asked."""
    one = put_up("uhf_20+vhf_6")
    tiers = ladder([one.plain])
    found = receive(signals, CROWD, tiers, APART, OPTIONS)
    two = found.second_aim_deg >= 0
    assert two.any()
    assert ((found.plan_flags[two] & 16) > 0).all()  # diplexed
    cell = int(np.flatnonzero(two)[0])
    place = place_of(signals, cell, one.plain.tier, APART)
    plan = aim_plan(
        place, one.plain, float(found.aim_deg[cell]), second_azimuth_deg=float(found.second_aim_deg[cell]),
        joined="diplexed",
    )  # fmt: skip
    assert plan.chance >= 0.9 > best_aim(place, one.plain).chance


def test_a_pair_holds_at_least_where_its_single_aim_does(signals):
    pair = put_up("uhf_20+vhf_6")
    held = HoldingReceiver((pair.plain,), APART, around(signals)).receive(signals)
    one_aim = receive(signals, CROWD, ladder([pair.plain]), APART, OPTIONS).tier_chance_percent[0] >= 90
    assert (held[one_aim] == 1).all()
    assert (held == 1).sum() > one_aim.sum()


def test_services_of_a_pair_are_those_of_its_antennas_each_at_its_own_aim(signals):
    services = SimpleNamespace(
        services=tuple("abcdefgh"), transmitters=tuple((n,) for n in range(8)), needed=8, at_least=None
    )
    pair, uhf, vhf = (put_up(s) for s in ("uhf_20+vhf_6", "uhf_20", "vhf_6"))
    bits = InstallationCounter([pair.plain, uhf.plain, vhf.plain], services, around(signals)).count(signals)
    with_pair, with_uhf, with_vhf = ((bits & (1 << bit)) > 0 for bit in range(3))
    assert not (with_uhf & with_vhf).any()  # each is deaf where the other serves
    assert not (with_pair & ~(with_uhf | with_vhf)).any()  # the diplexer takes, and gives nothing
    assert with_pair.sum() > 0.9 * (with_uhf | with_vhf).sum()


def test_more_installations_than_a_ladder_holds_are_counted_too(signals):
    services = SimpleNamespace(services=("a", "b"), transmitters=((0,), (1,)), needed=2, at_least=None)
    pair, one = put_up("uhf_20+vhf_6"), put_up("both")
    several = [pair.plain, one.plain, pair.plain, one.plain, pair.plain, one.plain, pair.plain]
    bits = InstallationCounter(several, services, around(signals)).count(signals)
    for bit in range(2, 7):
        assert np.array_equal((bits >> bit) & 1, (bits >> bit % 2) & 1)


def test_deaf_in_a_band_leaves_the_others():
    tier = deaf_in(put_up("both").plain, ("uhf",))
    assert tier.at(600.0).gain_dbd < -200.0
    assert tier.at(195.0) == put_up("both").plain.at(195.0)


def test_a_receiver_of_a_part_of_a_list_is_that_of_the_part(signals):
    """The figures of a station are the same whatever list it is wanted in."""
    rest = CROWD, TIERS, wanted_of(0, (1, 4), 2, 3), OPTIONS, signals.heights_m, signals.surroundings
    whole = ListReceiver(*rest)
    for part in (wanted_of(2), wanted_of((3, 1)), wanted_of(4, 0, needed=1)):
        made = ListReceiver(CROWD, TIERS, part, *rest[3:])
        assert_equal(whole.of_part(part).model, made.model)
        assert whole.of_part(part).asked == made.asked
        assert whole.of_part(part).services == made.services
    assert_equal(whole.model, ListReceiver(*rest).model)  # as it was
    with pytest.raises(InputError, match="station 5 is none of the list's"):
        whole.of_part(wanted_of(0, 5))
