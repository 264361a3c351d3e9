"""What to do next after an antenna test or a calibration: what to read, what to accept, which command."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.band_result import BandResult
from covermap.measurements.calibrate import NORMAL_95, CalibrationReport
from covermap.measurements.offsets import FEWEST_POINTS, Offset
from covermap.measurements.survey import SurveyPoint
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.words import as_given, decimal, join

WIDE_DB = 4.0  # judgement: an offset known no better than this is worth more points
AIMED_DB = 3.0  # what more points should bring it to
MOST_NAMED = 3


def after_antenna_test(test: AntennaTest, written: Sequence[str]) -> list[str]:
    """Return the steps after a comparison of antennas, in the order in which to take them.

    written : what this run put into a catalogue
    """
    steps = list(test.next_steps)
    settled = [result for result in test.bands if _is_settled(result)]
    if not steps and not settled:
        steps.append(say("bench.next.no_db"))
    if steps:
        steps.append(say("bench.next.again"))
    if settled and not written:
        names = [(result.candidate, band_words(result.band)) for result in settled]
        known = join([say("bench.verdict.at_antenna", antenna=name, band=band) for name, band in names])
        steps.append(say("bench.next.settled", known=known))
    if written:
        steps.append(say("bench.next.written"))
    return steps


def _is_settled(result: BandResult) -> bool:
    mean = result.mean
    return mean is not None and (mean.low_db > 0.0 or mean.high_db < 0.0)


def after_calibration(
    report: CalibrationReport, scenario_file: str, places: Sequence[SurveyPoint], public: bool
) -> list[str]:
    """Return the steps after a calibration, in the order in which to take them.

    scenario_file : name of the scenario; places : of the map, where a reading settles most; may be empty
    public : name no point that was read
    """
    steps = [_verdict(report, scenario_file), *_doubtful_readings(report, public), *_too_few(report)]
    unread = _unread_masts(report)
    if unread:
        steps.append(say("calibration.next.unread", masts=join(unread)))
    steps += _wide(report.offsets)
    if places:
        named = "; ".join(f"{one.latitude_deg:.5f}, {one.longitude_deg:.5f}" for one in places)
        steps.append(say("calibration.next.places", named=named))
    key = "calibration.next.has_places" if places else "calibration.next.list_places"
    return [*steps, say(key, again=f"covermap calibrate {scenario_file} readings.csv")]


def _verdict(report: CalibrationReport, scenario_file: str) -> str:
    if report.refused:
        return say("calibration.next.refused", why=report.refused)
    return say("calibration.next.use", scenario=scenario_file)


def _doubtful_readings(report: CalibrationReport, public: bool) -> list[str]:
    """Return the readings to look at before anything else."""
    worst = report.disagreements[:MOST_NAMED]
    if not worst:
        return []
    named = "; ".join(one.words_without_place if public else one.words for one in worst)
    return [say("calibration.next.furthest", named=named)]


def _too_few(report: CalibrationReport) -> list[str]:
    """Return which masts have too few points for an offset of their own."""
    counts: dict[str, int] = {}
    for mast in dict.fromkeys(point.mast for point in report.points):
        counts[mast] = len({point.point for point in report.points if point.mast == mast})
    return [
        say(
            "calibration.next.too_few",
            mast=mast,
            points=say("calibration.next.points", count=count),
            needed=FEWEST_POINTS,
            more=FEWEST_POINTS - count,
        )
        for mast, count in counts.items()
        if count < FEWEST_POINTS
    ]


def _unread_masts(report: CalibrationReport) -> list[str]:
    read = {point.mast for point in report.points}
    return [mast for mast in report.masts if mast not in read]


def _wide(offsets: Sequence[Offset]) -> list[str]:
    """Return which offsets more points would narrow, and about how many."""
    sentences = []
    for offset in offsets:
        reach_db = NORMAL_95 * offset.sd_db
        if offset.points >= FEWEST_POINTS and reach_db > WIDE_DB:
            more = round(offset.points * (reach_db / AIMED_DB) ** 2) - offset.points
            names = {"mast": offset.mast, "band": band_words(offset.band), "points": offset.points}
            figures = {"reach": decimal(reach_db, 1), "aimed": as_given(AIMED_DB)}
            sentences.append(say("calibration.next.wide", more=more, **names, **figures))
    return sentences
