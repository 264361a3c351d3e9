"""What is computed again when one thing changes: run.json counts blocks computed and read."""

import re

import numpy as np
import pytest
import rasterio
from rasterio.windows import Window
from same_results import raster_bytes

from covermap import jobs
from covermap.grid.executor import Threads
from covermap.inputs.prepare import prepare
from covermap.jobs.predict import run
from covermap.scenario import read_scenario


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    """The demo on coarse cells, and the blocks of its first run."""
    folder = tmp_path_factory.mktemp("what_if") / "demo"
    jobs.write_demo(folder)
    path = folder / "scenario.toml"
    path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    return path, blocks_of(path)


def blocks_of(path):
    folder = path.parent
    return run(prepare(read_scenario(path)), folder / "out", folder / "store", Threads(2), None).run["blocks"]


@pytest.fixture
def changed(first):
    """Run with a file of the scenario changed for a while: changed(name, function of its text) -> blocks."""
    path, _ = first

    def run_with(name, change):
        file = path.parent / name
        original = file.read_bytes()
        text = original.decode("utf-8")
        assert change(text) != text
        file.write_text(change(text), "utf-8")
        try:
            return blocks_of(path)
        finally:
            file.write_bytes(original)

    return run_with


def test_the_first_run_computes_every_block(first):
    assert first[1]["read"] == 0
    assert first[1]["computed"] > 0


def with_three_times_the_power(text):
    rows = text.splitlines()
    column = rows[0].split(",").index("erp_kw")
    cells = rows[1].split(",")
    cells[column] = str(float(cells[column]) * 3.0)
    return "\n".join([rows[0], ",".join(cells), *rows[2:]]) + "\n"


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("transmitters.csv", with_three_times_the_power),
        ("patterns.csv", lambda text: re.sub(r",0\.9\d*", ",0.5", text, count=1)),
        ("scenario.toml", lambda text: re.sub(r"\[homes\][^\[]*", "", text)),
        ("scenario.toml", lambda text: text + "\n[wanted.one_more]\nat_least = 2\n"),
        ("scenario.toml", lambda text: re.sub(r"confidence_percent = \d+", "confidence_percent = 75", text)),
        ("scenario.toml", lambda text: _with_reception(text, 'antenna_tiers = "tiers.csv"')),
    ],
    ids=["erp", "pattern", "homes", "wanted list", "confidence", "tier table"],
)
def test_what_stands_behind_the_paths_computes_none(first, changed, name, change):
    table = first[0].parent / "tiers.csv"
    table.write_text(_tiers_with_more_gain(), "utf-8")
    before = raster_bytes(first[0].parent / "out")
    blocks = changed(name, change)
    assert blocks == {"computed": 0, "read": first[1]["computed"]}
    assert raster_bytes(first[0].parent / "out") != before  # and yet it counts


def _with_reception(text, line):
    if "[reception]" in text:
        return text.replace("[reception]", f"[reception]\n{line}")
    return f"{text}\n[reception]\n{line}\n"


def _tiers_with_more_gain():
    """Return the built-in tier table with another number in its last row's cable."""
    from covermap.tables.loader import load_table

    rows = load_table("tiers")
    rows[-1] = {**rows[-1], "cable_m": "30"}
    rows = [{**row, "antennas": ""} for row in rows]  # the demo's catalogue holds others
    lines = [",".join(rows[0]), *(",".join(f'"{value}"' for value in row.values()) for row in rows)]
    return "\n".join(lines) + "\n"


def with_a_station(text, **values):
    """Return transmitters.csv with one more row, like the first but for some values."""
    rows = text.splitlines()
    names, cells = rows[0].split(","), rows[1].split(",")
    for name, value in values.items():
        cells[names.index(name)] = value
    return "\n".join([*rows, ",".join(cells)]) + "\n"


TILES = 1  # of 128 cells: the demo is 31 x 37 cells of 1000 m


@pytest.mark.parametrize(
    ("values", "computed"),
    [
        ({"rf_channel": "36"}, TILES),
        ({"rf_channel": "36", "latitude_deg": "44.02", "ground_m": "", "mast": "Added mast"}, TILES),
        ({"antenna_height_m": "61"}, TILES),
        ({"erp_kw": "0.5"}, 0),  # the same channel from the same antenna: the same paths
    ],
    ids=["on an antenna that is there", "on a new mast", "on a new height of a mast", "with the same paths"],
)
def test_one_station_added_computes_only_itself(first, changed, values, computed):
    blocks = changed("transmitters.csv", lambda text: with_a_station(text, station_id="ADDED", **values))
    assert blocks == {"computed": computed, "read": first[1]["computed"]}


def test_one_station_left_out_computes_none(first, changed):
    blocks = changed("transmitters.csv", lambda text: "\n".join(text.splitlines()[:-1]) + "\n")
    assert blocks["computed"] == 0


def test_a_changed_height_in_one_of_two_joined_files_is_never_missed(first, tmp_path):
    """What is computed again is everything; the result is that of an empty store."""
    path, _ = first
    scenario = tmp_path / "demo"
    jobs.write_demo(scenario)
    with rasterio.open(path.parent / "elevation.tif") as dataset:
        middle = dataset.width // 2
        for name, begin, end in (("west", 0, middle), ("east", middle, dataset.width)):
            window = Window(begin, 0, end - begin, dataset.height)
            profile = {
                **dataset.profile,
                "width": window.width,
                "transform": dataset.window_transform(window),
            }
            with rasterio.open(scenario / f"{name}.tif", "w", **profile) as part:
                part.write(dataset.read(window=window))
    text = path.read_text("utf-8")
    joined = re.sub(r'elevation = .*"elevation.tif".*', 'elevation = ["west.tif", "east.tif"]', text)
    assert joined != text
    (scenario / "scenario.toml").write_text(joined, "utf-8")
    before = blocks_of(scenario / "scenario.toml")
    with rasterio.open(scenario / "east.tif", "r+") as dataset:
        heights = dataset.read(1)
        row, col = np.unravel_index(np.argmax(np.where(heights < 9000, heights, -1)), heights.shape)
        heights[row, col] += 50
        dataset.write(heights, 1)
    assert blocks_of(scenario / "scenario.toml") == {"computed": before["computed"], "read": 0}
    run(
        prepare(read_scenario(scenario / "scenario.toml")),
        tmp_path / "fresh",
        tmp_path / "store",
        Threads(2),
        None,
    )
    assert raster_bytes(scenario / "out") == raster_bytes(tmp_path / "fresh")


def test_one_changed_height_computes_every_path_again(first):
    path, before = first
    file = path.parent / "elevation.tif"
    original = file.read_bytes()
    try:
        with rasterio.open(file, "r+") as dataset:
            heights = dataset.read(1)
            row, col = np.unravel_index(np.nanargmax(np.where(heights < 9000, heights, -1)), heights.shape)
            heights[row, col] += 50
            dataset.write(heights, 1)
        assert blocks_of(path) == {"computed": before["computed"], "read": 0}
    finally:
        file.write_bytes(original)
    assert blocks_of(path) == {
        "computed": 0,
        "read": before["computed"],
    }  # and the first ones are still there
