from dataclasses import replace

import numpy as np
import pytest

from covermap.errors import InputError
from covermap.propagation.compiling import lean_kernel
from covermap.reception import PlaceSignals, StationFacts, aim_plan, aim_range, best_aim, chance_by_azimuth
from covermap.reception.aim_search import is_directional, search_circle, search_every_degree
from covermap.reception.pattern import cross_polar_loss_db, lobe_rolloff, off_axis_deg, off_axis_loss_db
from covermap.reception.place import at_place
from covermap.reception.plan import AIM_DEG, CHANCE, PLAN_COLUMNS, SINGLE
from covermap.reception.scan import CIRCLE, CIRCLE_AIMS, fill_squares, scan_arrays
from covermap.tables import read_tiers

TIERS = read_tiers()


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
ADDRESS = PlaceSignals(
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


def test_cross_polar_rejection_does_not_add_to_the_pattern():
    # rule of ITU-R BT.419: the larger of the two
    assert off_axis_loss_db(0.0, lobe_rolloff(35.0), 14.0, 16.0) == 16.0
    assert off_axis_loss_db(180.0, lobe_rolloff(35.0), 20.0, 16.0) == 20.0
    assert cross_polar_loss_db(0, 1, 16.0) == 16.0
    assert cross_polar_loss_db(0, 0, 16.0) == 0.0
    assert cross_polar_loss_db(1, 2, 16.0) == 0.0  # slant and circular: none


def test_angles_across_north():
    assert off_axis_deg(350.0, 20.0) == 30.0
    assert off_axis_deg(20.0, 350.0) == 30.0
    assert off_axis_deg(90.0, 270.0) == 180.0


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
    return PlaceSignals(
        facts=facts_of(frequency_mhz, mast, random.choice([0, 0, 0, 1], services)),
        field_dbuvm=level,
        bearing_deg=bearing[mast],
        clutter_height_m=10.0,
    )


@lean_kernel
def quick_search(directional, needed, wanted, figures, pair_figures, pairs, home, scan, plan):
    fill_squares(CIRCLE, CIRCLE_AIMS, wanted, home.values, scan)
    search_circle(0.0, 0, 0.9, directional, needed, wanted, figures, pair_figures, pairs, home, scan, plan)


def both_searches(signals, tier):
    place = at_place(signals, tier, SINGLE)
    seen = place.wanted, place.figures, place.pair_figures, place.pairs, place.home
    full, few = np.empty(PLAN_COLUMNS), np.empty(PLAN_COLUMNS)
    search_every_degree(signals.needed, *seen, full)
    quick_search(is_directional(place.figures), signals.needed, *seen, scan_arrays(place.wanted), few)
    return full, few


@pytest.mark.parametrize("at_least", [None, 6, 1])
def test_quick_search_gives_the_tier_of_every_degree(at_least):
    random = np.random.default_rng(11)
    places = 1000 if at_least is None else 300
    disagree = 0
    lost = []
    for _ in range(places):
        signals = replace(random_place(random, mean_dbuvm=random.uniform(45, 80)), at_least=at_least)
        full, few = zip(*(both_searches(signals, tier) for tier in TIERS), strict=True)
        reaching = [[plan[CHANCE] >= 0.9 for plan in plans] + [True] for plans in (full, few)]
        disagree += reaching[0].index(True) != reaching[1].index(True)
        lost += [a[CHANCE] - b[CHANCE] for a, b in zip(full, few, strict=True)]
    assert min(lost) > -1e-6  # nothing beats every degree (the quick one also looks at whole degrees only)
    assert disagree <= 0.001 * places
    assert np.percentile(lost, 99) < 0.005


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
    assert plan.azimuth_deg == pytest.approx(200.0, abs=3.0)


def test_unknown_fields_are_refused():
    with pytest.raises(InputError, match="NaN at station 1"):
        best_aim(replace(ADDRESS, field_dbuvm=np.array([50.0, np.nan, 60.0])), TIERS[5])
    with pytest.raises(InputError, match=r"one value a station \(3\)"):
        best_aim(replace(ADDRESS, field_dbuvm=np.array([50.0, 60.0])), TIERS[5])
    with pytest.raises(InputError, match="'oblique'"):
        aim_plan(ADDRESS, TIERS[5], 40.0, "oblique")
    assert AIM_DEG == 2  # the columns of a plan that the tests above read
