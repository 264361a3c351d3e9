"""`covermap map`: the main job."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.progress import progress_on_stderr
from covermap.cli.terminal import say


@click.command("map")
@options.scenario
@options.output
@options.workers
@options.scheduler
@options.scheduler_without_tls
@options.store
@options.progress
@options.overwrite
@options.public
@options.also
@options.anew
def command(
    scenario: Path,
    output: Path | None,
    workers: int | None,
    scheduler: str | None,
    scheduler_without_tls: bool,
    store: Path | None,
    progress: str,
    overwrite: bool,
    public: bool,
    also: tuple[str, ...],
    anew: bool,
) -> None:
    """Predict the antenna needed in every cell of SCENARIO.

    \b
    covermap map scenario.toml --output out
    """
    from covermap import jobs

    with errors_as_exit_status():
        with progress_on_stderr(progress) as report:
            summary = jobs.map_scenario(
                scenario,
                output,
                workers=workers,
                store=store,
                scheduler=scheduler,
                scheduler_without_tls=scheduler_without_tls,
                overwrite=overwrite,
                public=public,
                also=also,
                keep=not anew,
                progress=report,
            )
        say(summary)
