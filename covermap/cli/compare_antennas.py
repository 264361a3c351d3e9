"""`covermap compare-antennas`: antennas of the catalogue, for whom each holds the list."""

from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.progress import progress_on_stderr
from covermap.cli.terminal import say


@click.command("compare-antennas")
@options.scenario
@click.argument("antennas", nargs=-1, required=True)
@click.option("--amplifier", metavar="ID", help="The only one tried (default: all that are worth it).")
@click.option("--wanted", help="The wanted list (default: the first).")
@options.output
@options.workers
@options.store
@options.overwrite
@options.progress
def command(
    scenario: Path,
    antennas: tuple[str, ...],
    amplifier: str | None,
    wanted: str | None,
    output: Path | None,
    workers: int | None,
    store: Path | None,
    overwrite: bool,
    progress: str,
) -> None:
    """Say for whom each of the ANTENNAS of the catalogue holds the list of SCENARIO, and what others change.

    An antenna is its id; ID+ID are two behind a diplexer, each with its own aim; ID:135 is turned to 135
    degrees from true north at every home; ID@loft goes to that mount.

    \b
    covermap compare-antennas scenario.toml uhf_yagi_20 uhf_yagi_20+high_vhf_yagi_6
    covermap compare-antennas scenario.toml uhf_yagi_20 uhf_yagi_20+high_vhf_yagi_6:135
    """
    from covermap import jobs

    with errors_as_exit_status():
        with progress_on_stderr(progress) as report:
            text = jobs.compare_installations(
                scenario,
                antennas,
                output,
                amplifier=amplifier,
                wanted=wanted,
                store=store,
                workers=workers,
                overwrite=overwrite,
                progress=report,
            )
        say(text)
