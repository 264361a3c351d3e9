"""In real QGIS without a screen: layers, project, and the plugin's algorithms on the demo."""

import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from qgis_session import QgisSession, require_qgis

import covermap
from covermap.cli import main

pytestmark = pytest.mark.qgis
ALGORITHMS = {
    "check_inputs", "predict_needs", "place_sheet", "compare_results", "shortlist_relays",
    "calibrate_readings", "open_result",
}  # fmt: skip


@pytest.fixture(scope="module")
def qgis(tmp_path_factory):
    require_qgis()
    return QgisSession(tmp_path_factory.mktemp("profile"))


@pytest.fixture(scope="module")
def demo(qgis, tmp_path_factory):
    """The demo at 1 km, predicted: the path of its scenario."""
    folder = tmp_path_factory.mktemp("demo") / "demo"
    runner = CliRunner()
    assert runner.invoke(main, ["demo", str(folder)]).exit_code == 0
    path = folder / "scenario.toml"
    path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    result = runner.invoke(main, ["map", str(path), "--progress", "none"])
    assert result.exit_code == 0, result.output
    return path


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
    """A copy of the result in another place, the original out of reach of relative paths."""
    return Path(shutil.copytree(demo.parent / "out", tmp_path_factory.mktemp("moved") / "else where"))


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
    assert tiers["opacity"] == pytest.approx(0.8)
    assert "homes" in tiers["tip"]
    assert tiers["styles"] == ["Antenna needed: main", "How sure: main"]
    assert tiers["count"] > 0
    assert all(tiers["aliases"][1:])
    assert project["layers"]["Neighbourhoods"]["renderer"] == "QgsSingleSymbolRenderer"
    assert project["layers"]["Relief"]["renderer"] == "QgsHillshadeRenderer"
    assert project["layers"]["Deciding station"]["renderer"] == "QgsPalettedRasterRenderer"
    order = [
        project["drawn"].index(name) for name in ("Stations", "Neighbourhoods", "Antenna needed", "Relief")
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


def test_seven_algorithms_are_listed(qgis):
    listed = qgis.process("list").stdout
    assert {name for name in ALGORITHMS if f"covermap:{name}" in listed} == ALGORITHMS
    assert listed.count("covermap:") == len(ALGORITHMS)


HELPS = """
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
for algorithm in provider.algorithms():
    answer[algorithm.name()] = {
        "help": algorithm.shortHelpString(), "group": algorithm.group(),
        "parameters": {p.name(): p.help() for p in algorithm.parameterDefinitions()},
    }
"""


def test_every_parameter_has_a_help_and_the_cautions_stand_in_it(qgis):
    algorithms = qgis.script(HELPS)
    assert set(algorithms) == ALGORITHMS
    for algorithm in algorithms.values():
        assert algorithm["group"] == "Television reception"
        assert "not a measurement" in algorithm["help"]
        assert "competent person" in algorithm["help"]
        assert all(len(text) > 10 for text in algorithm["parameters"].values())


def test_check_inputs_says_what_the_command_says(qgis, demo):
    status, results, said = qgis.algorithm("check_inputs", {"SCENARIO": demo})
    assert status == 0, said
    direct = CliRunner().invoke(main, ["check", str(demo)])
    assert results["REPORT"].splitlines()[:3] == direct.stdout.splitlines()[:3]
    assert "0 errors" in results["REPORT"]


def test_wrong_input_shows_the_commands_own_message(qgis, demo, tmp_path):
    shutil.copytree(demo.parent, tmp_path / "wrong", ignore=shutil.ignore_patterns("out"))
    wrong = tmp_path / "wrong" / "scenario.toml"
    wrong.write_text(wrong.read_text("utf-8").replace("cell_m", "cel_m"), "utf-8")
    status, _, said = qgis.algorithm("check_inputs", {"SCENARIO": wrong})
    assert status != 0
    assert "cel_m" in said
    assert "status 2" in said
    assert "Traceback" not in said


def test_missing_executable_says_where_it_was_looked_for(qgis, demo):
    bare = {"COVERMAP_EXECUTABLE": None, "PATH": "/usr/bin:/bin"}
    status, _, said = qgis.algorithm("check_inputs", {"SCENARIO": demo}, **bare)
    assert status != 0
    assert "The covermap command was not found" in said
    assert "COVERMAP_EXECUTABLE is not set" in said


def test_open_result_needs_no_command(qgis, moved):
    bare = {"COVERMAP_EXECUTABLE": None, "PATH": "/usr/bin:/bin"}
    status, results, said = qgis.algorithm("open_result", {"RESULT": moved}, **bare)
    assert status == 0, said
    assert results["LAYERS"] > 20


def test_open_result_refuses_a_foreign_format_with_both_versions(qgis, tmp_path):
    (tmp_path / "run.json").write_text('{"result_format": 99, "versions": {"covermap": "7.0"}}')
    status, _, said = qgis.algorithm("open_result", {"RESULT": tmp_path})
    assert status != 0
    assert "result_format 99" in said
    assert "result_format 1" in said


FROM_LAYERS = """
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
file = QgsVectorLayer(given["stations"], "file", "ogr")
stations = file.materialize(QgsFeatureRequest())          # in memory
stations.startEditing()                                    # an edit that is never saved
index = stations.fields().indexOf("power")
for feature in stations.getFeatures():
    stations.changeAttributeValue(feature.id(), index, feature["power"] / 1000.0)
stations.deleteFeatures([f.id() for f in stations.getFeatures() if f["station_id"] == "EXTRA"])
homes = QgsVectorLayer(given["homes"], "homes", "ogr")
wards = QgsVectorLayer(given["wards"], "wards", "ogr")
wards.setSubsetString('"ward_code" <> \\'none\\'')
project = QgsProject.instance()
project.addMapLayers([stations, homes, wards])
context = QgsProcessingContext()
context.setProject(project)
feedback = QgsProcessingFeedback()
algorithm = QgsApplication.processingRegistry().algorithmById("covermap:predict_needs").create()
parameters = {
    "ELEVATION": [given["elevation"]], "LAND_COVER": given["land_cover"], "STATIONS": stations,
    "FIELD_ERP": "power", "WANTED": given["wanted"], "CELL_M": 1000, "CHANNEL_PLAN": "us_6mhz",
    "PATTERNS": given["patterns"], "HOMES": homes, "HOMES_COUNT": "homes", "NEIGHBOURHOODS": wards,
    "AREA": given["area"], "NEIGHBOURHOOD_KEY": "ward_code", "NEIGHBOURHOOD_NAME": "ward_name",
    "OUTPUT": given["output"], "LOAD": True,
}
results, done = algorithm.run(parameters, context, feedback)
answer.update(done=done, log=feedback.textLog(), progress=feedback.progress())
answer["groups"] = [g.name() for g in project.layerTreeRoot().children()[0].children()] if done else []
answer["titles"] = [child.name() for child in project.layerTreeRoot().children()]
"""


def stations_layer(demo, folder):
    """Write the demo's stations as a layer of points with power in watts, and one row too many."""
    table = pd.read_csv(demo.parent / "transmitters.csv", dtype=str).rename(columns={"erp_kw": "power"})
    table["power"] = table["power"].astype(float) * 1000.0
    extra = table.iloc[[0]].assign(station_id="EXTRA", service="Extra", power=5e6)
    table = pd.concat([table, extra], ignore_index=True)
    points = gpd.points_from_xy(
        table.pop("longitude_deg").astype(float), table.pop("latitude_deg").astype(float), crs="EPSG:4326"
    )
    path = folder / "stations.gpkg"
    gpd.GeoDataFrame(table, geometry=points).to_file(path)
    return path


def test_a_run_from_layers_equals_the_run_from_the_scenario(qgis, demo, tmp_path):
    folder = demo.parent
    given = {
        "stations": str(stations_layer(demo, tmp_path)),
        "elevation": str(folder / "elevation.tif"),
        "land_cover": str(folder / "land_cover.tif"),
        "patterns": str(folder / "patterns.csv"),
        "homes": str(folder / "homes.gpkg"),
        "area": str(folder / "area.gpkg"),
        "wards": str(folder / "neighbourhoods.gpkg"),
        "wanted": "Skerra One; 8.1; Coast TV; North News; RF 24",
        "output": str(folder / "from_layers"),
    }
    answer = qgis.script(FROM_LAYERS, given)
    assert answer["done"], answer["log"]
    assert answer["progress"] == pytest.approx(100.0)
    assert answer["titles"][0] == "from_layers"
    assert set(answer["groups"]) == {"What is needed", "Why", "Stations", "Cells and rasters", "Relief"}
    one, other = covermap.open_coverage(folder / "out"), covermap.open_coverage(folder / "from_layers")
    for name in ("main/tier", "main/tier_chance", "main/aim", "field/CTV", "homes"):
        np.testing.assert_array_equal(one.read(name), other.read(name), err_msg=name)
    assert len(one.areas()) == len(other.areas())
    kept = folder / "from_layers" / "scenario.toml"  # the assembled scenario runs again by itself
    assert str(folder) not in kept.read_text("utf-8")
    result = CliRunner().invoke(main, ["check", str(kept)])
    assert result.exit_code == 0, result.output
    assert "0 errors" in result.output


CANCEL = """
from threading import Timer
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
algorithm = QgsApplication.processingRegistry().algorithmById("covermap:check_inputs").create()
feedback = QgsProcessingFeedback()
Timer(1.5, feedback.cancel).start()
results, done = algorithm.run({"SCENARIO": given["scenario"]}, QgsProcessingContext(), feedback)
answer.update(done=done, log=feedback.textLog())
"""


def executable(path, text):
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def test_cancel_kills_the_child(qgis, demo, tmp_path):
    stubborn = executable(tmp_path / "covermap", f"trap '' INT\necho $$ > {tmp_path}/pid\nexec sleep 600")
    answer = qgis.script(CANCEL, {"scenario": str(demo)}, COVERMAP_EXECUTABLE=str(stubborn))
    assert answer["done"] is False
    assert "Canceled" in answer["log"]
    pid = int((tmp_path / "pid").read_text())
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


@pytest.mark.parametrize(
    ("name", "parameters", "words"),
    [
        (
            "place_sheet",
            {"SCENARIO": "{demo}", "PLACE": "-35.66,44.011 [EPSG:4326]", "OUTPUT": "{out}"},
            ["address", "{demo}", "--at=44.0110000,-35.6600000", "--output", "{out}", "--progress", "json"],
        ),
        (
            "compare_results",
            {"BEFORE": "{result}", "AFTER": "{result}", "OUTPUT": "{out}"},
            ["changes", "{result}", "{result}", "--output", "{out}"],
        ),
        (
            "shortlist_relays",
            {"SCENARIO": "{demo}", "OUTPUT": "{out}"},
            ["relays", "{demo}", "--output", "{out}"],
        ),
    ],
)
def test_algorithms_are_one_command_each(qgis, demo, tmp_path, name, parameters, words):
    says = executable(tmp_path / "covermap", 'for word in "$@"; do echo "$word"; done')
    places = {"demo": demo, "out": tmp_path / "out", "result": demo.parent / "out"}
    filled = {key: value.format(**places) for key, value in parameters.items()}
    status, results, said = qgis.algorithm(name, filled, COVERMAP_EXECUTABLE=str(says))
    assert status == 0, said
    assert results["SUMMARY"].splitlines() == [word.format(**places) for word in words]


def test_readings_of_a_layer_reach_the_command_as_csv(qgis, demo, tmp_path):
    table = gpd.GeoDataFrame(
        {"reading_id": ["a", "b"], "field_dbuvm": [61.25, None]},
        geometry=gpd.points_from_xy([265_000.0, 270_000.0], [4_870_000.0, 4_875_000.0], crs="EPSG:32625"),
    )
    table.to_file(tmp_path / "readings.gpkg")
    says = executable(tmp_path / "covermap", 'cat "$3"')
    status, results, said = qgis.algorithm(
        "calibrate_readings",
        {"SCENARIO": demo, "READINGS": tmp_path / "readings.gpkg", "OUTPUT": tmp_path / "out"},
        COVERMAP_EXECUTABLE=str(says),
    )
    assert status == 0, said
    header, first, second = results["SUMMARY"].splitlines()
    assert header == "fid,reading_id,field_dbuvm,latitude_deg,longitude_deg"
    longitude, latitude = table.to_crs(4326).geometry[0].coords[0]
    assert first.split(",")[1:3] == ["a", "61.25"]
    assert [float(part) for part in first.split(",")[3:]] == pytest.approx([latitude, longitude], abs=1e-7)
    assert second.split(",")[2] == ""


OPTIONS = """
from covermap_plugin.options_page import OptionsPage
page = OptionsPage()
page.file.setFilePath(given["good"])
page.button.click()
answer["good"] = page.answer.text()
page.apply()
answer["kept"] = QgsSettings().value("covermap/executable", "", str)
page.file.setFilePath(given["bad"])
page.button.click()
answer["bad"] = page.answer.text()
page.file.setFilePath("")
page.apply()
"""


def test_the_test_button_says_whether_the_command_works(qgis, tmp_path):
    good = os.environ.get("COVERMAP_EXECUTABLE") or qgis.environment()["COVERMAP_EXECUTABLE"]
    answer = qgis.script(OPTIONS, {"good": good, "bad": str(tmp_path / "none")})
    assert answer["good"].startswith(f"It works: covermap, version {covermap.__version__}")
    assert answer["kept"] == good
    assert "which is not there" in answer["bad"]


def blocks_of(page, heading):
    """Return the Python blocks under a heading of a page of docs."""
    text = (Path(__file__).resolve().parents[1] / "docs" / page).read_text("utf-8")
    part = text.split(f"## {heading}\n")[1].split("\n## ")[0]
    return [block.split("```")[0] for block in part.split("```python\n")[1:]]


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
