"""How far two antennas can differ: both intervals count; what both share or was measured at once does not."""

import math
from dataclasses import replace

import pytest
from small_catalogue import CATALOGUE, antenna

from covermap.catalogue import Span, difference_ends, installed
from covermap.tables import read_tiers

TIERS = read_tiers()


def catalogue(*antennas):
    return replace(CATALOGUE, antennas={one.antenna_id: one for one in antennas})


def at(name, low, middle, high, **measured):
    one = antenna(name, "uhf", ("rooftop",), 1.0, uhf=((low, middle, high), 40.0, 15.0))
    return replace(one, gains=tuple(replace(gain, **measured) for gain in one.gains))


def gains(first, other):
    both = catalogue(first, other)
    ends = difference_ends(*(installed(one.antenna_id, both, TIERS) for one in (first, other)))
    return None if ends is None else [end.gain_dbd["uhf"] for end in ends]


@pytest.mark.parametrize(
    ("first", "other", "ends"),
    [
        # 2 and 1.5 dB either way of two antennas of 8 and 10 dBd, known apart: the root of the squares is 2.5
        (at("a", 6.0, 8.0, 10.0), at("b", 8.5, 10.0, 11.5), [7.5, 12.5]),
        # one side exact: the other's own
        (at("a", 8.0, 8.0, 8.0), at("b", 8.5, 10.0, 11.5), [8.5, 11.5]),
        (at("a", 6.0, 8.0, 10.0), at("b", 10.0, 10.0, 10.0), [8.0, 12.0]),
        # unequal sides: down by b's 1 and a's 2 upwards, up by b's 3 and a's 4 downwards
        (at("a", 4.0, 8.0, 10.0), at("b", 9.0, 10.0, 13.0), [10.0 - math.sqrt(5.0), 15.0]),
        # b was measured against a: what was measured then, 2 dB with 0.5 either way; a's own error falls out
        (
            at("a", 6.0, 8.0, 10.0),
            at("b", 7.9, 10.0, 12.1, relative_to="a", difference_db=Span(1.5, 2.0, 2.5)),
            [9.5, 10.5],
        ),
        # a was measured against b: the same the other way round, 0.5 below and 1 above
        (
            at("a", 6.0, 8.0, 10.0, relative_to="b", difference_db=Span(-3.0, -2.0, -1.5)),
            at("b", 8.0, 10.0, 12.0),
            [9.5, 11.0],
        ),
        # both against a third: 0.3 and 0.4 make 0.5
        (
            at("a", 6.0, 8.0, 10.0, relative_to="r", difference_db=Span(0.7, 1.0, 1.3)),
            at("b", 8.0, 10.0, 12.0, relative_to="r", difference_db=Span(2.6, 3.0, 3.4)),
            [9.5, 10.5],
        ),
        (at("a", 8.0, 8.0, 8.0), at("b", 10.0, 10.0, 10.0), None),
    ],
)
def test_both_intervals_count(first, other, ends):
    found = gains(first, other)
    assert found == ends if ends is None else found == pytest.approx(ends)


def test_an_antenna_that_both_have_brings_no_difference():
    vhf = antenna("v", "high_vhf", ("rooftop",), 1.0, high_vhf=((7.0, 9.0, 10.0), 40.0, 15.0))
    both = catalogue(at("a", 6.0, 8.0, 10.0), vhf)
    low, high = difference_ends(installed("a", both, TIERS), installed("a+v", both, TIERS))
    assert (low.gain_dbd["uhf"], high.gain_dbd["uhf"]) == (8.0, 8.0)
    assert (low.gain_dbd["high_vhf"], high.gain_dbd["high_vhf"]) == (7.0, 10.0)  # nothing to compare it with
    assert difference_ends(installed("a", both, TIERS), installed("a:135", both, TIERS)) is None
