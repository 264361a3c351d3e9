"""The rasters that say more of a plan, in styles, project, cells and arrays: there, and absent."""

from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pytest
from plan_rasters import CAUSES, add_plan_rasters
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.qgis_project import write_qgis_project
from covermap.gis_layers.raster_styles import cause_in_words, raster_body, raster_title
from covermap.result.transmitters import transmitters_layer
from covermap.wording.columns import alias

# the rasters outputs and reception agreed on, of each wanted list
KINDS = (
    "second_aim", "aim_from", "aim_to", "main_cause", "amplifier", "tier_without_deciding", "plan_flags",
)  # fmt: skip


@pytest.fixture(scope="module")
def arrays():
    return {}


@pytest.fixture(scope="module")
def coverage(arrays, tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("plan_layers"))
    arrays.update(add_plan_rasters(coverage))
    scenario = make_scenario(coverage)
    write_geopackage(scenario, coverage, None, transmitters_layer(scenario, coverage), coverage.folder)
    return coverage


def entries(coverage, name):
    """Return value -> label of a paletted style."""
    pipe = ElementTree.fromstring(f"<x>{raster_body(coverage, name)}</x>")
    return {int(entry.get("value")): entry.get("label") for entry in pipe.findall(".//paletteEntry")}


def test_only_the_list_that_has_them_shows_them(coverage):
    names = set(coverage.raster_names())
    assert {f"main/{kind}" for kind in KINDS} <= names
    assert {f"few/{kind}" for kind in KINDS}.isdisjoint(names)


def test_a_cause_is_shown_in_plain_words(coverage):
    words = entries(coverage, "main/main_cause")
    assert list(words) == list(range(len(CAUSES)))
    assert words[0] == "hills in the way"
    for cause in (*CAUSES, "filter", "next_channel"):
        assert "_" not in cause_in_words(cause)
        assert cause_in_words(cause) != cause or cause == "distance"


def test_remarks_of_a_plan_are_told_bit_by_bit(coverage):
    words = entries(coverage, "main/plan_flags")
    # 5 = 1 + 4 and 48 = 16 + 32 of the bits agreed on: filter, nights; two antennas by band, upright
    assert words == {
        0: "no remark",
        1: "needs a filter",
        5: "needs a filter, may be lost on some nights",
        48: "two antennas joined by band, mounted upright",
    }


def test_an_amplifier_and_the_tier_without_a_service_have_words(coverage):
    told = list(entries(coverage, "main/amplifier").values())
    assert (told[:2], told[-1], len(told)) == (["not needed", "helps"], "harms: overloaded", 7)
    assert len(entries(coverage, "main/tier_without_deciding")) == 8
    titles = {raster_title(coverage, f"main/{kind}") for kind in KINDS}
    assert len(titles) == len(KINDS)
    assert not any("_" in title for title in titles)


def test_they_stand_in_their_groups(coverage):
    text = write_qgis_project(coverage).read_text("utf-8")
    root = ElementTree.fromstring(text.split("\n", 1)[1])
    groups = {
        group.get("name"): {layer.get("source") for layer in group.iter("layer-tree-layer")}
        for group in root.findall("layer-tree-group/layer-tree-group")
    }
    why = {"main_cause", "amplifier", "plan_flags"}
    for kind in KINDS:
        group = "Why" if kind in why else "Cells and rasters"
        assert f"./rasters/main/{kind}.tif" in groups[group]


def test_cells_carry_second_aim_and_cause_with_alias_and_meaning(coverage, arrays):
    cells = gpd.read_file(coverage.folder / "coverage.gpkg", layer="cells")
    main = cells[cells.wanted_list == "main"].set_index("cell_id")
    second = np.full(GRID.shape, -1)
    second.ravel()[main.index] = main.second_aim_deg_true.fillna(-1)
    np.testing.assert_array_equal(second, arrays["second_aim"])
    index = arrays["main_cause"].ravel()[main.index]
    assert main.main_cause.astype(object).where(main.main_cause.notna(), None).tolist() == [
        CAUSES[number] if number < len(CAUSES) else None for number in index
    ]
    few = cells[cells.wanted_list == "few"]  # without these rasters: missing, never 0
    assert few.second_aim_deg_true.isna().all()
    assert few.main_cause.isna().all()
    assert alias("second_aim_deg_true") == "Second aim, degrees from true north"


def test_cells_of_a_result_without_them_have_no_such_columns(tmp_path):
    coverage = write_small_coverage(tmp_path)
    scenario = make_scenario(coverage)
    path = write_geopackage(scenario, coverage, None, transmitters_layer(scenario, coverage), tmp_path)
    assert {"second_aim_deg_true", "main_cause"}.isdisjoint(gpd.read_file(path, layer="cells").columns)
