"""coverage.qgs and the styles beside the rasters, as files; test_qgis.py opens them in QGIS itself."""

import re
from xml.etree import ElementTree

import geopandas as gpd
import pytest
import rasterio
import shapely
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.qgis_project import write_qgis_project
from covermap.gis_layers.raster_attributes import tier_attributes
from covermap.gis_layers.raster_styles import raster_body, write_raster_styles
from covermap.result.coverage import Coverage
from covermap.result.transmitters import transmitters_layer


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("project"))
    scenario = make_scenario(coverage)
    zones = gpd.GeoDataFrame(
        {"zone_id": ["z1"], "wanted_list": ["main"], "kind": ["dead"], "homes": [3.0]},
        geometry=[shapely.box(259_000, 4_874_000, 259_500, 4_874_500)],
        crs=GRID.crs_wkt,
    )
    stations = transmitters_layer(scenario, coverage)
    write_geopackage(scenario, coverage, None, stations, coverage.folder, more={"dead_zones": zones})
    return coverage


@pytest.fixture(scope="module")
def project(coverage):
    text = write_qgis_project(coverage).read_text("utf-8")
    return ElementTree.fromstring(text.split("\n", 1)[1])


def test_groups_stand_in_the_promised_order_and_rasters_start_off(project):
    groups = project.findall("layer-tree-group/layer-tree-group")
    # outputs.md section 6 of the design: these five, the rasters off
    assert [group.get("name") for group in groups] == [
        "What is needed", "Why", "Stations", "Cells and rasters", "Relief",
    ]  # fmt: skip
    assert {group.get("name"): group.get("checked") for group in groups}[
        "Cells and rasters"
    ] == "Qt::Unchecked"


def test_every_path_is_relative_and_exists(coverage, project):
    sources = [element.text for element in project.findall("projectlayers/maplayer/datasource")]
    assert len(sources) > 20
    for source in sources:
        assert source.startswith("./")
        assert (coverage.folder / source.split("|")[0]).is_file()
    assert project.find("properties/Paths/Absolute").text == "false"
    assert str(coverage.folder) not in ElementTree.tostring(project, "unicode")


def test_layer_ids_are_long_different_and_all_in_the_tree(project):
    ids = [element.text for element in project.findall("projectlayers/maplayer/id")]
    assert len(set(ids)) == len(ids)
    assert all(len(text) > 10 and re.fullmatch(r"\w+", text) for text in ids)
    tree = {element.get("id") for element in project.iter("layer-tree-layer")}
    drawn = [element.text for element in project.findall("layer-tree-group/custom-order/item")]
    assert tree == set(ids) == set(drawn)


def test_points_are_drawn_over_areas_and_relief_is_multiplied_over_classes(project):
    drawn = [element.text for element in project.findall("layer-tree-group/custom-order/item")]
    first = {name: next(i for i, text in enumerate(drawn) if text.startswith(name)) for name in
             ("transmitters", "dead_zones", "relief", "raster_main_deciding", "tier_areas")}  # fmt: skip
    assert list(first) == sorted(first, key=first.get)
    (relief,) = (one for one in project.iter("maplayer") if one.find("id").text == drawn[first["relief"]])
    assert relief.find("blendMode").text == "6"  # QgsPainting::BlendMultiply, from memory


def test_project_has_the_whole_crs_and_the_cautions(coverage, project):
    assert project.find("projectCrs/spatialrefsys/wkt").text == GRID.crs_wkt
    assert project.find("properties/SpatialRefSys/ProjectionsEnabled").text == "1"
    about = project.find("projectMetadata/abstract").text
    assert all(sentence in about for sentence in coverage.run["cautions"])


def test_a_name_with_markup_stays_text(project):
    assert project.find("title").text == "Small <i>Isle</i>: which antenna is needed"


def test_each_list_has_its_own_rows(project):
    sources = [element.text for element in project.findall("projectlayers/maplayer/datasource")]
    tiers = [source for source in sources if "layername=tier_areas" in source]
    assert [source.split("subset=")[1] for source in tiers] == [
        "\"wanted_list\" = 'main'",
        "\"wanted_list\" = 'few'",
    ]


def test_every_raster_gets_a_style_and_tiers_get_names(coverage):
    written = write_raster_styles(coverage)
    assert {path.with_suffix("") for path in written if path.suffix == ".qml"} == {
        path.with_suffix("") for path in (coverage.folder / "rasters").rglob("*.tif")
    }
    assert {path.suffix for path in written} == {".qml", ".xml"}
    tier = coverage.path("main/tier")
    assert tier.with_suffix(".qml").read_text("utf-8").count("<paletteEntry ") == 8
    with rasterio.open(tier) as dataset:  # the sidecar does not disturb the file
        assert dataset.read(1).shape == GRID.shape


def test_tiers_are_called_as_the_runs_own_table_calls_them(coverage):
    own = Coverage(coverage.folder, coverage.run | {"tier_names": ["Sill & 'co'", *"bcdefg"]})
    pipe = ElementTree.fromstring(f"<x>{raster_body(own, 'main/tier')}</x>")
    assert pipe.find(".//paletteEntry").get("label") == "1 Sill & 'co'"
    table = ElementTree.fromstring(tier_attributes(own.tier_names)).find(".//GDALRasterAttributeTable")
    rows = [[cell.text for cell in row.findall("F")] for row in table.findall("Row")]
    assert rows[0] == ["1", "Sill & 'co'", "indoors, beside the set", "yes"]
    assert rows[7][:2] == ["8", "Not promised"]
    assert len(rows) == 8


def test_classes_of_a_chance_meet_without_gap(coverage):
    pipe = ElementTree.fromstring(f"<x>{raster_body(coverage, 'main/tier_chance')}</x>")
    items = pipe.findall(".//item")
    # trade wording: 90 expected, 70 likely, 50 may work, 30 unlikely; whole percents, upper ends included
    assert [float(item.get("value")) for item in items] == [29, 49, 69, 89, 100]
    assert items[-1].get("label") == "90 to 100 %, expected"


def test_ridges_start_off_and_themes_show_layers_of_the_first_list(project):
    shown = {one.get("id"): one.get("checked") for one in project.iter("layer-tree-layer")}
    assert all(state == "Qt::Unchecked" for name, state in shown.items() if name.startswith("ridges"))
    themes = {one.get("name"): one for one in project.find("visibility-presets")}
    assert list(themes) == ["Needed", "How sure", "Why", "For print"]
    for name, theme in themes.items():
        ids = [layer.get("id") for layer in theme.findall("layer")]
        assert set(ids) <= set(shown), name
        assert len(set(ids)) == len(ids) > 0
        assert not any("_few_" in one for one in ids)
    styles = {
        name: next(
            (one.get("style") for one in theme.findall("layer") if one.get("id").startswith("tier")), ""
        )
        for name, theme in themes.items()
    }
    assert styles["Needed"] == "Antenna needed: main"
    assert styles["How sure"] == "How sure: main"


def test_rasters_stand_in_subgroups_with_the_names_of_services(project):
    cells = next(one for one in project.iter("layer-tree-group") if one.get("name") == "Cells and rasters")
    groups = {
        one.get("name"): [part.get("name") for part in one] for one in cells.findall("layer-tree-group")
    }
    names = [name for name in groups["Each service"] if name]
    assert [name.split(":")[0] for name in names[:3]] == ["Alpha", "Beta <b>Bold</b>", "Gamma"]
    fields = [name for name in groups["Field of each station"] if name]
    assert any(name.startswith("Gamma") and "(gamma-1)" in name for name in fields)
    bands = {
        one.find("layername").text: one.find("pipe/rasterrenderer").get("band")
        for one in project.findall("projectlayers/maplayer")
        if one.get("type") == "raster"
    }
    assert [bands[name] for name in names[:3]] == ["1", "2", "3"]


def test_every_mast_has_a_bookmark(project):
    bookmarks = project.findall("Bookmarks/Bookmark")
    assert [one.get("name") for one in bookmarks] == ["=Mast 260050", "=Mast 330050"]
    assert all(one.find("spatialrefsys/wkt").text == GRID.crs_wkt for one in bookmarks)


@pytest.mark.parametrize(("name", "width", "height"), [("A4", 297.0, 210.0), ("Letter", 279.4, 215.9)])
def test_pages_hold_all_their_items_inside(project, coverage, name, width, height):
    # ISO 216 A4, 210 x 297 mm; US Letter, 8.5 x 11 inches
    (page,) = (one for one in project.findall("Layouts/Layout") if one.get("name") == name)
    items = page.findall("LayoutItem")
    kinds = {item.get("type") for item in items}
    assert kinds == {
        "65639",
        "65641",
        "65642",
        "65646",
    }  # map, label, legend, scale bar: QgsLayoutItemRegistry
    for item in items:
        x, y = (float(part) for part in item.get("position").split(",")[:2])
        w, h = (float(part) for part in item.get("size").split(",")[:2])
        assert x >= 0
        assert y >= 0
        assert x + w <= width + 0.01
        assert y + h <= height + 0.01
    words = " ".join(item.get("labelText") or "" for item in items)
    assert all(sentence in words for sentence in coverage.run["cautions"])
    assert "Small <i>Isle</i>" in words
    assert "run 0123456789ab" in words
