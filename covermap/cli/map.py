"""`covermap map`: the main job."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.progress import progress_on_stderr


@click.command("map")
@options.scenario
@options.output
@options.workers
@options.store
@options.progress
@options.overwrite
def command(
    scenario: Path,
    output: Path | None,
    workers: int | None,
    store: Path | None,
    progress: str,
    overwrite: bool,
) -> None:
    """Predict the antenna needed in every cell of SCENARIO.

    \b
    covermap map scenario.toml --output out
    """
    from covermap import jobs

    with errors_as_exit_status():
        with progress_on_stderr(progress) as report:
            summary = jobs.map_scenario(
                scenario, output, workers=workers, store=store, overwrite=overwrite, progress=report
            )
        click.echo(summary)
