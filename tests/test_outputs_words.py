"""Words and numbers as people read them; expected texts are those of the product's promise, by hand."""

import math
from types import SimpleNamespace

import pytest

from covermap.reports.address_sheet.wording import aims
from covermap.wording import words
from covermap.wording.palette import FILL_OPACITY, RELIEF_FLAT_GREY, TIERS, rgb, tier_look
from covermap.wording.tier_names import mounting_words
from covermap.wording.verdicts import expected_of_words


@pytest.mark.parametrize(
    ("percent", "number", "word"),
    [
        (95, "better than 90 %", "expected"),
        (90, "90 %", "expected"),
        (89, "85 %", "likely"),  # never a number of one word beside another
        (72, "70 %", "likely"),
        (53, "55 %", "may work, test first"),
        (49, "45 %", "unlikely without the next class up"),
        (12, "10 %", "not expected"),
        (9, "under 10 %", "not expected"),
        (0, "under 10 %", "not expected"),
        (math.nan, "unknown", "unknown"),
        (None, "unknown", "unknown"),
    ],
)
def test_chance_is_a_step_of_five_and_a_word(percent, number, word):
    assert words.chance_number(percent) == number
    assert words.chance_in_words(percent) == word


def test_number_and_word_of_a_chance_never_contradict_each_other():
    for percent in range(10, 91):
        step = int(words.chance_number(percent).split()[0])
        assert words.chance_in_words(step) == words.chance_in_words(percent)
        assert abs(step - percent) < 5


@pytest.mark.parametrize(
    ("count", "text"),
    [(4836.2, "4,800"), (2050, "2,100"), (99.5, "100"), (46.4, "46"), (5, "5"), (4.9, "under 5"),
     (0.04, "under 5"), (0, "none"), (math.nan, "unknown"), (None, "unknown"), (1_049_999, "1,000,000")],
)  # fmt: skip
def test_homes_have_two_significant_figures(count, text):
    assert words.homes_number(count) == text


@pytest.mark.parametrize(
    ("count", "low", "high", "said"),
    [(0, 0, 40, "under 5 (0 to 40)"), (15, 5, 40, "15 (5 to 40)"), (0.4, 0, 3, "under 5")],
)
def test_a_small_count_is_never_zero_beside_a_range(count, low, high, said):
    assert words.homes_range(count, low, high) == said


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: words.distance(9.94), "9.9 km"),
        (lambda: words.distance(9.96), "10 km"),
        (lambda: words.distance(34.4), "34 km"),
        (lambda: words.distance(16.09344, "mi"), "10 mi"),  # 1 international mile = 1.609344 km exactly
        (lambda: words.height(304.8, "ft"), "1,000 ft"),  # 1 foot = 0.3048 m exactly
        (lambda: words.bearing(148.6), "149° SE"),
        (lambda: words.bearing(359.7), "0° N"),
        (lambda: words.margin(-0.4), "0 dB"),
        (lambda: words.margin(9.5), "+10 dB"),
        (lambda: words.margin(-3.2), "-3 dB"),
        (lambda: words.field(56.6), "57 dBµV/m"),
        (lambda: words.percent_whole(0.3), "under 1 %"),
    ],
)
def test_quantities_are_rounded_as_promised(call, text):
    assert call() == text


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1"])
def test_text_that_starts_a_formula_is_neutralised(start):
    assert words.csv_safe(start) == "'" + start


def test_ordinary_text_stays_as_it_is():
    assert words.csv_safe("Upper <b>Dale</b> = 5") == "Upper <b>Dale</b> = 5"


def test_a_file_name_keeps_nothing_a_system_could_trip_over():
    assert words.file_safe("../Åse/..\\x:y") == "Ase-x-y"
    assert words.file_safe("///") == "unnamed"
    assert len(words.file_safe("a" * 300)) == 60


@pytest.mark.parametrize("look", TIERS, ids=lambda look: look.name)
def test_painted_squares_are_fills_at_80_percent_over_flat_relief(look):
    # painting: 0.8 fill + 0.2 x 226, the squares the legend promises; half a grey step of rounding
    for painted, fill in zip(rgb(look.painted), rgb(look.fill), strict=True):
        assert painted == pytest.approx(FILL_OPACITY * fill + (1 - FILL_OPACITY) * RELIEF_FLAT_GREY, abs=0.6)


def test_every_tier_has_its_own_words():
    assert [look.number for look in TIERS] == list(range(1, 9))
    assert len({mounting_words(look.number) for look in TIERS}) == 8
    assert tier_look(8).name == "Not promised"
    with pytest.raises(KeyError, match="9"):
        tier_look(9)


@pytest.mark.parametrize(
    ("joined", "polarizations", "words"),
    [
        ("single", ("horizontal",), "aimed 113° true"),
        ("single", ("vertical",), "aimed 113° true, mounted for vertical polarization"),
        (
            "combined",
            ("horizontal", "vertical"),
            "two antennas on one cable, aimed 113° true and 79° true, the second mounted for "
            "vertical polarization",
        ),
        (
            "diplexed",
            ("vertical", "vertical"),
            "two antennas joined by band: for VHF aimed 113° true, for UHF aimed 79° true, both mounted for "
            "vertical polarization",
        ),
    ],
)
def test_the_sheet_says_which_antenna_stands_upright(joined, polarizations, words):
    plan = SimpleNamespace(
        directional=True,
        joined=joined,
        aims_deg=(113.0, 79.0)[: len(polarizations)],
        polarizations=polarizations,
    )
    assert aims(SimpleNamespace(declination=None), plan) == words


@pytest.mark.parametrize(
    ("percent", "text"), [(45, "45 %, unlikely"), (75, "75 %, likely"), (95, "better than 90 %")]
)
def test_of_the_highest_class_no_next_one_is_spoken_of(percent, text):
    assert words.chance_text(percent, highest=True) == text


@pytest.mark.parametrize(
    ("chances", "needed", "text"),
    [
        ([95, 90, 89, 20], 2, "2 of 4 expected, 2 needed."),
        ([50, 60], 1, "0 of 2 expected, 1 needed."),
        ([95, 90], 2, ""),  # all are needed: their chance together says it
    ],
)
def test_of_a_list_of_some_it_is_said_how_many_arrive(chances, needed, text):
    assert expected_of_words(chances, needed, 90.0) == text
