"""The cautions stand, whole, on what people read."""

import pytest

from covermap.wording.cautions import CAUTIONS, NOT_COUNTED, STANDING, cautions, trees_sentence


@pytest.fixture
def text():
    return " ".join(
        cautions(
            stations_as_of="2026-09-01",
            terrain="hills.tif (bare earth)",
            cell_m=100.0,
            trees=trees_sentence("bare_earth", has_land_cover=True),
        )
    )


@pytest.mark.parametrize(
    "point",
    [
        "prediction, not a measurement", "6 to 10 dB", "Stations as of 2026-09-01", "hills.tif", "100 m",
        "Trees and buildings", "land cover", "Indoor results vary most", "test antenna before buying a mast",
        "Work on roofs", "raising masts", "power lines", "lightning protection", "earthing",
        "competent person", "local rules", "relay needs a licence", "no proof of a fault",
    ],
)  # fmt: skip
def test_every_point_is_covered(text, point):
    assert point in text


def test_what_is_not_counted_stands_beside_them(text):
    assert "mobile networks" in text
    assert "mix with each other" in text
    assert all(sentence in text for sentence in NOT_COUNTED)


def test_no_place_is_left_unfilled(text):
    assert "{" not in text
    assert "unknown date" in " ".join(cautions(stations_as_of="", terrain="x", cell_m=50))
    assert len(cautions(stations_as_of="", terrain="x", cell_m=50)) == len(CAUTIONS) + len(NOT_COUNTED)


def test_trees_are_told_as_they_are_included():
    assert trees_sentence("with_canopy") != trees_sentence("bare_earth") != trees_sentence("bare_earth", True)
    assert "not included" in trees_sentence("bare_earth", has_land_cover=False)


def test_the_standing_cautions_need_no_run():
    assert "Try a test antenna before buying a mast." in STANDING
    assert any("power lines" in sentence for sentence in STANDING)
    assert not any("{" in sentence or "prediction" in sentence for sentence in STANDING)
