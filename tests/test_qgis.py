"""In real QGIS without a screen: layers, project, and the plugin's algorithms on the demo."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from qgis_session import QgisSession, predicted_demo, require_qgis

pytestmark = pytest.mark.qgis


@pytest.fixture(scope="module")
def qgis(tmp_path_factory):
    require_qgis()
    return QgisSession(tmp_path_factory.mktemp("profile"))


@pytest.fixture(scope="module")
def demo(qgis, tmp_path_factory):
    return predicted_demo(tmp_path_factory.getbasetemp())


DESCRIBE = """
def describe(layer):
    kind = type(layer.renderer()).__name__
    if layer.type() == QgsMapLayer.RasterLayer:
        legend, fields = [item[0] for item in layer.legendSymbologyItems()], []
    else:
        legend = [item.label() for item in layer.renderer().legendSymbolItems()]
        fields = [field.alias() for field in layer.fields()]
    return {"valid": layer.isValid(), "renderer": kind, "legend": legend, "aliases": fields,
            "crs": layer.crs().authid(), "tip": layer.mapTipTemplate() if fields else "",
            "styles": layer.styleManager().styles(), "opacity": layer.opacity() if fields else 1.0,
            "abstract": layer.metadata().abstract(), "count": layer.featureCount() if fields else 0}
"""

OPEN_PROJECT = (
    DESCRIBE
    + """
project = QgsProject.instance()
answer["read"] = project.read(given["project"])
root = project.layerTreeRoot()
answer["groups"] = {
    group.name(): [group.itemVisibilityChecked(), [node.name() for node in group.findLayers()]]
    for group in root.children()
}
answer["layers"] = {layer.name(): describe(layer) for layer in project.mapLayers().values()}
answer["drawn"] = [layer.name() for layer in root.layerOrder()]
answer["crs"] = project.crs().authid()
answer["abstract"] = project.metadata().abstract()
answer["relative"] = QgsProject.instance().filePathStorage() == 1
"""
)


@pytest.fixture(scope="module")
def moved(demo, tmp_path_factory):
    """The result zipped and unpacked in another place, the original out of reach of relative paths."""
    folder = tmp_path_factory.mktemp("moved")
    packed = shutil.make_archive(str(folder / "sent"), "zip", demo.parent / "out")
    shutil.unpack_archive(packed, folder / "else where")
    return folder / "else where"


@pytest.fixture(scope="module")
def project(qgis, moved):
    return qgis.script(OPEN_PROJECT, {"project": str(moved / "coverage.qgs")})


def test_project_opens_whole_from_a_moved_folder(project, moved):
    assert project["read"]
    assert project["crs"] == "EPSG:32625"
    assert project["relative"]
    assert list(project["groups"]) == ["What is needed", "Why", "Stations", "Cells and rasters", "Relief"]
    assert project["groups"]["Cells and rasters"][0] is False
    assert len(project["layers"]) == sum(len(names) for _, names in project["groups"].values())
    broken = [name for name, layer in project["layers"].items() if not layer["valid"]]
    assert broken == []
    for sentence in json.loads((moved / "run.json").read_text("utf-8"))["cautions"]:
        assert sentence in project["abstract"]


def test_layers_of_the_project_have_their_styles(project):
    tiers = project["layers"]["Antenna needed"]
    assert tiers["renderer"] == "QgsCategorizedSymbolRenderer"
    assert [text[:2] for text in tiers["legend"]] == [f"{n} " for n in range(1, 9)]
    assert tiers["opacity"] == 1.0  # what is translucent reads as another class in the panel
    assert "homes" in tiers["tip"]
    assert tiers["styles"] == ["Antenna needed: main", "How sure: main"]
    assert tiers["count"] > 0
    assert all(tiers["aliases"][1:])
    assert project["layers"]["Neighbourhoods"]["renderer"] == "QgsSingleSymbolRenderer"
    assert project["layers"]["Relief"]["renderer"] == "QgsHillshadeRenderer"
    assert project["layers"]["Deciding station"]["renderer"] == "QgsPalettedRasterRenderer"
    order = [
        project["drawn"].index(name) for name in ("Stations", "Neighbourhoods", "Relief", "Antenna needed")
    ]
    assert order == sorted(order)


OPEN_LAYERS = (
    DESCRIBE
    + """
path = given["folder"] + "/coverage.gpkg"
for name in given["layers"]:
    layer = QgsVectorLayer(path + "|layername=" + name, name, "ogr")
    answer[name] = describe(layer)
    answer[name]["stored_styles"] = layer.listStylesInDatabase()[0]
tier = QgsRasterLayer(given["folder"] + "/rasters/main/tier.tif", "tier")
answer["raster"] = describe(tier)
found = tier.dataProvider().identify(tier.extent().center(), QgsRaster.IdentifyFormatValue)
answer["pixels"] = found.isValid()
"""
)


def test_layers_opened_alone_bring_style_aliases_and_metadata(qgis, moved):
    names = ["neighbourhoods", "tier_areas", "transmitters", "cells"]
    layers = qgis.script(OPEN_LAYERS, {"folder": str(moved), "layers": names})
    for name in names:
        layer = layers[name]
        assert layer["valid"]
        assert layer["renderer"] == (
            "QgsSingleSymbolRenderer" if name == "transmitters" else "QgsCategorizedSymbolRenderer"
        )
        assert all(layer["aliases"][1:]), name
        assert "not a measurement" in layer["abstract"]
        assert layer["stored_styles"] == (1 if name == "transmitters" else 2)
    assert layers["raster"]["renderer"] == "QgsPalettedRasterRenderer"
    assert len(layers["raster"]["legend"]) == 8
    assert layers["pixels"]


VALIDATE = """
from pathlib import Path
from osgeo import gdal, ogr
from osgeo_utils.samples import validate_cloud_optimized_geotiff as cog, validate_gpkg
gdal.UseExceptions(); ogr.UseExceptions()
told = []
gdal.PushErrorHandler(lambda level, number, text: told.append(text))
path = given["folder"] + "/coverage.gpkg"
faults = validate_gpkg.check(path, abort_at_first_error=False, extra_checks=True)
answer["gpkg"] = [str(fault) for fault in faults]
data = ogr.Open(path)
answer["layers"] = [data.GetLayer(i).GetName() for i in range(data.GetLayerCount())]
for layer in data:
    for feature in layer:
        pass
rasters = Path(given["folder"]).rglob("*.tif")
answer["rasters"] = {str(path): cog.validate(str(path), full_check=True)[:2] for path in rasters}
gdal.PopErrorHandler()
tiers = gdal.Open(given["folder"] + "/rasters/main/tier.tif")  # kept: its band dies with it
table = tiers.GetRasterBand(1).GetDefaultRAT()
answer["names"] = [table.GetValueAsString(row, 1) for row in range(table.GetRowCount())]
answer["told"] = told
"""


def test_general_checks_of_geopackage_and_cog_pass_without_a_warning(qgis, moved):
    """OGC 12-128r14 (GeoPackage 1.2) and the COG layout, by the validators that come with GDAL 3.6."""
    found = qgis.script(VALIDATE, {"folder": str(moved)})
    assert found["gpkg"] == []
    assert {"neighbourhoods", "tier_areas", "transmitters", "cells"} <= set(found["layers"])
    assert len(found["rasters"]) > 20
    assert {name: faults for name, faults in found["rasters"].items() if faults != [[], []]} == {}
    assert found["names"][4] == "Rooftop"
    assert found["told"] == []


def blocks_of(page, heading, language="python"):
    """Return the blocks of a language under a heading of a page of docs."""
    text = (Path(__file__).resolve().parents[1] / "docs" / page).read_text("utf-8")
    part = text.split(f"## {heading}\n")[1].split("\n## ")[0]
    return [block.split("```")[0] for block in part.split(f"```{language}\n")[1:]]


def test_what_the_page_shows_runs_in_ogr_and_in_python(qgis, demo):
    """docs/gis.md, its Python run as it stands beside a result."""
    (ogr,) = blocks_of("gis.md", "GDAL and OGR")
    counted = "\nanswer['rows'] = layer.GetFeatureCount()\n"
    answer = qgis.script(f"os.chdir({str(demo.parent)!r})\n" + ogr + counted)
    assert answer["rows"] > 0
    for heading in ("geopandas", "covermap itself"):
        (block,) = blocks_of("gis.md", heading)
        done = subprocess.run(
            [sys.executable, "-c", block], cwd=demo.parent, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert done.stdout.strip()


def test_the_shell_lines_of_the_page_run(qgis, demo):
    (lines,) = blocks_of("gis.md", "GDAL and OGR", "sh")
    said = []
    for line in lines.strip().splitlines():
        done = subprocess.run(
            ["bash", "-c", line], cwd=demo.parent, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert "Warning" not in done.stderr
        said.append(done.stdout)
    assert "tier_name" in said[0]
    assert "not a measurement" in said[0]
    assert (demo.parent / "areas.geojson").stat().st_size > 1000
    assert "Value:" in said[2]
