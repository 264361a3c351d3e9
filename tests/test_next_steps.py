"""What to do next, after a calibration and an antenna test; and no exact reading drawn as a bound."""

import math
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.text import Annotation
from scenario_files import write_scenario
from test_antenna_test import abba, good_rows, unsettled_rows, write_log
from test_calibration import many

from covermap.measurements.antenna_test import antenna_test
from covermap.measurements.calibrate import Disagreement
from covermap.measurements.survey import SurveyPoint
from covermap.reports.fieldwork.calibration_page import calibration_page
from covermap.reports.fieldwork.next_steps import after_antenna_test, after_calibration
from covermap.reports.fieldwork.pictures import antenna_picture, residual_picture
from covermap.scenario import read_scenario
from covermap.wording.language import say

POINTS_UP_OR_DOWN = {"^", "v", "1", "2", "<", ">"}


@pytest.fixture
def scenario(tmp_path):
    return read_scenario(write_scenario(tmp_path))


def steps_of(report, places=(), public=False):
    return after_calibration(report, "scenario.toml", places, public)


def test_a_calibration_that_holds_says_how_to_use_it(tmp_path, scenario):
    report = many(tmp_path, scenario, -5.0)
    assert not report.refused
    steps = steps_of(report)
    assert 'calibration = "calibration.toml" under [prediction]' in steps[0]
    assert "covermap map scenario.toml" in steps[0]
    assert "covermap calibrate scenario.toml readings.csv again" in steps[-1]
    page = calibration_page(report, [], public=False, steps=steps)
    assert page.index(say("fieldwork.next")) < page.index("Offsets, added to the prediction")


def test_a_refused_calibration_says_not_to_use_it_and_where_to_read(tmp_path, scenario):
    report = many(tmp_path, scenario, -5.0, count=2)
    assert report.refused
    place = SurveyPoint(1, 44.1, -36.2, 0.0, 0.0, 80.0, 5, 70, 40)
    steps = steps_of(report, [place])
    assert steps[0].startswith("Do not use the offsets: 2 points are too few")
    assert any("2 points read, 3 needed: read 1 more" in step for step in steps)
    assert any("44.10000, -36.20000" in step for step in steps)
    assert not any("calibration.toml" in step for step in steps)


def test_a_reading_to_look_at_is_named_by_point_and_row_but_not_in_public(tmp_path, scenario):
    report = many(tmp_path, scenario, -5.0)
    furthest = Disagreement(report.residuals[3], 41.0)
    doubted = replace(report, disagreements=(furthest,))
    (step,) = [one for one in steps_of(doubted) if one.startswith("Look first")]
    point = report.residuals[3].reading.point
    assert f"{point} (readings.csv, line 5), First TV: read; 41 dB more" in step
    (shown,) = [one for one in steps_of(doubted, public=True) if one.startswith("Look first")]
    assert point not in shown
    assert "line" not in shown


def test_masts_of_which_nothing_was_read_are_named(tmp_path, scenario):
    report = many(tmp_path, scenario, -5.0)
    read = {point.mast for point in report.points}
    unread = [mast for mast in report.masts if mast not in read]
    named = replace(report, masts=(*report.masts, "Far Hill"))
    assert any("Nothing was read of" in step and "Far Hill" in step for step in steps_of(named))
    assert any("Nothing was read of" in step for step in steps_of(report)) == bool(unread)


def test_a_wide_offset_says_how_many_points_would_narrow_it(tmp_path, scenario):
    report = many(tmp_path, scenario, -5.0)
    # the standard error falls with the root of the number: 12 points of +-6 dB, +-3 dB takes 4 times as many
    wide = replace(report.offsets[0], sd_db=6.0 / 1.96, points=12)
    steps = steps_of(replace(report, offsets=(wide,)))
    assert any("about 36 more" in step for step in steps)
    narrow = replace(wide, sd_db=1.0)
    assert not any(
        "more, each in a neighbourhood" in step for step in steps_of(replace(report, offsets=(narrow,)))
    )


def test_a_log_that_is_settled_says_how_to_keep_the_gains(tmp_path):
    test = antenna_test(write_log(tmp_path / "log.csv", good_rows()))
    assert any("--catalogue antennas.csv" in step for step in after_antenna_test(test, ()))
    kept = after_antenna_test(test, ("array: gain at UHF 9.1 dBd",))
    assert any("covermap compare-antennas" in step for step in kept)
    assert not any("--catalogue" in step for step in kept)


def test_a_log_that_is_not_settled_says_what_to_read_and_to_run_again(tmp_path):
    steps = after_antenna_test(antenna_test(write_log(tmp_path / "log.csv", unsettled_rows())), ())
    assert steps[0].startswith("To settle array, UHF")
    assert any("covermap antenna-test again with all logs" in step for step in steps)


def marks_of(figure):
    """Return the marks drawn, and the arrows, of all panels of a figure."""
    panels = figure.axes
    marks = [line.get_marker() for axes in panels for line in axes.lines]
    arrows = [text for axes in panels for text in axes.texts if isinstance(text, Annotation)]
    return {mark for mark in marks if mark not in ("None", None, "", " ")}, arrows


@pytest.mark.parametrize("band", ["low_vhf", "high_vhf", "uhf"])
def test_an_exact_residual_is_drawn_without_a_direction(tmp_path, scenario, band):
    report = many(tmp_path, scenario, -5.0)
    residuals = tuple(
        replace(one, reading=replace(one.reading, station=replace(one.reading.station, band=band)))
        for one in report.residuals
    )
    exact = replace(report, residuals=residuals)
    assert all(one.is_exact for one in exact.residuals)
    marks, arrows = marks_of(residual_picture(exact))
    assert not marks & POINTS_UP_OR_DOWN
    assert arrows == []
    bound = replace(residuals[0], low_db=-math.inf)
    marks, arrows = marks_of(residual_picture(replace(exact, residuals=(bound, *residuals[1:]))))
    assert not marks & POINTS_UP_OR_DOWN
    assert len(arrows) == 1
    assert arrows[0].xyann[1] < 0.0  # at most: down


def test_eight_sessions_of_exact_readings_are_drawn_without_a_direction(tmp_path):
    rng = np.random.default_rng(8)
    rows = [
        row | {"session_id": f"day {session}"}
        for session in range(8)
        for number, channel in enumerate(("20", "22", "25", "28", "31"))
        for row in abba(f"S{number}", -60.0 + rng.normal(0.0, 1.0, 4), 12 * number, rf_channel=channel)
    ]
    test = antenna_test(write_log(tmp_path / "log.csv", rows))
    assert all(pair.is_exact for pair in test.pairs.differences)
    result = test.bands[0]
    marks, arrows = marks_of(antenna_picture(test, result.candidate, result.device, result.kind))
    assert not marks & POINTS_UP_OR_DOWN
    assert arrows == []
