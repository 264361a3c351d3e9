from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest

from covermap.errors import InputError
from covermap.reception import (
    CellSignals,
    ListReceiver,
    ReceiverSignals,
    ReceptionOptions,
    StationFacts,
    TierTable,
    best_aim,
    receive,
    sigma_summary,
)
from covermap.reception.surroundings import Surroundings
from covermap.tables import read_tiers

TIERS = read_tiers()
MASTS = 4


@dataclass(frozen=True)
class Wanted:
    services: tuple
    transmitters: tuple
    needed: int


def wanted_of(*transmitters, needed=None):
    groups = tuple(group if isinstance(group, tuple) else (group,) for group in transmitters)
    return Wanted(tuple(f"s{i}" for i in range(len(groups))), groups, needed or len(groups))


FACTS = StationFacts(
    frequency_mhz=np.array([569.0, 189.0, 515.0, 599.0, 177.0, 69.0]),
    bandwidth_mhz=np.full(6, 6.0),
    required_cn_db=np.full(6, 15.2),
    mast=np.array([0, 0, 1, 2, 3, 1]),
    polarization=np.zeros(6, int),
)


def scene(cells=400, seed=3, mean_dbuvm=68.0):
    random = np.random.default_rng(seed)
    level = random.normal(mean_dbuvm, 14.0, (MASTS, cells))[FACTS.mast] + random.normal(0, 2.0, (6, cells))
    centre = random.uniform(0, 360, cells)
    return CellSignals(
        heights_m=np.array([10.0, 15.0]),
        field_dbuvm=np.stack([level, level + 2.0], axis=1).astype(np.float32),
        bearing_deg=((centre + random.uniform(-60, 60, (MASTS, cells))) % 360).astype(np.float32),
        clutter_height_m=random.choice([0.0, 10.0, 20.0], cells).astype(np.float32),
        open_land=random.random(cells) < 0.3,
    )


def place_of(signals, cell, tier, stations):
    height = 1 if tier == 7 else 0
    return ReceiverSignals(
        facts=StationFacts(*(values[list(stations)] for values in vars(FACTS).values())),
        field_dbuvm=signals.field_dbuvm[list(stations), height, cell].astype(float),
        bearing_deg=signals.bearing_deg[FACTS.mast[list(stations)], cell].astype(float),
        clutter_height_m=float(signals.clutter_height_m[cell]),
        open_land=bool(signals.open_land[cell]),
    )


def test_every_layer_follows_the_best_aim_of_each_tier():
    signals = scene(60)
    stations = (0, 1, 2, 3)
    result = receive(signals, FACTS, TIERS, wanted_of(*stations), ReceptionOptions())
    for cell in range(60):
        plans = [best_aim(place_of(signals, cell, tier, stations), TIERS[tier]) for tier in range(1, 8)]
        chances = np.array([plan.chance for plan in plans])
        reaching = np.flatnonzero(chances >= 0.9)
        tier = reaching[0] + 1 if reaching.size else 8
        if np.min(np.abs(chances - 0.9)) < 1e-3 or result.second_aim_deg[cell] >= 0:
            continue  # the two searches may fall on either side; two antennas have a test of their own
        assert result.tier[cell] == tier
        assert result.tier_chance_percent[:, cell] == pytest.approx(100.0 * chances, abs=2.0)
        assert result.margin_db[cell] == pytest.approx(plans[4].margins_db.min(), abs=2.0)
        stored = plans[min(tier, 7) - 1]
        assert result.service_chance_percent[:, cell] == pytest.approx(100.0 * stored.chances, abs=6.0)


def test_tier_is_that_of_the_cheapest_installation_whose_written_chance_reaches_the_confidence():
    result = receive(scene(), FACTS, TIERS, wanted_of(0, 1, 2, 3), ReceptionOptions())
    reaches = result.tier_chance_percent >= 90
    one = np.where(reaches.any(axis=0), reaches.argmax(axis=0) + 1, 8)
    two = result.second_aim_deg >= 0
    assert np.array_equal(result.tier[~two], one[~two])
    assert two.sum() >= 2
    # two gable, rooftop or amplified antennas cost 8, 10, 12, a tall mast 25: one amplified rooftop is first
    assert np.all(one[two] >= 7)
    assert np.all(result.two_antennas_chance_percent[two] >= 90)
    assert np.all(result.two_antennas_chance_percent[~two] == 255)
    assert len(set(result.tier.tolist())) >= 5  # the scene has something of everything


def receiver_of(signals, clutter_height_m, open_land):
    return ListReceiver(
        FACTS, TIERS, wanted_of(0, 1, 2, 3), ReceptionOptions(), signals.heights_m,
        Surroundings(np.array(clutter_height_m), np.array(open_land)),
    )  # fmt: skip


@pytest.mark.parametrize("cells", [slice(0, 150), slice(150, 153), slice(153, None)])
def test_a_receiver_of_all_surroundings_answers_every_tile_as_its_own_would(cells):
    signals = scene()
    every = receiver_of(signals, [20.0, 0.0, 3.0, 10.0] * 2, [False] * 4 + [True] * 4)
    tile = signals.some(cells)
    alone = receive(tile, FACTS, TIERS, wanted_of(0, 1, 2, 3), ReceptionOptions())
    found = every.receive(tile)
    for name, values in vars(alone).items():
        assert np.array_equal(vars(found)[name], values, equal_nan=values.dtype.kind == "f"), name


def test_a_receiver_refuses_surroundings_and_heights_it_was_not_made_for():
    signals = scene()
    with pytest.raises(InputError, match="not among the surroundings this receiver was made for"):
        receiver_of(signals, [0.0, 30.0], [False, True]).receive(signals)
    higher = replace(signals, heights_m=np.array([10.0, 12.0]))
    with pytest.raises(InputError, match=r"heights_m is \[10.0, 12.0\], this receiver was made for"):
        receiver_of(signals, signals.clutter_height_m, signals.open_land).receive(higher)


def test_limiting_and_deciding_services_are_the_lowest_chances():
    result = receive(scene(), FACTS, TIERS, wanted_of(0, 1, 2, 3), ReceptionOptions())
    cells = np.arange(result.tier.size)
    chance = result.service_chance_percent
    assert np.array_equal(chance[result.limiting_service, cells], chance.min(axis=0))
    above = result.tier > 1
    lower = result.service_chance_one_lower_percent
    assert np.array_equal(lower[result.deciding_service[above], cells[above]], lower[:, above].min(axis=0))
    assert np.all(result.deciding_service[~above] == 255)
    assert np.all(lower[:, ~above] == 0)


@pytest.mark.parametrize("needed", [1, 3])
def test_no_service_decides_where_some_are_enough(needed):
    result = receive(scene(), FACTS, TIERS, wanted_of(0, 1, 2, 3, needed=needed), ReceptionOptions())
    assert (result.tier > 1).any()
    assert np.all(result.deciding_service == 255)
    assert np.all(result.tier_without_deciding == 255)
    assert np.all(result.deciding_station[result.tier > 1] >= 0)  # why it is hard is still told


def test_tier_8_keeps_the_plan_of_tier_7():
    result = receive(scene(mean_dbuvm=45.0), FACTS, TIERS, wanted_of(0, 1, 2, 3), ReceptionOptions())
    none = result.tier == 8
    assert none.any()
    assert np.array_equal(
        result.service_chance_percent[:, none], result.service_chance_one_lower_percent[:, none]
    )
    assert np.array_equal(result.limiting_service[none], result.deciding_service[none])


def test_three_decibels_more_field_is_three_decibels_more_margin_with_one_direction():
    signals = scene()
    stronger = replace(signals, field_dbuvm=signals.field_dbuvm + np.float32(3.0))
    before, after = (
        receive(given, FACTS, TIERS, wanted_of(0, 1), ReceptionOptions()) for given in (signals, stronger)
    )
    # One station and no interference: noise stays, so the margin moves as the field does.
    assert after.margin_db - before.margin_db == pytest.approx(3.0, abs=0.05)
    assert np.all(after.tier <= before.tier)


@pytest.mark.parametrize(
    ("easier", "harder", "percentile", "most"),
    [
        # a search may miss the best aim by a little: our own choice
        (wanted_of(0, 2, 3), wanted_of(0, 2, 3, 4), 99.5, 3),
        (wanted_of(0, (2, 3)), wanted_of(0, 2), 99.9, 100),
    ],
    ids=["one station more is never likelier", "an alternative transmitter never harms"],
)
def test_what_asks_more_is_never_easier(easier, harder, percentile, most):
    signals = scene()
    less, more = (receive(signals, FACTS, TIERS, wanted, ReceptionOptions()) for wanted in (easier, harder))
    gain = more.tier_chance_percent.astype(int) - less.tier_chance_percent.astype(int)
    assert np.percentile(gain, percentile) <= 1
    assert gain.max() <= most
    assert np.mean(more.tier < less.tier) <= 0.001


def test_needing_fewer_services_is_never_harder():
    signals = scene()
    results = [
        receive(signals, FACTS, TIERS, wanted_of(0, 2, 3, 4, needed=needed), ReceptionOptions())
        for needed in (1, 2, 3, 4)
    ]
    for fewer, more in pairwise(results):
        assert np.mean(fewer.tier > more.tier) <= 0.001
        drop = more.tier_chance_percent.astype(int) - fewer.tier_chance_percent.astype(int)
        assert drop.max() <= 3  # a search may miss the best aim by a little


def test_dead_zone_chance_is_that_of_at_least_one_from_tier_7():
    signals = scene(mean_dbuvm=15.0)
    every = receive(signals, FACTS, TIERS, wanted_of(0, 2, 3, 4), ReceptionOptions())
    one = receive(signals, FACTS, TIERS, wanted_of(0, 2, 3, 4, needed=1), ReceptionOptions())
    difference = every.dead_zone_chance_percent.astype(int) - one.tier_chance_percent[6].astype(int)
    assert np.abs(difference).max() <= 1
    assert every.dead_zone_chance_percent.min() < 50 < every.dead_zone_chance_percent.max()
    assert np.all(every.dead_zone_chance_percent + 1 >= every.tier_chance_percent[6])


def test_dead_zone_services_ask_for_more():
    signals = scene(mean_dbuvm=25.0)
    one, two = (
        receive(signals, FACTS, TIERS, wanted_of(0, 2, 3), ReceptionOptions(dead_zone_services=count))
        for count in (1, 2)
    )
    assert np.all(two.dead_zone_chance_percent <= one.dead_zone_chance_percent)
    assert np.any(two.dead_zone_chance_percent < one.dead_zone_chance_percent)


def test_a_higher_tier_never_serves_less_in_one_direction():
    result = receive(scene(), FACTS, TIERS, wanted_of(0, 1), ReceptionOptions())  # one mast
    rise = np.diff(result.tier_chance_percent.astype(int), axis=0)
    assert rise.min() >= 0


def test_unknown_station_of_the_list_makes_a_cell_unknown():
    signals = scene(10)
    signals.field_dbuvm[2, 0, 4] = np.nan
    signals.field_dbuvm[5, :, 5] = np.nan  # not in the list
    result = receive(signals, FACTS, TIERS, wanted_of(0, 2), ReceptionOptions())
    assert result.tier[4] == 255
    assert np.all(result.tier_chance_percent[:, 4] == 255)
    assert result.aim_deg[4] == -1
    assert np.isnan(result.margin_db[4])
    assert np.isnan(result.stored_margin_db[4])
    assert {result.limiting_service[4], result.deciding_service[4], result.dead_zone_chance_percent[4]} == {
        255
    }
    assert np.all(result.service_chance_percent[:, 4] == 255)
    assert np.all(result.service_chance_one_lower_percent[:, 4] == 255)
    assert np.all(result.tier[[0, 1, 2, 3, 5, 6, 7, 8, 9]] <= 8)


def test_a_known_alternative_stands_in_for_an_unknown_transmitter():
    signals = scene(10)
    alone = receive(signals, FACTS, TIERS, wanted_of(0, 3), ReceptionOptions())
    signals.field_dbuvm[2, 1, :] = np.nan
    either = receive(signals, FACTS, TIERS, wanted_of(0, (2, 3)), ReceptionOptions())
    assert np.array_equal(either.tier, alone.tier)
    assert np.array_equal(either.tier_chance_percent, alone.tier_chance_percent)


def test_cells_do_not_know_their_neighbours():
    signals = scene(50)
    whole = receive(signals, FACTS, TIERS, wanted_of(0, 1, 2), ReceptionOptions())
    half = CellSignals(
        signals.heights_m, signals.field_dbuvm[:, :, 20:].copy(), signals.bearing_deg[:, 20:].copy(),
        signals.clutter_height_m[20:], signals.open_land[20:],
    )  # fmt: skip
    part = receive(half, FACTS, TIERS, wanted_of(0, 1, 2), ReceptionOptions())
    for name, values in vars(part).items():
        assert np.array_equal(values, getattr(whole, name)[..., 20:], equal_nan=values.dtype.kind == "f"), (
            name
        )


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        (wanted_of(), "got 0"),
        (wanted_of(()), "'s0' has no transmitter"),
        (wanted_of(0, 1, needed=3), "got 3"),
    ],
    ids=["none", "without a transmitter", "more than there are"],
)
def test_wrong_lists_are_named(wanted, words):
    with pytest.raises(InputError, match=words):
        receive(scene(5), FACTS, TIERS, wanted, ReceptionOptions())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda s: {"field_dbuvm": s.field_dbuvm[1:]}, r"\(6, 2, 5\), got \(5, 2, 5\)"),
        (lambda s: {"bearing_deg": s.bearing_deg[1:]}, r"must have shape \(masts, cells\) = \(4, 5\)"),
        (lambda s: {"heights_m": np.array([10.0, 12.0])}, "needs the field at 15 m"),
    ],
    ids=["fields", "bearings", "heights"],
)
def test_wrong_shapes_are_named(change, words):
    signals = scene(5)
    with pytest.raises(InputError, match=words):
        receive(replace(signals, **change(signals)), FACTS, TIERS, wanted_of(0), ReceptionOptions())


def test_a_table_of_too_few_tiers_is_named():
    with pytest.raises(InputError, match="got 3 tiers"):
        receive(scene(5), FACTS, TierTable(TIERS.tiers[:3]), wanted_of(0), ReceptionOptions())


def test_sigma_in_words():
    # ITU-R P.1812-8 section 4.7, 100 m: sqrt(6^2 + 1.9^2) = 6.3; without land cover sqrt(8^2 + 5.5^2) = 9.7
    options = ReceptionOptions()
    assert sigma_summary(options).in_words() == (
        "sigma 6.3 dB (prediction 6, places within a square 1.9; land cover known)"
    )
    assert sigma_summary(options.at_other_default()).total_db == pytest.approx(9.7, abs=0.05)
    assert sigma_summary(ReceptionOptions(prediction_error_db=4.0)).prediction_db == 4.0
    # 0.52 x 500^0.28 = 0.52 x 5.70 = 2.96, and 0.01 to 0.08 more with frequency
    assert sigma_summary(ReceptionOptions(cell_m=500.0)).location_db == pytest.approx(3.0, abs=0.06)
