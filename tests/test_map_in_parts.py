"""A whole map made in parts: paths and reception part by part, every output from all of them."""

import json

import numpy as np
from same_results import assert_same_layers
from test_commands import run, write_demo

from covermap.jobs import over_cells, path_stage
from covermap.result import open_coverage
from covermap.result import parts as of_parts
from covermap.result.parts import files_of_parts

TILE = 64
LISTS_FILES = ("run_metadata",)  # in parts there are more of them


def test_a_whole_map_in_parts_says_what_the_map_in_one_says(tmp_path, monkeypatch):
    """Rasters, layers and tables; made of the demo in squares of 400 m, four parts of one tile each."""
    monkeypatch.setattr(path_stage, "TILE_CELLS", TILE)
    monkeypatch.setattr(over_cells, "TILE_CELLS", TILE)
    scenario = write_demo(tmp_path, {"cell_m = 100": "cell_m = 400"})

    def mapped(folder):
        done = run("map", scenario, "--output", folder, "--store", tmp_path / "store", "--progress", "none")
        assert done.exit_code == 0, done.output
        return open_coverage(folder)

    one = mapped(tmp_path / "one")
    monkeypatch.setattr(of_parts, "PART_CELLS", TILE)
    several = mapped(tmp_path / "several")
    assert several.raster_names() == one.raster_names()
    for name in one.raster_names():
        np.testing.assert_array_equal(several.read(name), one.read(name), err_msg=name)
        assert len(files_of_parts(several.folder, name)) > 1
    assert_same_layers(one.folder / "coverage.gpkg", several.folder / "coverage.gpkg", LISTS_FILES)
    for table in ("neighbourhoods.csv", "transmitters.csv"):
        rows = [len((result.folder / table).read_text("utf-8").splitlines()) for result in (one, several)]
        assert rows[0] == rows[1] > 2
    listed = json.loads((several.folder / "run.json").read_text("utf-8"))["files"]
    assert all((several.folder / name).is_file() for name in listed)
    assert {"map.html", "brief.html", "coverage.qgs", "rasters/main/tier.vrt"} <= set(listed)
