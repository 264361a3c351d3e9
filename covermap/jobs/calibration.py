"""`covermap calibrate`: readings against the prediction, and what is written of it."""

from __future__ import annotations

from pathlib import Path


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
    from covermap.result.run_json import scenario_cautions
    from covermap.scenario import read_scenario

    scenario = read_scenario(scenario_path)
    report = calibrate(scenario, readings, percent_scales)
    files = write_calibration(report, output or scenario.path.parent, scenario_cautions(scenario), public)
    return in_words(report, files, public)
