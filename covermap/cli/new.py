"""`covermap new`: a commented scenario to fill in."""

from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--elevation",
    multiple=True,
    type=click.Path(path_type=Path),
    help="An elevation raster; may be repeated.",
)
@click.option("--stations", type=click.Path(path_type=Path), help="A transmitter file with our columns.")
def command(folder: Path, elevation: tuple[Path, ...], stations: Path | None) -> None:
    """Write a commented scenario with every key and its default, and blank tables, to FOLDER.

    \b
    covermap new valley --elevation heights.tif
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(jobs.write_new(folder, list(elevation), stations))
