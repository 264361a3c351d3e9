"""`covermap path`: losses of single profiles."""

from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("path")
@click.argument("cases", type=click.Path(path_type=Path))
@click.option(
    "--profiles", required=True, type=click.Path(path_type=Path), help="Folder with a CSV a profile."
)
@click.option("--json", "as_json", is_flag=True, help="Write a list with every intermediate value.")
def command(cases: Path, profiles: Path, as_json: bool) -> None:
    """Path loss of each row of CASES, a CSV of case_id, profile, model and the model's arguments.

    \b
    covermap path cases.csv --profiles profiles
    """
    from covermap import jobs

    with errors_as_exit_status():
        results = jobs.path_losses(cases, profiles)
        for fault in results.faults:
            say(fault, err=True)
        click.echo(results.as_json() if as_json else results.as_csv(), nl=False)
