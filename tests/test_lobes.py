"""The lobe that stands for an antenna's own pattern, and patterns that have none."""

import math

import numpy as np
import pytest

from covermap.catalogue.lobes import fitted_lobe
from covermap.scenario.records import Pattern
from tests.test_generic_antennas import script

ANGLE_DEG = np.arange(0.0, 360.0, 2.0)
OFF_DEG = np.minimum(ANGLE_DEG, 360.0 - ANGLE_DEG)


def pattern(loss_db):
    return of_levels(-np.asarray(loss_db, float))


def of_levels(level_db):
    """Return a pattern of levels evenly spaced around; it closes at 360 degrees, as those that are read."""
    angle_deg = np.linspace(0.0, 360.0, level_db.size + 1)
    return Pattern("p", "azimuth", angle_deg, np.append(level_db, level_db[:1]) - level_db.max())


def lobe(width_deg, behind_db):
    return np.minimum(12.0 * (OFF_DEG / width_deg) ** 2, behind_db)


@pytest.mark.parametrize(("width_deg", "behind_db"), [(40.0, 18.0), (65.0, 12.0), (25.0, 22.0)])
@pytest.mark.parametrize("turned", [0, 37, 179])
def test_a_lobe_is_found_again_wherever_it_looks(width_deg, behind_db, turned):
    # half power is 3.01 dB: sqrt(3.01 / 3) of the width between the points 3 dB down
    found = fitted_lobe(pattern(np.roll(lobe(width_deg, behind_db), turned)))
    assert found.beamwidth_deg == pytest.approx(width_deg * math.sqrt(3.0103 / 3.0), rel=0.01)
    assert found.front_to_back_db == pytest.approx(behind_db, abs=0.1)
    assert found.off_in_lobe_db < 0.1
    assert found.off_all_round_db < 0.3
    assert found.suits


def test_a_ragged_back_counts_as_its_mean_and_says_how_far_it_is_off():
    # by hand: behind the lobe two thirds of the directions 20 dB down and a third 14 dB: 18 dB in the mean,
    # and where it is 14 the antenna hears 4 dB more than the lobe says
    behind = np.where(np.arange(ANGLE_DEG.size) % 3 == 0, 14.0, 20.0)
    found = fitted_lobe(pattern(np.minimum(lobe(50.0, 99.0), behind)))
    assert found.front_to_back_db == pytest.approx(18.0, abs=0.5)
    assert found.hears_more_db == pytest.approx(4.0, abs=0.5)
    # straight between its rows: a third at 20 (2^2), two thirds even from 14 to 20 (1 + 6^2 / 12), beyond 58
    # degrees, which are 68 % of all directions
    assert found.off_all_round_db == pytest.approx(math.sqrt(0.68 * (4.0 / 3.0 + 8.0 / 3.0)), abs=0.1)
    assert found.suits


def dipole_db():
    """Return a half-wave dipole: cos(90 sin a) / cos a of the field (textbook)."""
    sine, cosine = np.sin(np.radians(ANGLE_DEG)), np.cos(np.radians(ANGLE_DEG))
    with np.errstate(invalid="ignore", divide="ignore"):
        field = np.abs(np.cos(math.pi / 2.0 * sine) / cosine)
    return -20.0 * np.log10(np.maximum(np.nan_to_num(field), 10 ** (-30.0 / 20.0)))


@pytest.mark.parametrize(
    ("loss_db", "why"),
    [
        (dipole_db(), "front and back alike, nothing at the sides"),
        (
            np.where(OFF_DEG <= 60.0, lobe(50.0, 99.0) * 0.2 + (OFF_DEG > 12.0) * 2.5, 20.0),
            "a spike on a plateau",
        ),
        (np.abs(25.0 * np.sin(np.radians(3.0 * ANGLE_DEG))), "six lobes"),
        (np.where(ANGLE_DEG <= 180.0, lobe(120.0, 25.0), lobe(20.0, 25.0)), "lopsided"),
    ],
)
def test_a_pattern_without_such_a_lobe_is_refused(loss_db, why):
    assert not fitted_lobe(pattern(loss_db)).suits, why


def test_a_pattern_that_is_round_has_no_direction():
    found = fitted_lobe(pattern(0.8 * np.cos(np.radians(ANGLE_DEG)) + 0.8))
    assert math.isnan(found.beamwidth_deg)
    assert found.front_to_back_db == 0.0
    assert found.suits


@pytest.mark.parametrize(
    ("name", "mhz", "suits"),
    [
        # computed by the method of moments; the shapes are those of tests/benchmarks/compute_antennas.py
        ("uhf_yagi_10", 582.0, True),
        ("uhf_log_periodic", 582.0, True),
        ("uhf_bowtie_4", 638.0, True),
        ("high_vhf_yagi_6", 195.0, True),
        ("high_vhf_dipole", 195.0, False),
        ("uhf_yagi_3", 694.0, False),  # at the end of its band: only 4 dB between front and back
    ],
)
def test_computed_patterns(name, mhz, suits):
    model = script()
    gain_dbi = np.maximum(model.solve(model.ANTENNAS[name][0](), mhz)[0], -60.0)
    found = fitted_lobe(of_levels(gain_dbi))
    assert found.suits == suits
    if suits:
        # our own choice, well within what refuses a lobe
        assert found.off_in_lobe_db < 1.0
        assert found.off_all_round_db < 5.0
