"""`covermap check`: read and cross-check, compute nothing."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status


@click.command("check")
@options.scenario
@options.workers
@options.store
def command(scenario: Path, workers: int | None, store: Path | None) -> None:
    """Read all inputs of SCENARIO, say what was understood, what looks wrong and what a run will cost.

    \b
    covermap check scenario.toml
    """
    from covermap import jobs

    with errors_as_exit_status():
        click.echo(jobs.check_scenario(scenario, workers=workers, store=store).in_words())
