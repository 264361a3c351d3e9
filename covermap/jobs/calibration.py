"""`covermap calibrate`: readings against the prediction, and what is written of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from covermap.measurements.calibrate import CalibrationReport
    from covermap.measurements.survey import SurveyPoint
    from covermap.scenario import Scenario

FAR_M = 1000.0  # judgement: what was read nearer than this says the same
MOST_PLACES = 5


def calibrate_scenario(
    scenario_path: Path,
    readings: Path,
    output: Path | None = None,
    *,
    percent_scales: Path | None = None,
    public: bool = False,
) -> str:
    """Compare readings with the prediction, write what they support, and return it in words.

    output : default, the scenario's own folder
    percent_scales : of an antenna test, for readings in per cent

    Raises InputError when the scenario or every reading is wrong; nothing is written then.
    """
    from covermap.measurements.calibrate import calibrate
    from covermap.reports.fieldwork.calibration_page import in_words, write_calibration
    from covermap.reports.fieldwork.next_steps import after_calibration
    from covermap.result.run_json import scenario_cautions
    from covermap.scenario import read_scenario
    from covermap.wording.language import speaking

    scenario = read_scenario(scenario_path)
    with speaking(scenario.settings.display.language):
        report = calibrate(scenario, readings, percent_scales)
        steps = after_calibration(report, scenario.path.name, _places(scenario, report, public), public)
        folder = output or scenario.path.parent
        files = write_calibration(report, folder, scenario_cautions(scenario), public, steps)
        return in_words(report, files, public, steps)


def _places(scenario: Scenario, report: CalibrationReport, public: bool) -> list[SurveyPoint]:
    """Return where a reading would settle most, by the scenario's finished result; none without one.

    Places near what was read are passed over, but not in public, where that would tell of them.
    """
    from pyproj import Geod

    from covermap.errors import InputError
    from covermap.measurements.survey import survey_points
    from covermap.result.coverage import open_coverage

    try:
        found = survey_points(open_coverage(scenario.output))
    except InputError:
        return []
    read = [] if public else report.points
    earth = Geod(ellps="WGS84")

    def is_far(place: SurveyPoint) -> bool:
        here = place.longitude_deg, place.latitude_deg
        away_m = [earth.inv(*here, one.longitude_deg, one.latitude_deg)[2] for one in read]
        return min(away_m, default=FAR_M) >= FAR_M

    return [place for place in found if is_far(place)][:MOST_PLACES]
