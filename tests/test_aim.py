from dataclasses import replace

import numpy as np
import pytest
from benchmarks.bench_reception import random_scene
from benchmarks.bench_reception import wanted_list as bench_list
from every_degree import best_of_every_degree, with_one_antenna
from reception_places import CROWD, crowded, wanted_of
from sure_figures import SURE_TIERS

from covermap.errors import InputError
from covermap.reception import (
    ListReceiver,
    ReceiverSignals,
    ReceptionOptions,
    StationFacts,
    TierTable,
    aim_plan,
    aim_range,
    best_aim,
    chance_by_azimuth,
)
from covermap.reception.aim_chance import NEARLY
from covermap.reception.pattern import cross_polar_loss_db, lobe_rolloff, off_axis_deg, off_axis_loss_db
from covermap.reception.plan_columns import AIM_DEG

TIERS = SURE_TIERS


def facts_of(frequency_mhz, mast, polarization=None):
    count = len(frequency_mhz)
    return StationFacts(
        frequency_mhz=np.array(frequency_mhz, float),
        bandwidth_mhz=np.full(count, 6.0),
        required_cn_db=np.full(count, 15.2),
        mast=np.array(mast),
        polarization=np.array(polarization if polarization is not None else [0] * count),
    )


# One address worked end to end: A and B on one mast at 40 degrees, C on another at 115 degrees. Margins and
# single chances were worked by hand from Friis' formula, ITU-R P.2108-1 and P.1812-8 section 4.7 and the
# lobe; joint chances from those margins by adaptive integrals over the three factors (correlation 0.25:
# two bands of one site, and two sites).
ADDRESS = ReceiverSignals(
    facts=facts_of([569.0, 189.0, 515.0], [0, 0, 1]),
    field_dbuvm=np.array([58.8, 49.9, 61.6]),
    bearing_deg=np.array([40.0, 40.0, 115.0]),
    clutter_height_m=10.0,
)


def address_for(tier):
    return ADDRESS if tier < 7 else replace(ADDRESS, field_dbuvm=np.array([60.8, 51.9, 63.6]))


@pytest.mark.parametrize(
    ("tier", "aim_deg", "margins_db", "each_percent", "all_percent", "bounds_percent"),
    [
        (4, 40.0, (2.9, 4.3, -6.9), (68, 75, 14), 9.7, (0, 14)),
        (5, 40.0, (14.8, 12.9, 4.7), (99, 98, 77), 75.4, (74, 77)),
        (6, 40.0, (25.7, 17.4, 15.4), (100, 99, 99), 98.3, (98, 99)),
        (6, 77.5, (11.9, 12.7, 15.6), (97, 96, 99), 92.4, (92, 96)),
        (7, 77.5, (16.9, 14.2, 20.7), (100, 97, 100), 97.0, (97, 97)),
    ],
)
def test_one_address(tier, aim_deg, margins_db, each_percent, all_percent, bounds_percent):
    plan = aim_plan(address_for(tier), TIERS[tier], aim_deg)
    assert plan.margins_db == pytest.approx(margins_db, abs=0.1)
    assert 100.0 * plan.chances == pytest.approx(each_percent, abs=0.6)
    assert 100.0 * plan.chance == pytest.approx(all_percent, abs=0.5)
    assert [100.0 * bound for bound in plan.chance_bounds] == pytest.approx(bounds_percent, abs=0.6)


def test_one_address_each_aimed_perfectly():
    everywhere = replace(ADDRESS, bearing_deg=np.full(3, 40.0))  # as if all stood at the aim
    plan = aim_plan(everywhere, TIERS[4], 40.0)
    assert plan.margins_db == pytest.approx((2.9, 4.3, 7.1), abs=0.1)
    assert 100.0 * plan.chances == pytest.approx((68, 75, 87), abs=0.6)
    assert 100.0 * plan.chance == pytest.approx(48.9, abs=0.6)
    assert [100.0 * bound for bound in plan.chance_bounds] == pytest.approx((30, 68), abs=0.6)


@pytest.mark.parametrize("tier", [5, 6, 7])
def test_best_aim_of_the_address_is_the_mast_of_two(tier):
    assert best_aim(address_for(tier), TIERS[tier]).azimuth_deg == 40.0


def test_aim_range_of_the_address():
    plan = best_aim(ADDRESS, TIERS[6])
    assert aim_range(ADDRESS, plan, TIERS[6], 0.90) == (357, 84)  # by integral, 1-degree steps
    assert aim_range(ADDRESS, plan, TIERS[6], 0.999) is None


def test_address_without_its_third_station():
    two = replace(
        ADDRESS,
        facts=facts_of([569.0, 189.0], [0, 0]),
        field_dbuvm=ADDRESS.field_dbuvm[:2],
        bearing_deg=ADDRESS.bearing_deg[:2],
    )
    # By hand: A at 14.8 / 6.3, B at 12.9 / 6.46 deviations (noise of homes 0.32 x 4.5 dB with it): 99.06 and
    # 97.7 % alone; both at correlation 0.24, bivariate normal: 96.8 % of the product and 0.06 more. Tier 4
    # likewise: 67.7 and 74.9 %, 50.7 of the product and 2.9 more.
    assert 100.0 * best_aim(two, TIERS[5]).chance == pytest.approx(96.8, abs=0.5)
    assert 100.0 * best_aim(two, TIERS[4]).chance == pytest.approx(53.5, abs=0.6)


@pytest.mark.parametrize(
    ("angle_deg", "beamwidth_deg", "front_to_back_db", "loss_db"),
    [
        (20.0, 35.0, 14.0, 3.9),  # 12 (20 / 35)^2
        (37.5, 35.0, 14.0, 13.8),
        (75.0, 35.0, 14.0, 14.0),  # the floor
        (10.0, 30.0, 14.0, 1.3),
        (37.5, 60.0, 14.0, 4.7),  # 75 degrees apart, aimed between
        (120.0, np.nan, 0.0, 0.0),  # all directions alike
    ],
)
def test_lobe_and_floor(angle_deg, beamwidth_deg, front_to_back_db, loss_db):
    loss = off_axis_loss_db(angle_deg, lobe_rolloff(beamwidth_deg), front_to_back_db, 0.0)
    assert loss == pytest.approx(loss_db, abs=0.05)


@pytest.mark.parametrize(
    ("angle_deg", "front_to_back_db", "cross_polar_db", "loss_db"),
    [(0.0, 14.0, 16.0, 16.0), (180.0, 20.0, 16.0, 20.0)],  # rule of ITU-R BT.419: the larger of the two
)
def test_cross_polar_rejection_does_not_add_to_the_pattern(
    angle_deg, front_to_back_db, cross_polar_db, loss_db
):
    assert off_axis_loss_db(angle_deg, lobe_rolloff(35.0), front_to_back_db, cross_polar_db) == loss_db


@pytest.mark.parametrize(
    ("mount", "polarization", "loss_db"),
    [(0, 1, 16.0), (0, 0, 0.0), (1, 2, 0.0)],  # the last: slant and circular lose none
)
def test_only_crossed_polarizations_are_rejected(mount, polarization, loss_db):
    assert cross_polar_loss_db(mount, polarization, 16.0) == loss_db


@pytest.mark.parametrize(
    ("bearing_deg", "aim_deg", "off_deg"), [(350.0, 20.0, 30.0), (20.0, 350.0, 30.0), (90.0, 270.0, 180.0)]
)
def test_angles_across_north(bearing_deg, aim_deg, off_deg):
    assert off_axis_deg(bearing_deg, aim_deg) == off_deg


def test_mount_turns_to_vertical_for_vertical_stations():
    vertical = replace(ADDRESS, facts=facts_of([569.0, 189.0, 515.0], [0, 0, 1], [1, 1, 1]))
    plan = best_aim(vertical, TIERS[6])
    assert plan.polarization == "vertical"
    assert plan.chance == pytest.approx(best_aim(ADDRESS, TIERS[6]).chance, abs=1e-12)


def test_mixed_polarizations_take_the_better_mount():
    # C is strong enough to stand 16 dB of cross-polar rejection, A and B are not
    mixed = replace(
        ADDRESS,
        facts=facts_of([569.0, 189.0, 515.0], [0, 0, 1], [1, 1, 0]),
        field_dbuvm=np.array([58.8, 49.9, 80.0]),
    )
    assert best_aim(mixed, TIERS[5]).polarization == "vertical"


def test_ties_go_to_the_lower_azimuth():
    assert best_aim(ADDRESS, TIERS[1]).azimuth_deg == 0.0  # tier 1 receives from all directions alike


def random_place(random, services=8, masts=5, mean_dbuvm=60.0):
    mast = random.integers(0, masts, services)
    bearing = random.uniform(0, 360, masts)
    if random.random() < 0.5:  # half of the places have their masts in one quarter
        bearing = (random.uniform(0, 360) + random.uniform(0, 90, masts)) % 360
    frequency_mhz = random.choice([69.0, 195.0, 207.0, 473.0, 515.0, 569.0, 599.0], services)
    level = random.normal(mean_dbuvm, 12.0, masts)[mast] + random.normal(0, 3.0, services)
    return ReceiverSignals(
        facts=facts_of(frequency_mhz, mast, random.choice([0, 0, 0, 1], services)),
        field_dbuvm=level,
        bearing_deg=bearing[mast],
        clutter_height_m=10.0,
    )


def beside_neighbours(cells):
    """Return the walk of the benchmark, with stations on channels side by side that reach far at night."""
    signals, facts = random_scene(cells, mean_dbuvm=80.0)
    night = signals.field_dbuvm + np.float32(14.0)
    return replace(signals, unwanted_field_dbuvm=night, median_field_dbuvm=signals.field_dbuvm), facts


SCENES = {  # name -> cells and facts, wanted list, how many tiers may be wrong and chances short, in percent
    "plain": (lambda: random_scene(1500), bench_list(8), 0.1, 0.25),
    # a walk past five masts: stretches of squares with two aims alike at 20 to 40 %, up to 3 points apart
    "twenty": (lambda: random_scene(1000, mean_dbuvm=66.0), bench_list(20), 0.1, 3.5),
    "any three": (lambda: random_scene(800, mean_dbuvm=50.0), bench_list(8, needed=3), 0.1, 0.1),
    "interference": (lambda: (crowded(600), CROWD), wanted_of(0, 1, 2, 4, 5, 6, 7), 0.1, 0.1),
    "interference, any three": (
        lambda: (crowded(400), CROWD),
        wanted_of(0, 1, 2, 4, 6, 7, needed=3),
        0.25,
        0.2,
    ),
    "alternatives": (lambda: (crowded(600), CROWD), wanted_of(0, 1, (2, 4), (3, 6), 7), 0.2, 0.5),
}


# and how many points a chance may lie above the judge's beside rounding: of several that are disturbed on one
# mast the ones that decide give up to NEARLY more than the whole list
JUDGED = {name: (*scene, 0.0) for name, scene in SCENES.items()}
JUDGED["neighbours"] = lambda: beside_neighbours(1000), bench_list(20), 0.1, 0.1, 100.0 * NEARLY


@pytest.mark.parametrize("scene", JUDGED)
def test_the_search_gives_the_class_of_every_degree(scene):
    """Every whole degree and mount is the judge; cells are searched as a map's, class after class."""
    make, wanted, wrong_percent, short_percent, above = JUDGED[scene]
    signals, facts = make()
    found = with_one_antenna(signals, facts, TIERS, wanted, ReceptionOptions())
    chance, _ = best_of_every_degree(signals, facts, TIERS, wanted, ReceptionOptions())
    reaches = chance >= 0.9
    tier = np.where(reaches.any(axis=0), reaches.argmax(axis=0) + 1, 8)
    assert np.all(found.tier >= tier)  # nothing beats every degree
    assert 100.0 * np.mean(found.tier != tier) <= wrong_percent
    missed = np.where(chance < 0.015, 0.0, 100.0 * chance - found.tier_chance_percent)  # 0 % is not searched
    assert missed.min() >= -0.51 - above
    assert 100.0 * np.mean(missed[3:] > 1.5, axis=1).max() <= short_percent


def _draw(signals, count, seed):
    """Return lists of three named services out of a scene's, the same for every run."""
    random = np.random.default_rng(seed)
    return [tuple(sorted(random.choice(count, 3, replace=False).tolist())) for _ in range(6)]


def test_any_three_are_never_less_sure_than_three_named_ones():
    signals, facts = crowded(500, seed=9), CROWD
    services = (0, 1, 2, 4, 6, 7)
    any_three = with_one_antenna(
        signals, facts, TIERS, wanted_of(*services, needed=3), ReceptionOptions()
    ).tier_chance_percent.astype(int)
    for named in _draw(signals, len(services), 4):
        wanted = wanted_of(*(services[number] for number in named))
        three = with_one_antenna(signals, facts, TIERS, wanted, ReceptionOptions())
        less = three.tier_chance_percent.astype(int) - any_three
        assert less.max() <= 2, named  # whole percents of two searches
        assert np.mean(less > 1) <= 0.001, named


@pytest.mark.parametrize("needed", [None, 3, 1])
def test_three_decibels_more_never_ask_for_a_higher_class(needed):
    signals = crowded(800, seed=10)
    wanted = wanted_of(0, 1, 2, 4, 6, 7, needed=needed)
    louder = replace(
        signals,
        **{
            name: getattr(signals, name) + np.float32(3.0)
            for name in ("field_dbuvm", "unwanted_field_dbuvm", "median_field_dbuvm")
        },
    )
    before, after = (
        with_one_antenna(given, CROWD, TIERS, wanted, ReceptionOptions()) for given in (signals, louder)
    )
    assert np.mean(after.tier > before.tier) <= 0.001


def test_a_turned_place_turns_its_aim():
    random = np.random.default_rng(5)
    for _ in range(40):
        signals = random_place(random, mean_dbuvm=58.0)
        signals = replace(signals, bearing_deg=np.round(signals.bearing_deg))
        turned = replace(signals, bearing_deg=(signals.bearing_deg + 77.0) % 360.0)
        before, after = best_aim(signals, TIERS[6]), best_aim(turned, TIERS[6])
        assert after.chance == pytest.approx(before.chance, abs=1e-12)
        assert after.margins_db.min() == pytest.approx(before.margins_db.min(), abs=1e-9)
        chances = chance_by_azimuth(signals, TIERS[6], before.polarization)
        if np.sum(chances >= chances.max()) == 1:  # no tie
            assert after.azimuth_deg == (before.azimuth_deg + 77.0) % 360.0


def test_best_aim_beats_every_other():
    random = np.random.default_rng(6)
    for _ in range(10):
        signals = random_place(random)
        plan = best_aim(signals, TIERS[5])
        for polarization in ("horizontal", "vertical"):
            assert np.all(chance_by_azimuth(signals, TIERS[5], polarization) <= plan.chance)


def test_a_service_takes_its_better_transmitter():
    relay = replace(
        ADDRESS,
        facts=facts_of([569.0, 581.0], [0, 1]),
        field_dbuvm=np.array([45.0, 75.0]),
        bearing_deg=np.array([40.0, 200.0]),
        service=("News", "News"),
    )
    plan = best_aim(relay, TIERS[5])
    assert plan.services == ("News",)
    assert plan.station.tolist() == [1]
    # the azimuth of the one that is 30 dB stronger
    assert plan.azimuth_deg == pytest.approx(200.0, abs=3.0)


@pytest.mark.parametrize(
    ("field_dbuvm", "words"),
    [((50.0, np.nan, 60.0), "NaN at station 1"), ((50.0, 60.0), r"one value a station \(3\)")],
)
def test_unknown_fields_are_refused(field_dbuvm, words):
    with pytest.raises(InputError, match=words):
        best_aim(replace(ADDRESS, field_dbuvm=np.array(field_dbuvm)), TIERS[5])


def test_a_polarization_that_is_none_is_refused():
    with pytest.raises(InputError, match="'oblique'"):
        aim_plan(ADDRESS, TIERS[5], 40.0, "oblique")
    assert AIM_DEG == 2  # the columns of a plan that the tests above read


def with_costs(*cost_order):
    """Return the built-in tiers in another order of cost."""
    return TierTable(
        tuple(replace(tier, cost_order=cost) for tier, cost in zip(TIERS, cost_order, strict=True))
    )


@pytest.mark.parametrize("scene", SCENES)
@pytest.mark.parametrize(
    "tiers", [TIERS, with_costs(1, 2, 3, 9, 8, 5, 6)], ids=["built in", "rooftops first"]
)
def test_the_tier_alone_is_that_of_the_whole_answer_or_of_a_better_search(scene, tiers):
    make, wanted, *_ = SCENES[scene]
    signals, facts = make()
    options = ReceptionOptions()
    receiver = ListReceiver(facts, tiers, wanted, options, signals.heights_m, signals.surroundings)
    alone, whole = receiver.tiers_of(signals), receiver.receive(signals).tier
    assert np.all(alone <= whole)
    assert np.mean(alone == whole) >= 0.999
