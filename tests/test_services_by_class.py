"""Which services each class of antenna brings, against every degree and by hand."""

import numpy as np
import pytest
from reception_places import CROWD, TIERS, crowded, facts_of, one_cell, place_of, wanted_of

from covermap.reception import ReceiverSignals, ReceptionOptions, aim_plan
from covermap.reception.services import ServiceCounter, classes_of, tier_of_most
from covermap.wording.verdicts import services_by_class_words

OPTIONS = ReceptionOptions()
EVERY = wanted_of(*range(8))
CELLS = 40


def counted(signals, facts, wanted):
    around = (signals.surroundings,)
    return ServiceCounter(facts, TIERS, wanted, OPTIONS, signals.heights_m, *around).count(signals)


def most_of_every_degree(place, tier):
    """Return the greatest number of services that arrive, each alone, over all whole degrees and mounts."""
    return max(
        int((aim_plan(place, TIERS[tier], float(aim), mount).chances >= 0.9).sum())
        for aim in range(0, 360, 2)
        for mount in ("horizontal", "vertical")
    )


@pytest.mark.parametrize("wanted", [EVERY, wanted_of(0, (1, 5), 2, (3, 7), 4, 6)])
def test_as_many_as_the_best_of_every_second_degree(wanted):
    signals = crowded(CELLS, seed=12, mean_dbuvm=62.0, spread_db=12.0)
    found = counted(signals, CROWD, wanted)
    wrong = compared = 0
    for cell in range(0, CELLS, 4):
        for tier in (2, 4, 5, 7):
            most = most_of_every_degree(place_of(signals, cell, tier, wanted), tier)
            compared += 1
            wrong += found.count[tier - 1, cell] < most
            assert found.count[tier - 1, cell] <= most + 1  # an odd degree may bring one more
    assert wrong <= 0.03 * compared


def test_the_bits_add_up_to_the_count():
    signals = crowded(300, seed=13, mean_dbuvm=62.0)
    found = counted(signals, CROWD, EVERY)
    for tier in range(7):
        assert np.array_equal(((found.tiers >> tier) & 1).sum(axis=0), found.count[tier])
    assert len(set(found.count.ravel().tolist())) >= 7
    best = found.count.max(axis=0)
    assert np.mean(found.count[5] >= found.count[4]) > 0.99  # an amplifier loses none: overload is left out
    assert np.all(best <= 8)


@pytest.mark.parametrize(
    ("level", "tier", "services"), [(52.0, 5, 3), (50.0, 5, 0), (42.0, 6, 3), (39.0, 6, 0)]
)
def test_one_direction_by_hand(level, tier, services):
    # 515 MHz, aimed: C/N = field + 10 - 129.30 + 106.2 - F_sys, 15.2 dB needed, so 42.9 dB(uV/m) with a
    # rooftop antenna (F_sys 14.6 dB) and 32.2 with an amplifier (3.9); 90 % take 1.2816 x 6.3 = 8.1 dB more
    facts = facts_of([515.0, 521.0, 527.0], [0, 0, 0])
    place = ReceiverSignals(facts, np.full(3, level), np.full(3, 200.0), clutter_height_m=10.0)
    found = counted(one_cell(place), facts, wanted_of(0, 1, 2))
    assert found.count[tier - 1, 0] == services


def test_a_service_of_no_known_station_does_not_arrive():
    signals = crowded(20, seed=14, mean_dbuvm=90.0)
    signals.field_dbuvm[2] = np.nan
    found = counted(signals, CROWD, EVERY)
    assert np.all(found.tiers[2] == 0)
    assert found.count.max() >= 5
    signals.field_dbuvm[:] = np.nan
    nothing = counted(signals, CROWD, EVERY)
    assert np.all(nothing.count == 255)
    assert nothing.at(0) == ()


def test_names_and_what_each_class_adds():
    # Window brings A; Rooftop A and B; Rooftop with amplifier B and C
    bits = [0b0010010, 0b0110000, 0b0100000]
    by_class = classes_of(("A", "B", "C"), bits)
    assert by_class[1].services == ("A",)
    assert by_class[4].services == ("A", "B")
    assert by_class[4].adds == ("B",)
    assert by_class[5].adds == ("C",)


@pytest.mark.parametrize(
    ("counts", "tier"),
    [([0, 4, 6, 9, 11, 12, 12], 5), ([1, 1, 1, 1, 1, 1, 1], 1), ([0] * 7, None), ([0, 0, 0, 0, 3, 6, 12], 7)],
)
def test_the_class_after_which_little_is_gained(counts, tier):
    assert tier_of_most(counts) == tier  # the lowest with nine tenths of what any class brings


def test_what_each_class_adds_is_worded():
    classes = [
        ("2 Window", ("A", "B"), ("A", "B")),
        ("3 Loft", ("A", "B"), ()),
        ("5 Rooftop", ("A", "B", "C"), ("C",)),
    ]
    assert services_by_class_words(classes, "5 Rooftop") == (
        "2 Window: 2 services. 5 Rooftop: 3 services, that adds C. After 5 Rooftop little is gained."
    )
    assert services_by_class_words([("1 Shelf", ("A",), ("A",))], None) == "1 Shelf: one service."
    assert "No class" in services_by_class_words([("1 Shelf", (), ())], None)
