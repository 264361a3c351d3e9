"""The plugin on canvas and points, in real QGIS: the dock, its aim and path, the search, the columns."""

import json
import shutil

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import rasterio
import shapely
from click.testing import CliRunner
from qgis_session import QgisSession, predicted_demo, require_qgis

import covermap
from covermap.cli import main

pytestmark = pytest.mark.qgis


@pytest.fixture(scope="module")
def qgis(tmp_path_factory):
    require_qgis()
    return QgisSession(tmp_path_factory.mktemp("profile"))


@pytest.fixture(scope="module")
def demo(qgis, tmp_path_factory):
    return predicted_demo(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="module")
def places(demo):
    """Return twelve squares of different tiers as row, column, longitude and latitude of a place inside."""
    coverage = covermap.open_coverage(demo.parent / "out")
    tier = coverage.read("main/tier")
    found = []
    for number in range(1, 9):
        rows, cols = np.nonzero(tier == number)
        for pick in (0, len(rows) // 2):
            if len(rows):
                row, col = int(rows[pick]), int(cols[pick])
                longitude, latitude = coverage.grid.lonlat_of(np.array([row]), np.array([col]))
                found.append((row, col, float(longitude[0]), float(latitude[0])))
    return coverage, found


DESK = """
from qgis.PyQt.QtCore import QSize, Qt
from qgis.PyQt.QtWidgets import QApplication, QMainWindow
from qgis.gui import QgsMapCanvas
from covermap_plugin.plugin import CovermapPlugin
from covermap_plugin.load_result import load_result

class Desk:
    # stands in for the desktop: a window, a canvas, and what a plugin registers
    def __init__(self):
        self.window, self.canvas, self.filters, self.icons = QMainWindow(), QgsMapCanvas(), [], []
        self.canvas.resize(800, 600)
        self.window.setCentralWidget(self.canvas)
    def mapCanvas(self): return self.canvas
    def mainWindow(self): return self.window
    def addDockWidget(self, area, dock): self.window.addDockWidget(area, dock)
    def removeDockWidget(self, dock): self.window.removeDockWidget(dock)
    def addToolBarIcon(self, action): self.icons.append(action)
    def removeToolBarIcon(self, action): self.icons.remove(action)
    def addPluginToMenu(self, menu, action): self.menu = (menu, action)
    def removePluginMenu(self, menu, action): self.menu = None
    def registerOptionsWidgetFactory(self, factory): pass
    def unregisterOptionsWidgetFactory(self, factory): pass
    def registerLocatorFilter(self, one): self.filters.append(one)
    def deregisterLocatorFilter(self, one): self.filters.remove(one)

desk = Desk()
plugin = CovermapPlugin(desk)
plugin.initGui()
project = QgsProject.instance()
answer["before"] = plugin.dock.said.text()
load_result(given["result"], project)
desk.canvas.setDestinationCrs(QgsCoordinateReferenceSystem(given["crs"]))
"""

ASK = (
    DESK
    + """
to_canvas = QgsCoordinateTransform(QgsCoordinateReferenceSystem("EPSG:4326"),
                                   desk.canvas.mapSettings().destinationCrs(), project)
answer["places"] = []
for longitude, latitude in given["places"]:
    here = to_canvas.transform(QgsPointXY(longitude, latitude))
    half = given["half"]
    desk.canvas.setExtent(QgsRectangle(here.x() - half, here.y() - half, here.x() + half, here.y() + half))
    plugin.ask_canvas(here)
    lines = [[(p.x(), p.y()) for p in line] for line in plugin.dock.mark.lines()]
    tree = plugin.dock.services
    rows = [[tree.topLevelItem(k).text(c) for c in range(4)] for k in range(tree.topLevelItemCount())]
    arrows = [[to_canvas.transform(QgsPointXY(*p), QgsCoordinateTransform.ReverseTransform) for p in line]
              for line in lines[2::2]]
    answer["places"].append({
        "said": plugin.dock.answer, "html": plugin.dock.said.text(), "services": rows,
        "arrows": [[(p.x(), p.y()) for p in line] for line in arrows],
        "px": [((l[1][0] - l[0][0]) ** 2 + (l[1][1] - l[0][1]) ** 2) ** 0.5 / desk.canvas.mapUnitsPerPixel()
               for l in lines[2::2]],
    })
plugin.dock.copy_text()
answer["copied"] = QApplication.clipboard().text()
station = next(one for one in plugin.dock._by_mast() if one["mast"] == given["mast"])
window = plugin.dock.show_path(station)
picture = window.picture.grab().toImage()
line = window.picture.line
answer["path"] = {
    "km": line.length_km, "azimuth": line.azimuth_deg, "hills": line.hills, "words": window.sentence.text(),
    "colours": len({picture.pixelColor(x, y).name() for x in range(0, picture.width(), 7)
                    for y in range(0, picture.height(), 7)}),
}
from covermap_plugin import ground_line, path_picture
beyond = dict(station, longitude_deg=station["longitude_deg"] - 2.0, ground_m=None)
line = ground_line.GroundLine(plugin.dock.result, plugin.dock.place, beyond)
window = path_picture.PathWindow(line, beyond)
window.picture.grab()
answer["beyond"] = {"hills": window.picture.line.hills, "words": window.sentence.text()}
outside = QgsPointXY(0.0, 10.0)
plugin.dock.ask(outside)
answer["outside"] = plugin.dock.said.text()
plugin.unload()
answer["left"] = [len(desk.filters), len(desk.icons), desk.menu]
"""
)


@pytest.fixture(scope="module")
def asked(qgis, demo, places):
    given = {
        "result": str(demo.parent / "out"), "crs": "EPSG:32625", "half": 5000.0, "mast": "High Corrin",
        "places": [place[2:] for place in places[1]],
    }  # fmt: skip
    # no command is there: nothing but the exact sheet may need it
    return qgis.script(ASK, given, COVERMAP_EXECUTABLE="/nowhere/covermap")


def test_the_dock_says_what_the_rasters_hold(asked, places):
    coverage, found = places
    services = coverage.services("main")
    for (row, col, *_), told in zip(found, asked["places"], strict=True):
        at, said = (slice(row, row + 1), slice(col, col + 1)), told["said"]
        tier = int(coverage.read("main/tier")[row, col])
        assert said["tier"] == tier
        assert said["tier_name"] == f"{tier} {coverage.tier_names[tier - 1]}"
        assert said["tier_name"] in told["html"]
        two = int(coverage.read("main/two_antennas_chance")[row, col])
        chance = coverage.read("main/tier_chance")[min(tier, 7) - 1, row, col] if two == 255 else two
        assert said["chance_percent"] == chance
        aim = int(coverage.read("main/aim")[row, col])
        assert said["aims_deg_true"][:1] == ([aim] if aim >= 0 else [])
        for kind in ("deciding_service", "limiting_service"):
            code = int(coverage.read(f"main/{kind}")[at][0, 0])
            assert said[kind] == (services[code] if code < len(services) else "")
        code = int(coverage.read("main/main_cause")[at][0, 0])
        causes = coverage.tag_values("main/main_cause", "CAUSES")
        assert said["cause_code"] == (causes[code] if code < len(causes) else None)
        assert bool(said["main_cause"]) == (code < len(causes))
        if said["cause_code"] in ("same_channel", "next_channel"):
            number = int(coverage.read("main/interferer")[at][0, 0])
            who = coverage.tag_values("main/interferer", "STATIONS")[number]
            assert said["main_cause"].endswith(f", {coverage.run['station_names'][who]}")
        alone = coverage.read("main/service_chance")[:, row, col]
        assert [line[:2] for line in told["services"]] == [
            [name, f"{value} %"] for name, value in zip(services, alone, strict=True)
        ]


def test_the_arrow_points_along_the_aim_wherever_the_canvas_is_drawn(qgis, demo, asked, places):
    given = {"result": str(demo.parent / "out"), "crs": "EPSG:3857", "half": 7000.0, "mast": "High Corrin",
             "places": [place[2:] for place in places[1]]}  # fmt: skip
    for desk in (asked, qgis.script(ASK, given)):
        drawn = 0
        for told in desk["places"]:
            said = told["said"]
            if said["aim_range_deg"] == [0, 359]:
                assert told["arrows"] == []  # it holds in every direction
                continue
            for aim, (start, end), px in zip(said["aims_deg_true"], told["arrows"], told["px"], strict=True):
                azimuth = pyproj.Geod(ellps="WGS84").inv(*start, *end)[0] % 360.0
                assert abs((azimuth - aim + 180.0) % 360.0 - 180.0) < 1.0
                assert px == pytest.approx(90.0, abs=0.5)
                drawn += 1
        assert drawn > 3


def test_the_path_has_the_length_and_bearing_of_the_geodesic(asked, places, demo):
    stations = pd.read_csv(demo.parent / "transmitters.csv")
    mast = stations[stations.mast == "High Corrin"].iloc[0]
    _, _, longitude, latitude = places[1][-1]
    azimuth, _, metres = pyproj.Geod(ellps="WGS84").inv(
        longitude, latitude, mast.longitude_deg, mast.latitude_deg
    )
    path = asked["path"]
    assert path["km"] == pytest.approx(metres / 1000.0, rel=1e-4)
    assert abs((path["azimuth"] - azimuth + 180.0) % 360.0 - 180.0) < 0.1
    assert path["colours"] > 3
    assert ("No ground stands above" in path["words"]) is (path["hills"] == [])


def test_a_path_from_ground_that_the_result_does_not_hold_has_no_line(asked):
    assert asked["beyond"]["hills"] == []
    assert "so that no line can be drawn" in asked["beyond"]["words"]
    assert "No ground stands above" not in asked["beyond"]["words"]


def test_the_dock_copies_all_it_says_and_leaves_nothing_behind(asked):
    last = asked["places"][-1]["said"]
    for words in (last["tier_name"], last["deciding_service"], "not a measurement"):
        assert words in asked["copied"]
    assert "Open a result first" in asked["before"]
    assert "outside the map" in asked["outside"]
    assert asked["left"] == [0, 0, None]


SEARCH = (
    DESK
    + """
search = desk.filters[0].clone()
found = []
search.resultFetched.connect(lambda one: found.append([one.displayString, one.description, one]))
for text in given["texts"]:
    found.clear()
    search.prepare(text, QgsLocatorContext())
    search.fetchResults(text, QgsLocatorContext(), QgsFeedback())
    answer[text] = [row[:2] for row in found]
desk.filters[0].triggerResult(next(row[2] for row in found if row[1] == "place"))
place = plugin.dock.place
answer["asked"] = [place.x(), place.y(), plugin.dock.isVisibleTo(desk.window)]
"""
)


def test_the_search_finds_neighbourhoods_stations_and_places(qgis, demo):
    wards = gpd.read_file(demo.parent / "neighbourhoods.gpkg")
    names = gpd.read_file(demo.parent / "places.gpkg")
    ward, place = wards.ward_name.iloc[0], names["name"].iloc[0]
    given = {
        "result": str(demo.parent / "out"),
        "crs": "EPSG:32625",
        "texts": ["Coast TV", ward.lower(), place],
    }
    answer = qgis.script(SEARCH, given)
    assert ["Coast TV, High Corrin", "station"] in answer["Coast TV"]
    assert [ward, "neighbourhood"] in answer[ward.lower()]
    assert [place, "place"] in answer[place]
    point = names.to_crs(4326).geometry.iloc[0]
    assert answer["asked"][:2] == pytest.approx([point.x, point.y], abs=1e-6)
    assert answer["asked"][2]


SHEET = (
    DESK
    + """
import time
from covermap_plugin import place_dock
opened = []
place_dock.QDesktopServices.openUrl = staticmethod(lambda url: opened.append(url.toLocalFile()))
plugin.dock.ask(QgsPointXY(*given["place"]))
plugin.dock.sheet.click()
end = time.monotonic() + 240
while plugin.dock.sheet.isEnabled() is False and time.monotonic() < end:
    QApplication.processEvents()
    time.sleep(0.05)
answer.update(opened=opened, said=plugin.dock.state.text())
"""
)


def test_the_exact_sheet_opens_when_the_command_has_written_it(qgis, demo, places):
    given = {"result": str(demo.parent / "out"), "crs": "EPSG:32625", "place": places[1][3][2:]}
    answer = qgis.script(SHEET, given)
    assert len(answer["opened"]) == 1, answer["said"]
    with open(answer["opened"][0], encoding="utf-8") as file:
        assert "not a measurement" in file.read()
    missing = qgis.script(SHEET, given, COVERMAP_EXECUTABLE="/nowhere/covermap")
    assert missing["opened"] == []
    assert "which is not there" in missing["said"]


def points_layer(places, path, multi=False):
    _, found = places
    points = [shapely.Point(place[2], place[3]) for place in found]
    shapes = [shapely.MultiPoint([point]) for point in points] if multi else points
    table = {"visit": [f"v{number}" for number in range(len(points))], "tier": [None] * len(points)}
    frame = gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:4326").to_crs("EPSG:3857")
    frame["tier"] = frame["tier"].astype("Int64")
    frame.to_file(path, layer="points")
    return path


@pytest.mark.parametrize("multi", [False, True])
def test_points_get_the_columns_of_the_square_they_lie_in(qgis, demo, places, tmp_path, multi):
    coverage, found = places
    given = {"INPUT": points_layer(places, tmp_path / "p.gpkg", multi), "RESULT": demo.parent / "out",
             "OUTPUT": tmp_path / "with.gpkg"}  # fmt: skip
    status, _, said = qgis.algorithm("antenna_for_points", given, COVERMAP_EXECUTABLE="/nowhere/covermap")
    assert status == 0, said
    table = gpd.read_file(tmp_path / "with.gpkg")
    assert list(table.visit) == [f"v{number}" for number in range(len(found))]
    tier, aim = coverage.read("main/tier"), coverage.read("main/aim")
    assert list(table.tier) == [tier[row, col] for row, col, *_ in found]
    known = [aim[row, col] if aim[row, col] >= 0 else None for row, col, *_ in found]
    assert [None if pd.isna(one) else one for one in table.aim_deg_true] == known
    prices = pd.read_csv(demo.parent / "prices.csv", comment="#").set_index("item").price_each
    for _, row in table[table.tier.isin([1, 6, 7]) & table.second_aim_deg_true.isna()].iterrows():
        # the demo's tiers 6 and 7 have an amplifier, 7 a mast of its own
        parts = [f"antenna_tier_{row.tier}", *{6: ["amplifier"], 7: ["amplifier", "mast"]}.get(row.tier, [])]
        assert row.cost == prices[parts].sum()
    assert table.cost[table.tier == 8].isna().all()


IN_PLACE = """
sys.path.insert(0, "/usr/share/qgis/python/plugins")
from processing.core.Processing import Processing
from processing.gui.AlgorithmExecutor import execute_in_place_run
Processing.initialize()
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
found = QgsApplication.processingRegistry().algorithmById("covermap:antenna_for_points")
algorithm = found.create({"IN_PLACE": True})
layer = QgsVectorLayer(given["points"] + "|layername=points", "points", "ogr")
bare = QgsVectorLayer("Point?field=visit:string", "bare", "memory")
answer["fits"] = [algorithm.supportInPlaceEdit(one) for one in (layer, bare)]
QgsProject.instance().addMapLayer(layer)
context = QgsProcessingContext()
context.setProject(QgsProject.instance())
layer.selectByExpression("\\"visit\\" in ('v0', 'v2')")
layer.startEditing()
parameters = {"INPUT": layer, "RESULT": given["result"]}
execute_in_place_run(algorithm, parameters, context, QgsProcessingFeedback(), True)
layer.commitChanges()
answer["tiers"] = {f["visit"]: f["tier"] if f["tier"] else None for f in layer.getFeatures()}
"""


def test_points_are_filled_in_place_where_they_are_selected(qgis, demo, places, tmp_path):
    coverage, found = places
    points = points_layer(places, tmp_path / "p.gpkg")
    answer = qgis.script(IN_PLACE, {"points": str(points), "result": str(demo.parent / "out")})
    assert answer["fits"] == [True, False]
    tier = coverage.read("main/tier")
    expected = {
        f"v{k}": int(tier[row, col]) if k in (0, 2) else None for k, (row, col, *_) in enumerate(found)
    }
    assert answer["tiers"] == expected


def test_points_by_exact_paths_are_those_of_the_command(qgis, demo, places, tmp_path):
    coverage, found = places
    some = coverage, found[4:7]
    given = {"INPUT": points_layer(some, tmp_path / "p.gpkg"), "RESULT": demo.parent / "out", "EXACT": "true",
             "OUTPUT": tmp_path / "with.gpkg"}  # fmt: skip
    status, _, said = qgis.algorithm("antenna_for_points", given)
    assert status == 0, said
    table = gpd.read_file(tmp_path / "with.gpkg")
    for (_, _, longitude, latitude), (_, row) in zip(some[1], table.iterrows(), strict=True):
        done = CliRunner().invoke(main, ["address", str(demo), f"--at={latitude},{longitude}", "--json"])
        report = json.loads(done.stdout)
        assert (row.tier, row.chance_percent) == (
            report["tier"],
            pytest.approx(report["chance_percent"], abs=0.1),
        )


LAYERS = """
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
context, feedback = QgsProcessingContext(), QgsProcessingFeedback()
context.setProject(QgsProject.instance())
QgsProject.instance().addMapLayer(QgsRasterLayer(given["ground"], "ground in a package"))
def run(name, parameters):
    algorithm = QgsApplication.processingRegistry().algorithmById("covermap:" + name).create()
    ready, why = algorithm.checkParameterValues(parameters, context)
    if not ready:
        return [False, why]
    try:
        results, done = algorithm.run(parameters, context, feedback, {}, False)
    except QgsProcessingException as error:
        return [False, str(error)]
    return [done, results if done else feedback.textLog()]
for name, (algorithm, parameters) in given["runs"].items():
    answer[name] = run(algorithm, parameters)
"""


@pytest.fixture(scope="module")
def layers(demo, tmp_path_factory):
    """Return parameters of a run from layers: a raster in a GeoPackage, multipoints, heights in feet."""
    folder, source = tmp_path_factory.mktemp("layers"), demo.parent
    with rasterio.open(source / "elevation.tif") as dataset:
        heights, profile = dataset.read(), dataset.profile
    profile = {name: profile[name] for name in ("crs", "transform", "width", "height", "count")}
    with rasterio.open(
        folder / "ground.gpkg", "w", driver="GPKG", dtype="float32", RASTER_TABLE="ground", **profile
    ) as dataset:  # fmt: skip
        dataset.write(heights.astype("float32"))
    table = pd.read_csv(source / "transmitters.csv", dtype=str)
    table["height"] = (table.pop("antenna_height_m").astype(float) / 0.3048).round(3)
    longitude, latitude = (table.pop(name).astype(float) for name in ("longitude_deg", "latitude_deg"))
    points = gpd.points_from_xy(longitude, latitude, crs="EPSG:4326")
    shapes = [shapely.MultiPoint([point]) for point in points]
    gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:4326").to_file(folder / "stations.gpkg")
    two = [shapely.MultiPoint([point, shapely.Point(point.x, point.y + 0.1)]) for point in points]
    gpd.GeoDataFrame(table, geometry=two, crs="EPSG:4326").to_file(folder / "two.gpkg")
    return {
        "ELEVATION": ["ground in a package"], "ground": f"GPKG:{folder / 'ground.gpkg'}:ground",
        "STATIONS": str(folder / "stations.gpkg"),
        "FIELD_HEIGHT": "height", "HEIGHT_UNIT": "feet", "CHANNEL_PLAN": "us_6mhz", "CELL_M": 1000,
        "WANTED": "Coast TV; North News", "MORE_LISTS": "few: Coast TV",
        "PATTERNS": str(source / "patterns.csv"),
        "two": str(folder / "two.gpkg"),
    }  # fmt: skip


def test_layers_are_checked_before_a_run(qgis, layers):
    good = {key: value for key, value in layers.items() if key not in ("two", "ground")}
    runs = {
        "good": ["check_layers", good],
        "empty": ["check_layers", good | {"ELEVATION": [], "WANTED": ""}],
        "lists": ["predict_from_layers", good | {"MORE_LISTS": "no colon here", "OUTPUT": "/tmp/x"}],
        "homes": ["check_layers", good | {"HOMES": good["STATIONS"]}],
        "two": ["check_layers", good | {"STATIONS": layers["two"]}],
        "service": ["check_layers", good | {"STATIONS": layers["two"], "FIELD_SERVICE": ""}],
    }
    answer = qgis.script(LAYERS, {"runs": runs, "ground": layers["ground"]})
    done, results = answer["good"]
    assert done, results
    assert "0 errors" in results["REPORT"]
    assert 'list "few"' in results["REPORT"]
    for name, words in {
        "empty": ("Elevation needs", "Services wanted needs"), "lists": ("no colon here", "semicolons"),
        "homes": ("Number of homes",), "two": ("it has 2 points", "Split it"),
    }.items():  # fmt: skip
        done, why = answer[name]
        assert not done
        assert all(word in why for word in words), why


def test_readings_of_multipoints_reach_the_command(qgis, demo, tmp_path):
    shapes = [shapely.MultiPoint([(265_000.0, 4_870_000.0)])]
    frame = gpd.GeoDataFrame({"reading_id": ["a"]}, geometry=shapes, crs="EPSG:32625")
    frame.to_file(tmp_path / "readings.gpkg")
    says = tmp_path / "covermap"
    says.write_text('#!/bin/sh\ncat "$3"\n')
    says.chmod(0o755)
    given = {"SCENARIO": demo, "READINGS": tmp_path / "readings.gpkg", "OUTPUT": tmp_path / "out"}
    status, results, said = qgis.algorithm("calibrate_readings", given, COVERMAP_EXECUTABLE=str(says))
    assert status == 0, said
    longitude, latitude = frame.to_crs(4326).geometry[0].geoms[0].coords[0]
    told = [float(part) for part in results["SUMMARY"].splitlines()[1].split(",")[-2:]]
    assert told == pytest.approx([latitude, longitude], abs=1e-7)


SERVICES = """
sys.path.insert(0, "/usr/share/qgis/python/plugins")
from processing.gui.wrappers import WidgetWrapperFactory
from processing.gui.AlgorithmDialog import AlgorithmDialog
from qgis.PyQt.QtCore import Qt
from covermap_plugin.provider import CovermapProvider
from covermap_plugin.services_widget import ServicesDialog
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
stations = QgsVectorLayer(given["stations"], "stations", "ogr")
QgsProject.instance().addMapLayer(stations)
from qgis.PyQt.QtWidgets import QWidget
import qgis.utils
from unittest import mock
qgis.utils.iface = mock.MagicMock()
algorithm = QgsApplication.processingRegistry().algorithmById("covermap:predict_from_layers").create()
dialog = AlgorithmDialog(algorithm)
wrappers = dialog.mainWidget().wrappers
wrappers["STATIONS"].setParameterValue(stations.id(), QgsProcessingContext())
wanted = wrappers["WANTED"]
answer["kind"] = type(wanted).__name__
answer["offered"] = wanted.offered()
chosen = ServicesDialog(answer["offered"], ["Coast TV"])
chosen.list.item(1).setCheckState(Qt.CheckState.Checked)
answer["ticked"] = chosen.ticked()
wanted.setValue("; ".join(answer["ticked"]))
answer["value"] = wanted.value()
if given.get("picture"):
    dialog.resize(900, 900)
    dialog.grab().save(given["picture"])
"""


def test_the_services_of_the_chosen_stations_are_offered(qgis, demo, layers):
    answer = qgis.script(SERVICES, {"stations": layers["STATIONS"]})
    services = sorted(set(pd.read_csv(demo.parent / "transmitters.csv").service))
    assert answer["kind"] == "ServicesWrapper"
    assert answer["offered"] == services
    assert services[0] == "Coast TV"
    assert answer["ticked"] == services[:2]
    assert answer["value"] == "; ".join(services[:2])


def test_choices_are_the_names_the_command_knows():
    from covermap.qgis_plugin import choices
    from covermap.scenario.columns import HEIGHT_COLUMNS, POWER_COLUMNS
    from covermap.tables.loader import load_table
    from covermap.tables.noise import ENVIRONMENTS

    assert set(choices.CHANNEL_PLANS) == {row["plan"] for row in load_table("channel_plans")}
    assert list(choices.SYSTEMS) == [row["system"] for row in load_table("required_cn")]
    assert set(choices.ENVIRONMENTS) == set(ENVIRONMENTS)
    assert set(choices.POWER_UNITS.values()) <= set(POWER_COLUMNS)
    assert set(choices.HEIGHT_UNITS.values()) <= set(HEIGHT_COLUMNS)


COUNTS = """
from covermap_plugin.reading import LoadedResult
from covermap_plugin.words import lines_of
result = LoadedResult(given["result"])
wgs84 = QgsCoordinateReferenceSystem("EPSG:4326")
to_result = QgsCoordinateTransform(wgs84, result.crs, QgsProject.instance())
told = result.at(to_result.transform(QgsPointXY(*given["place"])), "main")
answer.update(counts=told["services_by_class"], lines=lines_of(told, "main"))
"""


def test_services_are_told_class_by_class_where_the_result_counts_them(qgis, demo, places, tmp_path):
    coverage, found = places
    row, col, *place = found[3]
    told = qgis.script(COUNTS, {"result": str(demo.parent / "out"), "place": place})
    counts = coverage.read("services_count")[:, row, col].tolist()
    assert [count for _, count in told["counts"]] == counts
    assert told["counts"][3][0] == f"4 {coverage.tier_names[3]}"
    assert any(
        head == "Services by class" and f"5 Rooftop: {counts[4]}" in text for head, text in told["lines"]
    )
    folder = shutil.copytree(demo.parent / "out", tmp_path / "out")
    (folder / "rasters" / "services_count.tif").unlink()
    assert qgis.script(COUNTS, {"result": str(folder), "place": place})["counts"] == []
