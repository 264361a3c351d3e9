"""`covermap stations`: a list of stations in any form becomes transmitters.csv."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("stations")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--column", "columns", multiple=True, metavar="FIELD=HEADING", help="Which column holds what.")
@click.option(
    "--unit", "units", multiple=True, metavar="FIELD=UNIT", help="The unit of a column that names none."
)
@click.option(
    "--word", "words", multiple=True, metavar="FIELD:WORD=OURS", help="What a word of the list means."
)
@click.option("--mapping", type=click.Path(path_type=Path), help="What was settled before about such a list.")
@click.option("--plan", help="Channel plan, as in the scenario (us_6mhz, europe_8mhz and others).")
@click.option("--system", default="atsc1_8vsb", show_default=True, help="Of rows that name none.")
@click.option("--near", metavar="POSITION", help="List services by what is left of their reach here.")
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    default=Path("transmitters.csv"),
    show_default=True,
    help="The table to write.",
)
@click.option("--accept", is_flag=True, help="Write it; without, only tell what was understood.")
def command(
    files: tuple[Path, ...],
    columns: tuple[str, ...],
    units: tuple[str, ...],
    words: tuple[str, ...],
    mapping: Path | None,
    plan: str | None,
    system: str,
    near: str | None,
    output: Path,
    accept: bool,
) -> None:
    """Make transmitters.csv of FILES: CSV, text with any delimiter, spreadsheets, layers of points.

    \b
    covermap stations stations.xlsx
    covermap stations stations.xlsx --column height="Antenna height AGL (m)" --plan us_6mhz --accept
    """
    from covermap import jobs

    with errors_as_exit_status():
        answers = jobs.Answers(
            _pairs(columns, "--column", str),
            _pairs(units, "--unit", str.lower),
            {_word_of(name): ours for name, ours in _pairs(words, "--word", str.lower).items()},
        )
        options = jobs.ListOptions(answers, mapping, plan, system, near)
        say(jobs.import_stations(files, output, options, accept=accept))


def _pairs(given: tuple[str, ...], option: str, change: Callable[[str], str]) -> dict[str, str]:
    """Return FIELD=TEXT options as a dictionary. InputError where one has no equals sign."""
    from covermap.errors import InputError

    found = {}
    for text in given:
        name, equals, value = text.partition("=") if option != "--word" else text.rpartition("=")
        if not equals or not name.strip() or not value.strip():
            raise InputError(
                f'{option}: found "{text}". Write the two with = between, as in height="Height (m)".'
            )
        found[name.strip()] = change(value.strip().strip('"'))
    return found


def _word_of(name: str) -> tuple[str, str]:
    from covermap.errors import InputError

    field, colon, word = name.partition(":")
    if not colon:
        raise InputError(f'--word: found "{name}". Write FIELD:WORD=OURS, as in status:STA=on_air.')
    return field.strip(), " ".join(word.strip().strip('"').lower().split())
