"""`covermap check`: read and cross-check, compute nothing."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("check")
@options.scenario
@options.workers
@options.scheduler
@options.scheduler_without_tls
@options.store
def command(
    scenario: Path,
    workers: int | None,
    scheduler: str | None,
    scheduler_without_tls: bool,
    store: Path | None,
) -> None:
    """Read all inputs of SCENARIO, say what was understood, what looks wrong and what a run will cost.

    \b
    covermap check scenario.toml
    """
    from covermap import jobs

    with errors_as_exit_status():
        jobs.begin_compiling()
        report = jobs.check_scenario(
            scenario,
            workers=workers,
            store=store,
            scheduler=scheduler,
            scheduler_without_tls=scheduler_without_tls,
        )
        say(report.in_words())
