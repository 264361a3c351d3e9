"""`covermap address`: the sheet of one address, or of a list of them."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from covermap.cli import options
from covermap.cli.errors import errors_as_exit_status
from covermap.cli.progress import progress_on_stderr
from covermap.cli.terminal import say


@click.command("address")
@options.scenario
@click.option(
    "--at", metavar="POSITION", help="The place: 44.01,-35.66 or N44.01 W35.66 or 44 00 36 N 35 39 36 W."
)
@click.option(
    "--list",
    "addresses",
    type=click.Path(path_type=Path),
    help="Places: id, name, and latitude_deg and longitude_deg, or position.",
)
@click.option("--label", default="", help="What to call the place of --at.")
@click.option("--wanted", help="The wanted list (default: the first).")
@click.option(
    "--day", type=click.DateTime(["%Y-%m-%d"]), help="Day of magnetic bearings and sun (default: today)."
)
@click.option(
    "--utc-offset",
    "utc_offset_h",
    type=click.FloatRange(-12.0, 14.0),
    help="Hours of the sun's times (default: by longitude).",
)
@click.option(
    "--output", type=click.Path(path_type=Path), help="Folder (default: addresses, beside the scenario)."
)
@click.option(
    "--antenna",
    "antennas",
    metavar="ID[,ID]",
    multiple=True,
    help="Antennas of the catalogue to table: ID, ID+ID behind a diplexer, ID:135, ID@loft.",
)
@click.option(
    "--height",
    "heights_m",
    type=click.FloatRange(1.0, 100.0),
    multiple=True,
    help="Metres above ground at which each --antenna is tried (default: its mount's own).",
)
@click.option("--amplifier", metavar="ID", help="The only one tried (default: all that are worth it).")
@click.option("--outlets", type=click.IntRange(1, 64), help="Sets behind one antenna; needs --cable.")
@click.option(
    "--cable",
    "cable_m",
    type=click.FloatRange(0.0, 300.0),
    multiple=True,
    help="Metres from the antenna to the farthest outlet, or given once an outlet.",
)
@click.option(
    "--wiring",
    "way",
    type=click.Choice(["star", "line"]),
    default="star",
    help="A splitter with a run to each outlet, or one line with a tap at each (default: star).",
)
@click.option(
    "--shared",
    "homes",
    type=click.Path(path_type=Path),
    help="Homes that share one antenna at --at: id, position, cable_m, outlets, splits.",
)
@click.option("--json", "as_json", is_flag=True, help="Write JSON to stdout; sheets only with --output.")
@click.option("--pdf", is_flag=True, help="Write PDFs beside the sheets (needs covermap[report]).")
@options.progress
def command(
    scenario: Path,
    at: str | None,
    addresses: Path | None,
    label: str,
    wanted: str | None,
    day: datetime | None,
    utc_offset_h: float | None,
    output: Path | None,
    as_json: bool,
    pdf: bool,
    antennas: tuple[str, ...],
    heights_m: tuple[float, ...],
    amplifier: str | None,
    outlets: int | None,
    cable_m: tuple[float, ...],
    way: str,
    homes: Path | None,
    progress: str,
) -> None:
    """Which antenna an address needs, how surely and why: a sheet each, and one day sheet for a list.

    \b
    covermap address scenario.toml --at=44.01,-35.66
    covermap address scenario.toml --list addresses.csv
    covermap address scenario.toml --at=44.01,-35.66 --outlets 4 --cable 35
    covermap address scenario.toml --at=44.01,-35.66 --wiring line --cable 12 --cable 20 --cable 28
    covermap address scenario.toml --at=44.01,-35.66 --shared homes.csv
    covermap address scenario.toml --at=44.01,-35.66 --antenna combination --height 7.5 --height 12
    """
    from covermap import jobs

    with errors_as_exit_status():
        with progress_on_stderr(progress) as report:
            asked = {"at": at, "output": output, "label": label, "wanted": wanted, "as_json": as_json}
            if homes is not None:
                found = jobs.write_shared_antenna(scenario, homes=homes, progress=report, **asked)
            else:
                found = jobs.write_address_sheets(
                    scenario,
                    addresses=addresses,
                    on=None if day is None else day.date(),
                    utc_offset_h=utc_offset_h,
                    pdf=pdf,
                    antennas=antennas,
                    heights_m=heights_m,
                    amplifier=amplifier,
                    outlets=outlets,
                    cable_m=cable_m,
                    way=way,
                    progress=report,
                    **asked,
                )
        for remark in found.remarks:
            say(remark, err=True)
        say(found.text)
