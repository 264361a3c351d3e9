"""`covermap calibrate`: readings against the prediction."""

from __future__ import annotations

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status


@click.command("calibrate")
@options.scenario
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--output", type=click.Path(path_type=Path), help="Folder for the results (default: the scenario's own)."
)
@click.option("--public", is_flag=True, help="Write no points by name or place.")
def command(scenario: Path, readings: Path, output: Path | None, public: bool) -> None:
    """Compare READINGS with the prediction of SCENARIO; write calibration.toml where they support it.

    \b
    covermap calibrate scenario.toml readings.csv
    """
    from covermap import jobs

    with errors_as_exit_status():
        click.echo(jobs.calibrate_scenario(scenario, readings, output, public=public))
