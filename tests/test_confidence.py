import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from covermap.errors import InputError
from covermap.reception import confidence_bounds, joint_confidence
from covermap.reception.normal import normal_share

NINETY = 1.2815515655446004  # the normal deviate of 90 % (any table of the normal distribution)


def exact_share(deviation):
    return 0.5 * math.erfc(-deviation / math.sqrt(2.0))


def test_normal_share_is_within_its_stated_accuracy():
    for deviation in np.linspace(-9.0, 9.0, 3601):
        assert normal_share(deviation) == pytest.approx(exact_share(deviation), abs=2.5e-7)


def test_normal_share_at_the_ends():
    assert normal_share(math.inf) == 1.0
    assert normal_share(-math.inf) == 0.0
    assert math.isnan(normal_share(math.nan))


@pytest.mark.parametrize(
    ("sd_db", "margin_db", "percent"),
    [
        # normal distribution by hand: Phi(m / s); s = sqrt(6^2 + 1.9^2) and sqrt(8^2 + 5.5^2)
        (6.3, 0.0, 50.0),
        (6.3, 3.0, 68.3),
        (6.3, 6.0, 83.0),
        (6.3, 10.0, 94.4),
        (6.3, 8.07, 90.0),
        (9.7, 3.0, 62.1),
        (9.7, 6.0, 73.2),
        (9.7, 10.0, 84.9),
        (9.7, 12.43, 90.0),
    ],
)
def test_one_service_follows_the_normal_distribution(sd_db, margin_db, percent):
    assert 100.0 * joint_confidence([margin_db], [sd_db], ["m"], 0.0) == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize(
    ("common_part", "percent", "tolerance"),
    [
        (0.0, 22.9, 0.05),  # 0.9^14
        (0.5, 54.1, 0.05),  # one-factor integral, adaptive quadrature
        (0.9, 78.0, 0.3),  # the same; 16 points hold within 0.3 here
    ],
)
def test_fourteen_services_at_ninety_percent(common_part, percent, tolerance):
    total_sd_db = 7.0
    chance = joint_confidence(
        np.full(14, NINETY * total_sd_db),
        np.full(14, total_sd_db * math.sqrt(1.0 - common_part)),
        range(14),
        total_sd_db * math.sqrt(common_part),
    )
    assert 100.0 * chance == pytest.approx(percent, abs=tolerance)


@pytest.mark.parametrize(("at_least", "percent"), [(None, 60.8), (2, 80.6), (1, 93.1)])
def test_three_services_on_two_masts(at_least, percent):
    # worked example: s_c 5, s_i 6.3, one mast with margins 8 and 5, another with 6
    chance = joint_confidence([8.0, 5.0, 6.0], [6.3] * 3, ["a", "a", "b"], 5.0, at_least)
    assert 100.0 * chance == pytest.approx(percent, abs=0.06)


def test_elementary_bounds():
    each = [joint_confidence([m], [6.3], ["a"], 5.0) for m in (8.0, 5.0, 6.0)]
    assert [round(100 * chance) for chance in each] == [84, 73, 77]  # Phi(m / sqrt(5^2 + 6.3^2))
    low, high = confidence_bounds(each)
    assert (round(100 * low), round(100 * high)) == (35, 73)  # sum - 2, and the least


def brute_force(margins, sd, mast, common, needed, draws=200_000):
    """The same model by drawing homes: one common deviation, one deviation a mast."""
    random = np.random.default_rng(7)
    shared = random.standard_normal(draws)
    own = {label: random.standard_normal(draws) for label in set(mast)}
    received = sum(
        (m + c * shared + s * own[label] > 0).astype(int)
        for m, s, label, c in zip(margins, sd, mast, common, strict=True)
    )
    return np.mean(received >= needed)


@pytest.mark.parametrize("needed", [1, 2, 3, 4, 5])
def test_chances_agree_with_drawn_homes(needed):
    margins, sd = [2.0, -3.0, 7.0, 1.0, 4.0], [6.3, 6.0, 6.5, 6.3, 7.0]
    mast, common = ["x", "y", "x", "z", "y"], [4.0, 0.0, 5.0, 0.0, 3.0]
    chance = joint_confidence(margins, sd, mast, common, needed)
    # 200 000 draws: standard error at most 0.0011
    assert chance == pytest.approx(brute_force(margins, sd, mast, common, needed), abs=0.004)


services = st.lists(
    st.tuples(st.floats(-30, 40), st.floats(3, 12), st.integers(0, 3), st.floats(0, 9)),
    min_size=1,
    max_size=7,
)


@settings(max_examples=60, deadline=None)
@given(services, st.floats(-30, 40), st.integers(0, 4))
def test_one_more_wanted_service_never_raises_the_chance_of_all(rows, margin_db, mast):
    margins, sd, masts, common = zip(*rows, strict=True)
    before = joint_confidence(margins, sd, masts, common)
    after = joint_confidence([*margins, margin_db], [*sd, 6.3], [*masts, mast], [*common, 4.0])
    assert after <= before + 1e-12


@settings(max_examples=60, deadline=None)
@given(services)
def test_all_lies_between_the_elementary_bounds_and_needing_fewer_is_never_harder(rows):
    margins, sd, masts, common = zip(*rows, strict=True)
    chances = [joint_confidence(margins, sd, masts, common, k) for k in range(1, len(rows) + 1)]
    each = [joint_confidence([m], [s], ["x"], c) for m, s, _, c in rows]
    low, high = confidence_bounds(each)
    assert low - 0.02 <= chances[-1] <= high + 0.02  # up to s_c = 3 s_i the quadrature is within 0.02
    assert all(fewer >= more - 1e-12 for fewer, more in pairwise(chances))
    assert chances[-1] == pytest.approx(joint_confidence(margins, sd, masts, common), abs=1e-9)


def test_a_stronger_margin_never_lowers_the_chance():
    chances = [joint_confidence([m, 3.0], [6.3, 6.3], ["a", "a"], 4.0) for m in np.linspace(-40, 60, 401)]
    assert np.all(np.diff(chances) >= 0.0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([], [], [], 0.0), "one value a service"),
        (([1.0, math.nan], [6.0, 6.0], ["a", "b"], 0.0), "index 1"),
        (([1.0, 2.0], [6.0, 6.0, 6.0], ["a", "b"], 0.0), "(3,)"),
        (([1.0], [0.0], ["a"], 0.0), "[0.0]"),
        (([1.0], [6.0], ["a"], -1.0), "[-1.0]"),
        (([1.0], [6.0], ["a", "b"], 0.0), "2 for 1"),
        (([1.0], [6.0], ["a"], 0.0, 2), "got 2"),
    ],
)
def test_wrong_input_is_named(arguments, words):
    with pytest.raises(InputError, match=None) as caught:
        joint_confidence(*arguments)
    assert words in str(caught.value)
