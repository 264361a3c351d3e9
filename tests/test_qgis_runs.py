"""The plugin's algorithms in real QGIS without a screen, with the real command on the demo."""

import os
import shutil
import stat
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from qgis_session import QgisSession, predicted_demo, require_qgis

import covermap
from covermap.cli import main

pytestmark = pytest.mark.qgis
ALGORITHMS = {
    "check_inputs", "check_layers", "predict_needs", "predict_from_layers", "antenna_for_points",
    "place_sheet", "compare_results", "compare_antennas", "shortlist_relays", "calibrate_readings",
    "open_result",
}  # fmt: skip


@pytest.fixture(scope="module")
def qgis(tmp_path_factory):
    require_qgis()
    return QgisSession(tmp_path_factory.mktemp("profile"))


@pytest.fixture(scope="module")
def demo(qgis, tmp_path_factory):
    return predicted_demo(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="module")
def moved(demo, tmp_path_factory):
    return Path(shutil.copytree(demo.parent / "out", tmp_path_factory.mktemp("moved") / "else where"))


def test_the_algorithms_are_listed(qgis):
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
    assert "result_format 2" in said


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
algorithm = QgsApplication.processingRegistry().algorithmById("covermap:predict_from_layers").create()
parameters = {
    "ELEVATION": [given["elevation"]], "LAND_COVER": given["land_cover"], "STATIONS": stations,
    "FIELD_ERP": "power", "WANTED": given["wanted"], "CELL_M": 1000, "CHANNEL_PLAN": "us_6mhz",
    "PATTERNS": given["patterns"], "HOMES": homes, "HOMES_COUNT": "homes", "NEIGHBOURHOODS": wards,
    "AREA": given["area"], "NEIGHBOURHOOD_KEY": "ward_code", "NEIGHBOURHOOD_NAME": "ward_name",
    "OUTPUT": given["output"], "LOAD": True,
}
results, done = algorithm.run(parameters, context, feedback)
answer.update(done=done, log=feedback.textLog(), progress=feedback.progress(), results=results)
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
    assert str(folder / ".covermap_store") in answer["log"]  # said, not left beside the folder in silence
    assert answer["titles"][0] == "from_layers"
    # stations and the relief over all else: in another project the tree is the order of drawing
    assert answer["groups"] == ["Stations", "Relief", "Why", "What is needed", "Cells and rasters"]
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
            "compare_antennas",
            {"SCENARIO": "{demo}", "ANTENNAS": "uhf_yagi_20, combination@gable", "OUTPUT": "{out}"},
            ["compare-antennas", "{demo}", "uhf_yagi_20", "combination@gable", "--output", "{out}"],
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


def test_missing_executable_says_so_from_a_run_too(qgis, demo, tmp_path):
    bare = {"COVERMAP_EXECUTABLE": str(tmp_path / "none"), "PATH": "/usr/bin:/bin"}
    status, _, said = qgis.algorithm("predict_needs", {"SCENARIO": demo, "OUTPUT": tmp_path / "out"}, **bare)
    assert status != 0
    assert "COVERMAP_EXECUTABLE names" in said
    assert "Correct it" in said


def test_predict_from_a_scenario_writes_what_the_command_writes(qgis, demo, tmp_path):
    status, results, said = qgis.algorithm("predict_needs", {"SCENARIO": demo, "OUTPUT": tmp_path / "out"})
    assert status == 0, said
    assert "homes" in results["SUMMARY"]
    one, other = covermap.open_coverage(demo.parent / "out"), covermap.open_coverage(tmp_path / "out")
    for name in ("main/tier", "main/tier_chance", "main/aim", "homes"):
        np.testing.assert_array_equal(one.read(name), other.read(name), err_msg=name)
    assert (tmp_path / "out" / "coverage.qgs").is_file()


def test_a_sheet_for_a_place_is_written(qgis, demo, tmp_path):
    given = {"SCENARIO": demo, "PLACE": "-35.66,44.011 [EPSG:4326]", "OUTPUT": tmp_path / "sheet"}
    status, results, said = qgis.algorithm("place_sheet", given)
    assert status == 0, said
    assert results["SUMMARY"]
    pages = list((tmp_path / "sheet").glob("*.html"))
    assert pages
    assert "not a measurement" in pages[0].read_text("utf-8")


def test_a_result_compared_with_itself_loses_nobody(qgis, demo, tmp_path):
    result = demo.parent / "out"
    given = {"BEFORE": result, "AFTER": result, "OUTPUT": tmp_path / "changes"}
    status, results, said = qgis.algorithm("compare_results", given)
    assert status == 0, said
    direct = CliRunner().invoke(
        main, ["changes", str(result), str(result), "--output", str(tmp_path / "direct")]
    )
    assert direct.exit_code == 0, direct.output
    assert names_in(tmp_path / "changes") == names_in(tmp_path / "direct") != set()
    assert results["SUMMARY"].splitlines()[0] == direct.stdout.splitlines()[0]


def names_in(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_relays_are_shortlisted(qgis, demo, tmp_path):
    given = {"SCENARIO": demo, "OUTPUT": tmp_path / "relays"}
    status, results, said = qgis.algorithm("shortlist_relays", given)
    direct = CliRunner().invoke(main, ["relays", str(demo), "--output", str(tmp_path / "direct")])
    assert direct.exit_code == 0, direct.output
    assert status == 0, said
    assert names_in(tmp_path / "relays") == names_in(tmp_path / "direct") != set()
    assert results["SUMMARY"].splitlines()[0] == direct.stdout.splitlines()[0]


def readings_of(demo):
    """Return twelve readings 4 dB over the field the result holds, as points with the columns of a file."""
    coverage = covermap.open_coverage(demo.parent / "out")
    field, (x, y) = coverage.read("field/CTV"), coverage.coordinates()
    row, col = np.nonzero(field > 65.0)
    picked = np.linspace(0, row.size - 1, 12).astype(int)
    row, col = row[picked], col[picked]
    table = {
        "point_id": [f"p{number}" for number in range(12)],
        "utc": ["2026-10-01T10:00Z"] * 12,
        "mount": ["rooftop"] * 12,
        "height_m": [10.0] * 12,
        "station_id": ["CTV"] * 12,
        "level": (field[row, col] + 4.0).round(1).astype(float),
        "unit": ["dBuV/m"] * 12,
    }
    return gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(x[col], y[row], crs=coverage.grid.crs_wkt))


def test_readings_of_a_layer_calibrate_as_those_of_a_file_do(qgis, demo, tmp_path):
    readings = readings_of(demo)
    readings.to_file(tmp_path / "readings.gpkg")
    places = readings.to_crs(4326).geometry
    table = pd.DataFrame(readings.drop(columns="geometry"))
    table["latitude_deg"], table["longitude_deg"] = places.y.round(8), places.x.round(8)
    table.to_csv(tmp_path / "readings.csv", index=False)
    given = {"SCENARIO": demo, "READINGS": tmp_path / "readings.gpkg", "OUTPUT": tmp_path / "from_layer"}
    status, results, said = qgis.algorithm("calibrate_readings", given)
    assert status == 0, said
    direct = CliRunner().invoke(
        main,
        ["calibrate", str(demo), str(tmp_path / "readings.csv"), "--output", str(tmp_path / "from_file")],
    )
    assert direct.exit_code == 0, direct.output
    assert names_in(tmp_path / "from_layer") == names_in(tmp_path / "from_file") != set()
    assert results["SUMMARY"].splitlines()[0] == direct.stdout.splitlines()[0]


CANCEL_A_RUN = """
from threading import Timer
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
algorithm = QgsApplication.processingRegistry().algorithmById("covermap:predict_needs").create()
feedback = QgsProcessingFeedback()
Timer(3.0, feedback.cancel).start()
parameters = {"SCENARIO": given["scenario"], "OUTPUT": given["output"]}
results, done = algorithm.run(parameters, QgsProcessingContext(), feedback)
answer.update(done=done, log=feedback.textLog())
"""


def processes_with(text):
    """Return the ids of processes whose command line holds a text."""
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            if text.encode() in path.read_bytes():
                found.append(int(path.parent.name))
        except OSError:  # it ended meanwhile
            continue
    return found


def test_cancel_stops_a_real_run_and_leaves_no_process(qgis, demo, tmp_path):
    shutil.copytree(demo.parent, tmp_path / "fine", ignore=shutil.ignore_patterns("out", ".covermap*"))
    scenario = tmp_path / "fine" / "scenario.toml"
    scenario.write_text(scenario.read_text("utf-8").replace("cell_m = 1000", "cell_m = 100"), "utf-8")
    output = tmp_path / "canceled"
    answer = qgis.script(CANCEL_A_RUN, {"scenario": str(scenario), "output": str(output)})
    assert answer["done"] is False
    assert "Canceled. The same run carries on where this one stopped." in answer["log"]
    assert processes_with(str(output)) == []
    assert not (output / "run.json").exists()
