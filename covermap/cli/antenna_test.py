"""`covermap antenna-test`: which of two antennas is better at one place, and by how much."""

from __future__ import annotations

import re
from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say

GAIN = re.compile(r"(low_vhf|high_vhf|uhf)=([+-]?\d+(?:\.\d+)?)(?:\+-(\d+(?:\.\d+)?))?")


def _known_gain(
    context: click.Context, parameter: click.Parameter, values: tuple[str, ...]
) -> dict[str, tuple[float, float]]:
    gains = {}
    for value in values:
        match = GAIN.fullmatch(value.replace(" ", "").replace("±", "+-"))
        if not match:
            raise click.BadParameter(
                f"{value!r}: write BAND=GAIN or BAND=GAIN+-UNCERTAINTY, as uhf=7.5+-0.5."
            )
        gains[match[1]] = (float(match[2]), float(match[3] or 0.0))
    return gains


@click.command("antenna-test")
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@options.output
@click.option("--channel-plan", help="Turns rf_channel into a band (default: the scenario's, else us_6mhz).")
@click.option(
    "--reference", metavar="ANTENNA_ID", help="Compare with this antenna (default: as the log marks)."
)
@click.option(
    "--catalogue",
    type=click.Path(path_type=Path),
    help="Write the measured gains into this antennas.csv and the tables beside it "
    "(default with --reference: the scenario's).",
)
@click.option("--scenario", type=click.Path(path_type=Path), help="Its stations give the paths to the place.")
@click.option("--remounted", is_flag=True, help="The answer must hold for antennas mounted anew.")
@click.option(
    "--tier-table", type=click.Path(path_type=Path), help="Write a tier table with the measured gains."
)
@click.option(
    "--reference-gain",
    "known_gain",
    multiple=True,
    callback=_known_gain,
    help="Gain of the reference in dBd with its standard uncertainty, as uhf=7.5+-0.5; once a band.",
)
@click.option("--candidate", help="The antenna of the tier table, where the log compares several.")
@click.option(
    "--tier", type=click.IntRange(1, 7), default=5, show_default=True, help="The tier that gets the gains."
)
def command(
    logs: tuple[Path, ...],
    output: Path | None,
    channel_plan: str | None,
    reference: str | None,
    catalogue: Path | None,
    scenario: Path | None,
    remounted: bool,
    tier_table: Path | None,
    known_gain: dict[str, tuple[float, float]],
    candidate: str | None,
    tier: int,
) -> None:
    """Compare the antennas of LOGS, CSV files with a row a reading (docs/fieldwork.md lists the columns).

    \b
    covermap antenna-test log.csv
    covermap antenna-test may.csv june.csv --reference dipole --catalogue antennas.csv
    covermap antenna-test log.csv --scenario scenario.toml --reference dipole
    covermap antenna-test log.csv --reference-gain uhf=7.5+-0.5 --tier-table tiers.csv
    """
    from covermap import jobs

    with errors_as_exit_status():
        summary = jobs.compare_antennas(
            logs,
            output,
            channel_plan=channel_plan,
            reference=reference,
            catalogue=catalogue,
            scenario=scenario,
            remounted=remounted,
            tier_table=tier_table,
            known_gain=known_gain,
            candidate=candidate,
            like_tier=tier,
        )
        say(summary)
