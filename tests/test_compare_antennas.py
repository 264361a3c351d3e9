"""Antennas compared over a map: counts by hand, no path computed again, the page, layer and rasters."""

import json
import re
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

import covermap
from covermap.grid import stored_block
from covermap.grid.frame import Grid, Tile
from covermap.planning.installation_comparison import (
    by_neighbourhood,
    count_installation,
    difference,
    difference_code,
)
from tests.html_text import visible
from tests.test_commands import COARSE, run, write_demo

ASKED = ("uhf_yagi_20", "combination", "uhf_yagi_20+high_vhf_yagi_6")
WEIGHT = np.array([[10.0, 20.0, 30.0], [40.0, 50.0, 60.0]])
U = 255


def test_counts_by_hand():
    variant = np.array([[1, 1, 2], [0, 3, U]], np.uint8)
    ends = np.array([[1, 2, 3], [3, 0, U]], np.uint8)
    bits = np.array([[[1, 3, 2], [0, 1, U]]], np.uint8)
    found = count_installation(WEIGHT, variant, ends, 0, bits, bits, ["One"], 2)
    assert (found.holds, found.with_amplifier, found.not_held, found.unknown) == (30.0, 80.0, 40.0, 60.0)
    assert found.with_amplifiers == (30.0, 50.0)  # the first in the cell of 30, the second in that of 50
    assert (found.low, found.high) == (10.0, 100.0)
    assert found.services == {"One": 80.0}  # bit 0 in the cells of 10, 20 and 50
    bare = count_installation(WEIGHT, variant, None, 1, bits, bits, ["One"])
    assert (bare.with_amplifier, bare.low, bare.high) == (None, None, None)
    assert bare.services == {"One": 50.0}


def test_difference_by_hand():
    first = np.array([[1, 1, 2], [0, 0, U]], np.uint8)
    other = np.array([[1, 0, 1], [1, 2, 1]], np.uint8)
    ends = np.array([[1, 0, 3], [2, 3, 1]], np.uint8)
    bits = np.array([[[1, 2, 3], [0, 2, U]]], np.uint8)
    found = difference(WEIGHT, first, other, ends, (0, 1), bits, ["One"])
    assert found.code.tolist() == [[1, 3, 2], [2, 0, U]]
    assert (found.gained, found.lost) == (30.0 + 40.0, 20.0)
    assert found.gained_range == (0.0, 30.0 + 40.0 + 50.0)
    assert found.lost_range == (20.0, 20.0)
    assert found.services == {"One": (20.0 + 50.0, 10.0)}


def test_what_one_gains_the_other_loses():
    random = np.random.default_rng(3)
    first, other = random.integers(0, 3, (2, 9, 9)).astype(np.uint8)
    bits = random.integers(0, 4, (2, 9, 9)).astype(np.uint8)
    weight = random.random((9, 9))
    there = difference(weight, first, other, None, (0, 1), bits, ["a", "b"])
    back = difference(weight, other, first, None, (1, 0), bits, ["a", "b"])
    assert (there.gained, there.lost) == (back.lost, back.gained)
    assert {s: pair[::-1] for s, pair in there.services.items()} == back.services


def test_neighbourhoods_share_a_cell_by_its_area():
    grid = Grid("EPSG:32625", 100.0, 500_000.0, 4_900_000.0, 1, 2)
    code = difference_code(*np.array([[[0, 1]], [[1, 0]], [[1, 1]]], bool))
    bits = np.array([[[2, 1]]], np.uint8)
    west, north = grid.x_min, grid.y_max
    areas = gpd.GeoDataFrame(
        {"neighbourhood_id": ["w", "e"], "neighbourhood_name": ["West", "East"]},
        geometry=[
            shapely.box(west, north - 100, west + 25, north),
            shapely.box(west + 25, north - 100, west + 200, north),
        ],
        crs=grid.crs_wkt,
    )
    table = by_neighbourhood(areas, grid, np.array([[8.0, 4.0]]), code, (0, 1), bits, ["One"])
    assert table["gained"].tolist() == [2.0, 6.0]  # a quarter of 8, and the rest
    assert table["lost"].tolist() == [0.0, 4.0]
    assert table["gained: One"].tolist() == [2.0, 6.0]
    assert table["lost: One"].tolist() == [0.0, 4.0]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    generic = {**COARSE, 'antennas = "antennas.csv"': "#"}  # no catalogue of its own
    path = write_demo(tmp_path_factory.mktemp("antennas") / "demo", generic)
    result = run("map", path, "--progress", "none")
    assert result.exit_code == 0, result.output
    return path


@pytest.fixture(scope="module")
def compared(demo, tmp_path_factory):
    """The comparison of the coarse demo, read from the store of its map; computing a block is refused."""

    def refused(*arguments):
        raise AssertionError("a path was computed again")

    folder = tmp_path_factory.mktemp("compared")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stored_block, "compute_blocks", refused)
        patch.setattr("covermap.jobs.path_stage.compute_blocks", refused)
        result = run("compare-antennas", demo, *ASKED, "--output", folder, "--progress", "none")
    assert result.exit_code == 0, result.output
    record = json.loads((folder / "antennas.json").read_text("utf-8"))
    return SimpleNamespace(folder=folder, output=result.output, record=record)


def test_no_path_is_computed_again(compared):
    assert "No path was computed again." in compared.output


def test_every_home_is_counted_once_and_no_amplifier_loses_one(demo, compared):
    totals = set()
    for one in compared.record["antennas"]:
        totals.add(round(one["holds"] + one["more_with_amplifier"] + one["not_held"] + one["unknown"]))
        low, high = one["holds_range"]
        assert low <= one["holds"] <= high
        assert sum(one["services_amplified"].values()) >= sum(one["services"].values())
    assert len(totals) == 1
    result = covermap.open_coverage(demo.parent / "out")
    whole = Tile(0, 0, result.grid.rows, result.grid.cols)
    homes = np.nan_to_num(result.read("homes"))[result.inside_area(whole)].sum()
    assert totals.pop() == pytest.approx(homes, abs=2)


def test_what_is_gained_and_lost_is_what_the_counts_differ_by(compared):
    first = compared.record["antennas"][0]
    others = compared.record["antennas"][1:]
    for one, change in zip(others, compared.record["instead_of_first"], strict=True):
        assert change["gained"] - change["lost"] == pytest.approx(one["holds"] - first["holds"], abs=0.3)
        low, high = change["gained_range"]
        assert low <= change["gained"] <= high
        for service, moved in change["services"].items():
            differ = one["services"][service] - first["services"][service]
            assert moved["gained"] - moved["lost"] == pytest.approx(differ, abs=0.3)
    assert compared.record["instead_of_first"][1]["services"]["Coast TV"]["gained"] > 100  # on high VHF


def test_page_tells_the_counts_has_cautions_and_no_script(compared):
    html = (compared.folder / "antennas.html").read_text("utf-8")
    text = visible(html)
    assert "<script" not in html
    assert "http" not in re.sub(r"http-equiv", "", html)
    assert "more homes keep Coast TV" in text
    assert "This is a prediction, not a measurement" in text
    assert "high_vhf_yagi_6" in text


def test_raster_layer_and_tables_say_the_same(compared):
    change = compared.record["instead_of_first"][1]
    with rasterio.open(compared.folder / change["raster"]) as raster:
        code, cell_m = raster.read(1), raster.res[0]
        assert raster.nodata == 255
        assert raster.tags()["OTHER"] == ASKED[2]
    patches = gpd.read_file(compared.folder / "antennas.gpkg", layer="antenna_difference")
    patches = patches[(patches.other == ASKED[2]) & (patches["difference"] == "gained")]
    assert patches.area_km2.sum() == pytest.approx((code == 2).sum() * cell_m**2 / 1e6)
    assert patches.homes.sum() == pytest.approx(change["gained"], abs=0.5)
    table = pd.read_csv(compared.folder / "antennas_by_neighbourhood.csv")
    areas = table[table.other == ASKED[2]]
    assert areas.gained.sum() <= change["gained"] + 0.5
    assert areas.gained.sum() > 0.5 * change["gained"]
    counts = pd.read_csv(compared.folder / "antennas.csv")
    assert counts.holds.tolist() == [one["holds"] for one in compared.record["antennas"]]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("uhf_yagi_20",), "found 1 antennas to compare. Name 2 to 7"),
        (("uhf_yagi_20", "uhf_yagi_20"), "stands there twice"),
        (("uhf_yagi_20", "uhf_yagi_21"), "Did you mean uhf_yagi_20?"),
        (
            ("uhf_yagi_20", "combination", "--amplifier", "splitter_2"),
            'no amplifier "splitter_2". It has masthead_low',
        ),
        (("uhf_yagi_20", "combination", "--wanted", "other"), "no wanted list 'other'"),
    ],
)
def test_what_cannot_be_compared_is_told_and_nothing_is_written(demo, tmp_path, words, said):
    folder = tmp_path / "none"
    result = run("compare-antennas", demo, *words, "--output", folder)
    assert result.exit_code == 2, result.output
    assert said in " ".join(result.output.split())
    assert not folder.exists()
