"""`covermap changes`: two finished results compared."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("changes")
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("after", type=click.Path(path_type=Path))
@options.output
@options.overwrite
def command(before: Path, after: Path, output: Path | None, overwrite: bool) -> None:
    """Say who gains and who loses between two result folders, BEFORE and AFTER.

    \b
    covermap changes out_2026 out_2027 --output changes
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(jobs.compare_results(before, after, output, overwrite=overwrite))
