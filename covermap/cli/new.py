"""`covermap new`: a scenario from what one has, asked for at a terminal or given by options."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say

FILE = click.Path(path_type=Path)


@click.command("new")
@click.argument("folder", type=FILE)
@click.option("--elevation", multiple=True, type=FILE, help="A raster, or a folder; may be repeated.")
@click.option("--stations", type=FILE, help="A list with our columns: `covermap stations`.")
@click.option("--plan", default="", help="Its channel plan, such as us_6mhz.")
@click.option("--system", default="", help="Of rows that name no system.")
@click.option("--patterns", type=FILE, help="Patterns (default: patterns.csv beside them).")
@click.option("--near", default="", metavar="POSITION", help="Middle of the map (else the stations).")
@click.option("--radius-km", type=click.FloatRange(1.0, 500.0), default=30.0, help="Of the map (30).")
@click.option("--service", "services", multiple=True, help="A wanted service; may be repeated.")
@click.option("--at-least", type=click.IntRange(min=1), help="How many are enough, of those or of all.")
@click.option("--homes", type=FILE, help="A CSV with latitude_deg and longitude_deg, or a layer.")
@click.option("--cell-m", type=click.FloatRange(5.0, 10_000.0), help="Size of a square.")
def command(
    folder: Path,
    elevation: tuple[Path, ...],
    stations: Path | None,
    plan: str,
    system: str,
    patterns: Path | None,
    near: str,
    radius_km: float,
    services: tuple[str, ...],
    at_least: int | None,
    homes: Path | None,
    cell_m: float | None,
) -> None:
    """Write a commented scenario with every key, and blank tables, to FOLDER.

    At a terminal what no option gives is asked for.

    \b
    covermap new valley
    covermap new valley --stations transmitters.csv --plan us_6mhz --near 44.01,-35.66 --at-least 5
    """
    from covermap import jobs

    with errors_as_exit_status():
        asked = jobs.NewScenario(
            elevation, stations, plan, system, patterns, near, radius_km, services, at_least, homes, cell_m
        )
        if sys.stdin.isatty() and sys.stdout.isatty():
            asked = jobs.ask(folder, asked)
        say(jobs.write_new(folder, asked))
        jobs.begin_compiling()
