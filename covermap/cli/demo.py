"""`covermap demo`: the demo scenario as files."""

from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    """Write the demo scenario, an invented island, to FOLDER.

    \b
    covermap demo demo
    covermap map demo/scenario.toml
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(jobs.write_demo(folder))
        jobs.begin_compiling()
