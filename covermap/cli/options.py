"""Options that mean and read the same in every command."""

from __future__ import annotations

from pathlib import Path

import click

scenario = click.argument("scenario", type=click.Path(path_type=Path))
output = click.option(
    "--output",
    type=click.Path(path_type=Path),
    help="Folder for the results (default: as the scenario says).",
)
workers = click.option(
    "--workers", type=click.IntRange(min=1), help="Threads that compute (default: one a core)."
)
scheduler = click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Compute on the workers of this dask.distributed scheduler: tcp://HOST:PORT of this machine, or tls://.",
)
scheduler_without_tls = click.option(
    "--scheduler-without-tls",
    is_flag=True,
    help="Take a tcp:// scheduler on another machine, on a network where everyone is trusted.",
)
store = click.option(
    "--store",
    type=click.Path(path_type=Path),
    help="Folder for path losses already computed (default: .covermap_store beside the scenario).",
)
progress = click.option(
    "--progress",
    type=click.Choice(["auto", "json", "none"]),
    default="auto",
    show_default=True,
    help="How to tell progress on stderr; json: one {stage, fraction, seconds_left} a line.",
)
also = click.option(
    "--also",
    type=click.Choice(["parquet", "pmtiles"]),
    multiple=True,
    help="Write layers in this format too; parquet: every layer and all cells (needs covermap[parquet]); "
    "pmtiles: tier areas and neighbourhoods as vector tiles.",
)
overwrite = click.option("--overwrite", is_flag=True, help="Write into a folder that is not ours.")
public = click.option(
    "--public",
    is_flag=True,
    help="For publishing: no homes by cell or address; small counts and what would reveal them are blank.",
)
anew = click.option(
    "--anew", is_flag=True, help="Make the result again, even where nothing has changed since it was made."
)
