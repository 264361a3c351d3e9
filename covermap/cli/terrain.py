"""`covermap terrain`: open elevation and land cover fetched for a scenario."""

from __future__ import annotations

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.progress import progress_on_stderr
from covermap.cli.terminal import say


@click.command("terrain")
@options.scenario
@click.option("--elevation", default="copernicus_30", show_default=True, help="Source of elevation.")
@click.option("--land-cover", "land_cover", help="Source of land cover, such as worldcover_2021.")
@click.option(
    "--sources", type=click.Path(path_type=Path), help="Your own sources: a table as terrain_sources.csv."
)
@click.option("--size", "only_tell", is_flag=True, help="Tell how much it is, and fetch nothing.")
@options.progress
def command(
    scenario: Path,
    elevation: str,
    land_cover: str | None,
    sources: Path | None,
    only_tell: bool,
    progress: str,
) -> None:
    """Fetch the tiles that the paths of SCENARIO cross, and name them in it.

    A broken transfer goes on with the same command.

    \b
    covermap terrain valley/scenario.toml --land-cover worldcover_2021
    """
    from covermap import jobs

    with errors_as_exit_status():
        with progress_on_stderr(progress) as report:
            said = jobs.fetch_terrain(
                scenario,
                elevation=elevation,
                land_cover=land_cover,
                sources=sources,
                only_tell=only_tell,
                tell=say,
                progress=report,
            )
        say(said)
