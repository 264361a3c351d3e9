"""A whole map made in parts: paths and reception part by part, every output from all of them."""

import json
import shutil
from importlib import import_module

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal
from same_results import assert_same_layers
from test_commands import run, write_demo

from covermap.grid.frame import Tile
from covermap.jobs import over_cells, path_stage, relay_paths
from covermap.result import open_coverage
from covermap.result import parts as of_parts
from covermap.result.parts import files_of_parts
from covermap.scenario import read_scenario

relays = import_module("covermap.jobs.relays")
made = relay_paths.relay_paths

TILE = 64
LISTS_FILES = ("run_metadata",)  # in parts there are more of them


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """The demo in squares of 400 m, as one map and in four parts of one tile each; and its scenario."""
    folder = tmp_path_factory.mktemp("parts")
    scenario = write_demo(folder / "demo", {"cell_m = 100": "cell_m = 400"})

    def mapped(name):
        words = ("--output", folder / name, "--store", folder / "store", "--progress", "none")
        done = run("map", scenario, *words)
        assert done.exit_code == 0, done.output
        return open_coverage(folder / name)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(path_stage, "TILE_CELLS", TILE)
        patch.setattr(over_cells, "TILE_CELLS", TILE)
        one = mapped("one")
        patch.setattr(of_parts, "PART_CELLS", TILE)
        return one, mapped("several"), scenario


def test_a_whole_map_in_parts_says_what_the_map_in_one_says(both):
    """Rasters, layers and tables."""
    one, several, _ = both
    assert several.raster_names() == one.raster_names()
    for name in one.raster_names():
        np.testing.assert_array_equal(several.read(name), one.read(name), err_msg=name)
        assert len(files_of_parts(several.folder, name)) > 1
    assert_same_layers(one.folder / "coverage.gpkg", several.folder / "coverage.gpkg", LISTS_FILES)
    for table in ("neighbourhoods.csv", "transmitters.csv"):
        rows = [len((result.folder / table).read_text("utf-8").splitlines()) for result in (one, several)]
        assert rows[0] == rows[1] > 2
    for result, largest in ((one, "null"), (several, str(TILE**2))):
        assert f'"largest_whole":{largest}' in (result.folder / "map.html").read_text("utf-8")
    listed = json.loads((several.folder / "run.json").read_text("utf-8"))["files"]
    assert all((several.folder / name).is_file() for name in listed)
    assert {"map.html", "brief.html", "coverage.qgs", "rasters/main/tier.vrt"} <= set(listed)


def test_the_sheet_of_an_address_in_the_second_part_is_read_from_it(both):
    *results, scenario = both
    tier = results[0].read("main/tier", Tile(0, TILE, TILE, results[0].grid.cols - TILE))
    row, col = (int(place) for place in np.argwhere((tier > 2) & (tier < 8))[0])
    longitude, latitude = results[0].grid.lonlat_of(np.array([row]), np.array([col + TILE]))
    told = []
    for result in results:
        folder = scenario.parent / "out"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(result.folder, folder)
        at = f"--at={latitude[0]:.6f},{longitude[0]:.6f}"
        found = run("address", scenario, at, "--json", "--day", "2026-12-02")
        assert found.exit_code == 0, found.output
        told.append(json.loads(found.stdout))
    assert told[1] == told[0]
    assert told[1]["cell"]["source"] == "result"
    assert told[1]["cell"]["tier"] == int(tier[row, col])


def test_relays_of_a_map_in_parts_are_those_of_the_map_in_one(both, monkeypatch):
    """And the paths of each hilltop are kept for the cells near it alone, however large the map."""
    one, several, path = both
    scenario = read_scenario(path)
    reach_km, tile_cells, kept = 8.0, 16, []
    monkeypatch.setattr(relay_paths, "RELAY_REACH_KM", reach_km)
    monkeypatch.setattr(relay_paths, "TILE_CELLS", tile_cells)
    monkeypatch.setattr(
        relays, "relay_paths", lambda *given: kept.append((given, found := made(*given))) or found
    )
    first, second = (relays.relays(scenario, result.folder, workers=1) for result in (one, several))
    assert first.candidates == second.candidates > 5
    assert len(first.sites) > 0
    assert_frame_equal(pd.DataFrame(first.sites), pd.DataFrame(second.sites))
    (_, sites, _, lived, _), found = kept[0]
    tile_km = tile_cells * one.grid.cell_m / 1000.0
    for site, paths in enumerate(found):
        away = np.hypot(lived.row[paths.cell] - sites.row[site], lived.col[paths.cell] - sites.col[site])
        assert (away * one.grid.cell_m / 1000.0 < reach_km + 1.5 * tile_km).all()
    assert sum(paths.cell.size for paths in found) < 0.7 * len(found) * lived.row.size
