"""`covermap calibrate`: readings against the prediction."""

from __future__ import annotations

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("calibrate")
@options.scenario
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--output", type=click.Path(path_type=Path), help="Folder for the results (default: the scenario's own)."
)
@click.option(
    "--percent-scales",
    type=click.Path(path_type=Path),
    help="percent_scales.csv of antenna-test, for readings in per cent of the same sets.",
)
@click.option(
    "--public",
    is_flag=True,
    help="For showing: no points by name or place, areas in whole squares, rows by line number.",
)
def command(
    scenario: Path, readings: Path, output: Path | None, percent_scales: Path | None, public: bool
) -> None:
    """Compare READINGS with the prediction of SCENARIO; write calibration.toml where they support it.

    \b
    covermap calibrate scenario.toml readings.csv
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(jobs.calibrate_scenario(scenario, readings, output, percent_scales=percent_scales, public=public))
