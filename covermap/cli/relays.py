"""`covermap relays`: hilltops from which a relay would reach most homes."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("relays")
@options.scenario
@options.output
@options.workers
@options.overwrite
def command(scenario: Path, output: Path | None, workers: int | None, overwrite: bool) -> None:
    """Shortlist hilltops for a relay from the finished result of SCENARIO.

    \b
    covermap relays scenario.toml --output relays
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(jobs.shortlist_relays(scenario, output, workers=workers, overwrite=overwrite))
