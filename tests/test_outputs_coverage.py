"""A result folder as Python reads it."""

import json

import numpy as np
import pyproj
import pytest
from small_coverage import GRID, write_small_coverage

from covermap.errors import CovermapError, InputError
from covermap.grid.frame import Tile
from covermap.result.coarsened import CoarsenedCoverage
from covermap.result.coverage import open_coverage


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("coverage")
    write_small_coverage(path)
    return path


def place_of(row, col):
    """Return latitude and longitude of a cell's centre, by pyproj alone."""
    to_wgs84 = pyproj.Transformer.from_crs(32625, 4326, always_xy=True)
    longitude, latitude = to_wgs84.transform(259_000 + (col + 0.5) * 100, 4_876_000 - (row + 0.5) * 100)
    return latitude, longitude


def test_the_grid_is_the_one_written(folder):
    assert open_coverage(folder).grid == GRID


def test_a_window_is_that_part_of_the_whole(folder):
    coverage = open_coverage(folder)
    whole = coverage.read("main/tier_chance")
    assert whole.shape == (7, 30, 40)
    part = coverage.read("main/tier_chance", (slice(3, 9), slice(20, None)))
    np.testing.assert_array_equal(part, whole[:, 3:9, 20:])
    np.testing.assert_array_equal(
        coverage.read("ground", Tile(5, 6, 7, 8)), coverage.read("ground")[5:12, 6:14]
    )


@pytest.mark.parametrize(("row", "col"), [(29, 39), (12, 3), (4, 0)])
def test_a_place_reads_the_cell_that_holds_it(folder, row, col):
    coverage = open_coverage(folder)
    found = coverage.at(*place_of(row, col))["main"]
    assert (found["row"], found["col"]) == (row, col)
    assert found["tier"] == coverage.read("main/tier")[row, col]
    chance = coverage.read("main/tier_chance")[:, row, col]
    assert found["tier_chance_percent"] == chance.tolist()
    assert found["chance_percent"] == chance[min(found["tier"], 7) - 1]
    index = coverage.read("main/deciding_service")[row, col]
    assert found["deciding_service"] == ("Alpha", "Beta <b>Bold</b>", "Gamma")[index]


def test_an_unknown_cell_says_unknown_and_never_zero(folder):
    found = open_coverage(folder).at(*place_of(1, 1))["main"]
    assert found.pop("tier_chance_percent") == [None] * 7
    assert found == {
        "row": 1, "col": 1,
        "tier": None, "chance_percent": None, "dead_zone_chance_percent": None, "margin_db": None,
        "aim_deg_true": None, "limiting_service": None, "deciding_service": None,
    }  # fmt: skip


@pytest.mark.parametrize(("latitude", "longitude"), [(0.0, 0.0), (-36.0, 44.0), (44.0, 36.0), (np.nan, 1.0)])
def test_a_place_outside_is_told(folder, latitude, longitude):
    with pytest.raises(InputError, match="outside the predicted area"):
        open_coverage(folder).at(latitude, longitude)


def test_a_foreign_result_format_names_both_versions(folder, tmp_path):
    run = json.loads((folder / "run.json").read_text())
    (tmp_path / "run.json").write_text(json.dumps(run | {"result_format": 99}))
    with pytest.raises(InputError, match=r"result_format is 99, this version reads 2\b"):
        open_coverage(tmp_path)


def test_a_folder_without_a_result_is_told(tmp_path):
    with pytest.raises(InputError, match=r"no run\.json here"):
        open_coverage(tmp_path)
    (tmp_path / "run.json").write_text("{")
    with pytest.raises(InputError, match="not readable as JSON"):
        open_coverage(tmp_path)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda coverage: coverage.dead_zones(), "dead_zones"),
        (lambda coverage: coverage.read("other/tier"), "no raster 'other/tier'"),
        (lambda coverage: coverage.services("other"), "no list 'other'"),
    ],
    ids=["layer", "raster", "list"],
)
def test_what_is_not_there_is_told(folder, ask, words):
    coverage = open_coverage(folder)
    with pytest.raises(InputError, match=words):
        ask(coverage)


@pytest.mark.parametrize("factor", [1, 2])
def test_a_damaged_raster_is_told_with_what_to_do(tmp_path, factor):
    coverage = write_small_coverage(tmp_path)
    path = coverage.path("main/tier")
    path.write_bytes(path.read_bytes()[:300])
    coverage = coverage if factor == 1 else CoarsenedCoverage(coverage, factor)
    with pytest.raises(CovermapError, match=r"tier\.tif: this raster.*damaged[\s\S]*covermap map"):
        coverage.read("main/tier")
