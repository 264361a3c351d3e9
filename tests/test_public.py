"""`map --public` to its end, on the demo and on real ground, and killed on its way: no homes by cell."""

import json
import os
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from real_ground import ELEVATION, write_hills

from covermap import jobs
from covermap.inputs.prepare import prepare
from covermap.jobs.output_counts import Counts, counts_of, public_counts
from covermap.planning.suppression import SMALLEST, UNDER_SMALLEST
from covermap.result import open_coverage
from covermap.result.raster_catalogue import tells_of_homes
from covermap.scenario import read_scenario

TELLS_OF_HOMES = tells_of_homes(doubts_everywhere=False)

HERE = Path(__file__).parent


def write_demo(folder):
    jobs.write_demo(folder)
    path = folder / "scenario.toml"
    path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    return path


@pytest.fixture(scope="module", params=["demo", *ELEVATION])
def results(request, tmp_path_factory):
    """One scenario's public and private result, and the scenario's path."""
    folder = tmp_path_factory.mktemp("public") / request.param
    path = write_demo(folder) if request.param == "demo" else write_hills(folder, request.param)
    for name, public in (("private", False), ("public", True)):
        jobs.map_scenario(path, folder / name, store=folder / "store", workers=2, public=public)
    return folder / "public", folder / "private", path


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("killed") / "demo")


def names_below(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_a_public_result_is_whole_but_for_what_tells_of_homes(results):
    public, private, _ = results
    only_private = names_below(private) - names_below(public)
    assert names_below(public) < names_below(private)
    rasters = {Path(name).name.split(".")[0] for name in only_private if name.startswith("rasters/")}
    assert rasters == TELLS_OF_HOMES & {Path(name).stem for name in names_below(private)}
    assert {name for name in only_private if not name.startswith("rasters/")} <= {
        "stock.csv",
        "stock_antennas.csv",
    }
    record = json.loads((public / "run.json").read_text("utf-8"))
    assert record["public"] is True
    assert set(record["files"]) | {"run.json"} == names_below(public)


def test_a_public_result_shades_no_small_number_of_homes(results):
    public, private, _ = results
    shaded = gpd.read_file(public / "coverage.gpkg", layer="ridges")["homes_shaded"]
    before = gpd.read_file(private / "coverage.gpkg", layer="ridges")["homes_shaded"]
    assert (before < SMALLEST).any()
    assert shaded.isna().sum() == (before < SMALLEST).sum()
    assert (shaded.dropna() >= SMALLEST).all()


@pytest.mark.parametrize("name", ["main/tier", "main/tier_chance", "main/aim", "ground"])
def test_public_rasters_of_the_antenna_are_the_private_ones(results, name):
    public, private, _ = results
    assert (public / f"rasters/{name}.tif").read_bytes() == (private / f"rasters/{name}.tif").read_bytes()


def test_public_counts_are_those_of_the_private_run_where_they_are_told(results):
    """So the rasters that stood in memory alone were counted like those on disk."""
    public, private, _ = results
    told, all_of_them = (pd.read_csv(folder / "neighbourhoods.csv") for folder in (public, private))
    column = "homes_rooftop_or_more_3db_weaker"
    shown = told[column].notna() & (told["neighbourhood_id"].isin(all_of_them["neighbourhood_id"]))
    merged = told[shown].merge(all_of_them, on=["neighbourhood_id", "wanted_list"], suffixes=("", "_private"))
    assert (merged[column] == merged[f"{column}_private"]).all()


def test_everything_that_is_counted_has_a_public_form(results):
    _, private, path = results
    counts = counts_of(prepare(read_scenario(path)), open_coverage(private))
    public = public_counts(counts)
    for field in fields(Counts):
        known, told = getattr(counts, field.name), getattr(public, field.name)
        assert known is None or told is not known, field.name
    behind = [*public.behind.by_service.values(), *public.behind.by_cause.values()]
    assert behind
    assert all(count % 10 == 0 or count == UNDER_SMALLEST for count in behind)


KILLED = """
import os, signal, sys
from pathlib import Path
from covermap import jobs
scenario, output, store, stage, fraction = sys.argv[1:]
def report(now, done, words=""):
    if now == stage and done >= float(fraction):
        os.kill(os.getpid(), signal.SIGKILL)
    return True
jobs.map_scenario(Path(scenario), Path(output), store=Path(store), workers=2, public=True, progress=report)
"""


@pytest.mark.parametrize(
    ("stage", "fraction"), [("reception", 1.0), ("outputs", 0.05), ("outputs", 0.3), ("outputs", 0.7)]
)
def test_a_killed_public_run_leaves_no_raster_of_homes(demo, tmp_path, stage, fraction):
    arguments = [demo, tmp_path / "out", demo.parent / "store", stage, fraction]
    done = subprocess.run(
        [sys.executable, "-c", KILLED, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
    )
    assert done.returncode == -9, done.stderr
    left = names_below(tmp_path / "out")
    assert any(name.endswith("main/tier.tif") for name in left)  # hidden, but there: so it was in the middle
    told = [name for name in left if Path(name).name.split(".")[0] in TELLS_OF_HOMES]
    assert told == []
