"""Transmitting patterns: read in dB below the greatest field, and what is refused."""

import numpy as np
import pytest

from covermap.errors import InputError
from covermap.scenario import read_scenario
from covermap.scenario.patterns import read_patterns
from tests.scenario_files import HEADER, ROWS, station_csv, write_scenario

COLUMNS = "pattern,plane,angle_deg,relative_field"


def pattern_text(values, name="p", plane="azimuth"):
    """Return a patterns file of one pattern: angle -> field."""
    return (
        "\n".join([COLUMNS, *(f"{name},{plane},{angle},{field}" for angle, field in values.items())]) + "\n"
    )


def every_ten(**changes):
    """Return a round azimuth pattern of 10-degree steps with some fields changed: d30=0.5."""
    values = dict.fromkeys(range(0, 360, 10), 1.0)
    return values | {int(key[1:]): value for key, value in changes.items()}


def read(tmp_path, text):
    path = tmp_path / "patterns.csv"
    path.write_text(text)
    return read_patterns(path)


def test_half_field_is_six_decibels_down(tmp_path):
    patterns, warnings = read(tmp_path, pattern_text(every_ten(d30=0.5)))
    pattern = patterns["p", "azimuth"]
    # 20 log10(0.5) = -6.0206 dB; straight in dB between rows
    assert pattern.relative_db_at(np.array([30.0, 25.0, 390.0, 0.0])) == pytest.approx(
        [-6.0206, -3.0103, -6.0206, 0.0], abs=1e-4
    )
    assert warnings == []


def test_pattern_has_no_seam_at_north(tmp_path):
    values = {angle: field for angle, field in every_ten().items() if angle} | {356: 0.5, 4: 0.8}
    pattern = read(tmp_path, pattern_text(values))[0]["p", "azimuth"]
    assert (pattern.angle_deg[0], pattern.angle_deg[-1]) == (0.0, 360.0)
    both = pattern.relative_db_at(np.array([359.999, 0.001]))
    assert both[0] == pytest.approx(both[1], abs=0.01)
    # half way between 0.5 (-6.021 dB) and 0.8 (-1.938 dB): -3.979 dB
    assert both[0] == pytest.approx(-3.979, abs=0.01)


def test_null_is_floored_with_a_note(tmp_path):
    patterns, warnings = read(tmp_path, pattern_text(every_ten(d90=0.0)))
    # our own choice: no null on the air is as deep as a filed zero
    assert patterns["p", "azimuth"].relative_db.min() == -30.0
    assert any("taken as -30 dB" in text for text in warnings)


def test_greatest_field_under_one_is_doubted(tmp_path):
    assert any(
        "greatest field is 0.5" in text
        for text in read(tmp_path, pattern_text(dict.fromkeys(range(0, 360, 10), 0.5)))[1]
    )


def test_elevation_pattern_greatest_above_the_horizontal_is_doubted(tmp_path):
    _, warnings = read(tmp_path, pattern_text({-10: 0.2, 0: 0.9, 1: 1.0, 10: 0.2}, plane="elevation"))
    assert any("above the horizontal" in text for text in warnings)


def test_zero_and_360_may_both_stand_if_they_agree(tmp_path):
    pattern = read(tmp_path, pattern_text(every_ten(d360=1.0)))[0]["p", "azimuth"]
    assert np.all(np.diff(pattern.angle_deg) > 0)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (
            pattern_text(every_ten(d360=0.5)),
            ["pattern p (azimuth)", "1 at 0 degrees and 0.5 at 360", "Correct one"],
        ),
        (
            pattern_text({angle: 1 for angle in range(0, 360, 10) if angle != 40}),
            ["found no row between 30 and 50 degrees", "gaps up to 10 degrees", "Add the missing azimuths"],
        ),
        (
            pattern_text({angle: 1 for angle in range(10, 360, 10) if angle != 350}),
            ["found no row between 340 and 10 degrees", "Add the missing azimuths"],
        ),
        (
            pattern_text(every_ten(d20=1.5)),
            ['line 4, column relative_field: found "1.5"', "from 0 to 1", "divide"],
        ),
        (pattern_text(every_ten(d20=-3)), ['column relative_field: found "-3"', "decibels", "10^(dB/20)"]),
        (
            pattern_text(every_ten(d20="x")),
            ['column relative_field: found "x"', "a number", "Correct the cell"],
        ),
        (pattern_text(every_ten(d400=1)), ['column angle_deg: found "400"', "0 to 360", "Correct the cell"]),
        (pattern_text({-100: 1, 0: 1}, plane="elevation"), ['found "-100"', "-90 to 90", "Correct the cell"]),
        (
            pattern_text(every_ten()) + "p,azimuth,20,1\n",
            ['line 38, column angle_deg: found "20"', "twice", "Delete"],
        ),
        (
            pattern_text(every_ten(), plane="vertical"),
            ['column plane: found "vertical"', "azimuth or elevation"],
        ),
        (pattern_text(every_ten(), name=""), ['column pattern: found ""', "Fill the cell"]),
        (pattern_text({0: 1.0}, plane="elevation"), ["has one row only", "Give its whole elevation pattern"]),
        (
            pattern_text(dict.fromkeys(range(0, 360, 10), 0)),
            ["no field greater than 0", "Correct the column"],
        ),
        (
            "pattern,plane,angle_deg,db\np,azimuth,0,0\n",
            ["missing relative_field", "convert decibels", "Add"],
        ),
    ],
)
def test_wrong_pattern_is_refused_with_where_found_right_and_next(tmp_path, text, parts):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert str(caught.value).startswith("patterns.csv")
    for part in parts:
        assert part in str(caught.value)


def test_station_names_its_patterns(tmp_path):
    header = f"{HEADER},azimuth_pattern"
    path = write_scenario(
        tmp_path,
        stations=station_csv(f"{ROWS[0]},p", header=header),
        patterns=pattern_text(every_ten(d0=0.5)),
        wanted="[wanted.any]\nat_least = 1\n",
    )
    assert read_scenario(path).stations[0].azimuth_pattern.name == "p"


@pytest.mark.parametrize("patterns", [pattern_text(every_ten(), name="pole"), None])
def test_station_that_names_no_known_pattern_is_refused(tmp_path, patterns):
    header = f"{HEADER},azimuth_pattern"
    path = write_scenario(tmp_path, stations=station_csv(f"{ROWS[0]},pol", header=header), patterns=patterns)
    with pytest.raises(
        InputError, match=r'line 2, column azimuth_pattern: found "pol".\n.*Correct the name'
    ) as caught:
        read_scenario(path)
    assert ('Did you mean "pole"?' in str(caught.value)) == (patterns is not None)
