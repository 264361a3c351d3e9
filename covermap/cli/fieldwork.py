"""`covermap fieldwork`: where to measure next, blank forms, and reports against the map."""

from __future__ import annotations

from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("fieldwork")
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "--output", type=click.Path(path_type=Path), help="Folder for the files (default: fieldwork in RESULT)."
)
@click.option("--reports", type=click.Path(path_type=Path), help="Reports of homes, a CSV of the blank form.")
@click.option("--list", "list_name", help="The wanted list (default: the first).")
@click.option(
    "--points", type=click.IntRange(1, 200), default=15, show_default=True, help="How many points to measure."
)
@click.option("--public", is_flag=True, help="Reports as counts in wide squares, none under five, no ids.")
def command(
    result: Path, output: Path | None, reports: Path | None, list_name: str | None, points: int, public: bool
) -> None:
    """Write the points to measure next of RESULT (a folder that map wrote), a sheet, GPX and blank forms.

    \b
    covermap fieldwork out
    covermap fieldwork out --reports reports.csv --public
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(
            jobs.prepare_fieldwork(
                result, output, reports=reports, list_name=list_name, count=points, public=public
            )
        )
