"""Readings of a bench log beside what is predicted: which are far off, and what the page says of them."""

import math

import pytest

from covermap.addresses.bench_paths import BenchPath
from covermap.measurements.antenna_matrix import Matrix, MatrixCell, MatrixRow
from covermap.measurements.far_readings import Predicted, far_readings
from covermap.reports.fieldwork.antenna_matrix import matrix_section
from covermap.reports.fieldwork.far_readings import far_section
from covermap.scenario.settings import DisplaySettings
from covermap.tables import read_tiers
from covermap.wording.tier_names import TALL_MAST_M, mounting_words
from tests.html_text import visible


def matrix(*, in_dbm=True, saturated=0, **read_dbm):
    rows = [
        MatrixRow(name, "33", 587.0, "uhf", {"long": MatrixCell(value, 2, 0, saturated)})
        for name, value in read_dbm.items()
    ]
    return Matrix("Quay", ("meter", "level"), in_dbm, False, ("long",), tuple(rows))


@pytest.mark.parametrize(
    ("read_dbm", "spread_db", "is_far"),
    [
        (-51.0, 7.0, True),  # 30 dB less, over three spreads of 7 dB
        (-51.0, 11.0, False),  # behind hills predictions spread by 11 dB: 33 dB are within three
        (-41.0, 7.0, False),
        (1.0, 7.0, True),  # 22 dB more
        (math.nan, 7.0, False),  # lost
    ],
)
def test_a_reading_is_far_off_beyond_three_spreads_of_its_own_prediction(read_dbm, spread_db, is_far):
    found = far_readings(matrix(LIFE=read_dbm), "long", {"LIFE": Predicted(-21.0, spread_db)})
    assert bool(found) is is_far


def test_what_is_not_predicted_or_no_level_or_saturated_is_not_judged():
    predicted = {"LIFE": Predicted(-21.0, 7.0)}
    assert far_readings(matrix(OTHER=-80.0), "long", predicted) == []
    assert far_readings(matrix(LIFE=-80.0), "short", predicted) == []
    assert far_readings(matrix(in_dbm=False, LIFE=-80.0), "long", predicted) == []
    assert far_readings(matrix(LIFE=math.nan), "long", {"LIFE": Predicted(math.nan, 7.0)}) == []
    assert far_readings(matrix(saturated=1, LIFE=-80.0), "long", predicted) == []
    assert far_readings(matrix(saturated=1, LIFE=10.0), "long", predicted)  # the truth is more still


def test_the_page_says_what_was_read_what_was_predicted_and_what_to_check():
    both = {"LIFE": Predicted(-21.0, 7.0), "NEAR": Predicted(-60.0, 7.0)}
    found = far_readings(matrix(LIFE=-56.0, NEAR=-20.0), "long", both)
    text = " ".join(visible(far_section(found)).split())
    assert "Quay: LIFE, 33: long read -56 dBm where -21 dBm is predicted, 35 dB less" in text
    assert "Quay: NEAR, 33: long read -20 dBm where -60 dBm is predicted, 40 dB more" in text
    assert text.index("NEAR") < text.index("LIFE")  # the farthest first
    for word in ("plugs", "RF channel", "where the antenna looked", "amplifier", "attenuator"):
        assert word in text
    only_less = visible(far_section(found[1:]))
    assert "plugs" in only_less
    assert "amplifier" not in only_less
    assert far_section([]) == ""


@pytest.mark.parametrize(
    ("display", "said"),
    [
        (DisplaySettings(), "Hill, 16 km, 253° W"),
        # by hand: 16 km / 1.609344 = 9.94 miles, and 100 m / 0.3048 = 328.1 feet
        (DisplaySettings(height="ft", distance="mi"), "Hill, 9.9 mi, 253° W"),
    ],
)
def test_paths_to_the_bench_are_told_in_the_units_of_the_scenario(display, said):
    path = BenchPath("Hill", 16.0, 253.0, 2, 100.0, 84.0, 7.0)
    text = visible(matrix_section([matrix(LIFE=-56.0)], {"Quay": {"LIFE": path}}, display))
    assert said in text
    assert ("2 (328 ft)" if display.height == "ft" else "2 (100 m)") in text


def test_the_tall_mast_is_that_of_the_table_in_either_unit():
    assert read_tiers()[7].height_m == TALL_MAST_M
    assert mounting_words(7) == "on a 15 m mast, amplifier at the antenna"
    assert mounting_words(7, "ft") == "on a 49 ft mast, amplifier at the antenna"  # 15 / 0.3048 = 49.2
