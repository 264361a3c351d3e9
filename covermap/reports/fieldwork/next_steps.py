"""What to do next after an antenna test or a calibration: what to read, what to accept, which command."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.band_result import BAND_WORDS, BandResult
from covermap.measurements.calibrate import NORMAL_95, CalibrationReport
from covermap.measurements.offsets import FEWEST_POINTS, Offset
from covermap.measurements.survey import SurveyPoint
from covermap.wording.words import join, plural

TITLE = "What to do next"
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
        steps.append(
            "No figure is in decibels: read the set's attenuator steps too, or use a meter in dBµV or dBm."
        )
    if steps:
        steps.append(
            "Then run covermap antenna-test again with all logs: sessions and places are put together."
        )
    if settled and not written:
        known = join([f"{result.candidate} at {BAND_WORDS[result.band]}" for result in settled])
        steps.append(
            f"Settled: {known}. To keep the gains, name an antenna whose gain is known: --reference ID "
            "--catalogue antennas.csv, or --reference-gain uhf=GAIN+-UNCERTAINTY --tier-table tiers.csv; "
            "covermap map scenario.toml then counts with them."
        )
    if written:
        steps.append(
            "The catalogue holds the gains now: covermap compare-antennas scenario.toml says for whom each "
            "antenna holds the list, covermap address scenario.toml --at LAT,LON what to buy at a place."
        )
    return steps


def _is_settled(result: BandResult) -> bool:
    mean = result.mean
    return mean is not None and (mean.low_db > 0.0 or mean.high_db < 0.0)


def after_calibration(
    report: CalibrationReport, scenario_file: str, places: Sequence[SurveyPoint]
) -> list[str]:
    """Return the steps after a calibration, in the order in which to take them.

    scenario_file : name of the scenario; places : of the map, where a reading settles most; may be empty
    """
    steps = [_verdict(report, scenario_file), *_doubtful_readings(report), *_too_few(report)]
    unread = _unread_masts(report)
    if unread:
        steps.append(f"Nothing was read of {join(unread)}: their prediction stays as it is until it is.")
    steps += _wide(report.offsets)
    if places:
        named = "; ".join(f"{one.latitude_deg:.5f}, {one.longitude_deg:.5f}" for one in places)
        steps.append(f"Places to read next, where the map is least sure for most homes: {named}.")
    again = f"covermap calibrate {scenario_file} readings.csv"
    where = (
        "covermap fieldwork RESULT lists places with a map and blank rows"
        if not places
        else ("covermap fieldwork RESULT has them as a sheet and as GPX")
    )
    return [*steps, f"{where}; add what you read to the file and run {again} again."]


def _verdict(report: CalibrationReport, scenario_file: str) -> str:
    if report.refused:
        return f"Do not use the offsets: {report.refused}. The map stays as it is."
    return (
        'Use the offsets: write calibration = "calibration.toml" under [prediction] and run '
        f"covermap map {scenario_file}; covermap changes OLD NEW then shows what they move."
    )


def _doubtful_readings(report: CalibrationReport) -> list[str]:
    """Return the readings to look at before anything else, without their places."""
    worst = report.disagreements[:MOST_NAMED]
    if not worst:
        return []
    named = "; ".join(one.words_without_place for one in worst)
    return [
        f"Look first at what lies furthest off, in the file or on the spot, channel, aim and unit: {named}."
    ]


def _too_few(report: CalibrationReport) -> list[str]:
    """Return which masts have too few points for an offset of their own."""
    counts: dict[str, int] = {}
    for mast in dict.fromkeys(point.mast for point in report.points):
        counts[mast] = len({point.point for point in report.points if point.mast == mast})
    return [
        f"{mast}: {plural(count, 'point')} read, {FEWEST_POINTS} needed: read "
        f"{plural(FEWEST_POINTS - count, 'more', 'more')}, 500 m or more apart."
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
            sentences.append(
                f"{offset.mast}, {BAND_WORDS[offset.band]}: ±{reach_db:.1f} dB with {offset.points} points; "
                f"about {more} more, each in a neighbourhood of its own, would bring it to ±{AIMED_DB:g} dB."
            )
    return sentences
