"""A model that chains algorithms of the plugin, run by QGIS; changes and hilltops in their own style."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from qgis_session import QgisSession, predicted_demo, require_qgis

import covermap

pytestmark = pytest.mark.qgis


@pytest.fixture(scope="module")
def qgis(tmp_path_factory):
    require_qgis()
    return QgisSession(tmp_path_factory.mktemp("profile"))


@pytest.fixture(scope="module")
def demo(qgis, tmp_path_factory):
    return predicted_demo(tmp_path_factory.getbasetemp())


MODEL = """
from covermap_plugin.provider import CovermapProvider
provider = CovermapProvider()
QgsApplication.processingRegistry().addProvider(provider)
sys.path.insert(0, "/usr/share/qgis/python/plugins")
from processing.core.Processing import Processing
Processing.initialize()
Source = QgsProcessingModelChildParameterSource

model = QgsProcessingModelAlgorithm("Predict, points, changes", "covermap_chain", "tests")

def parameter(definition):
    model.addModelParameter(definition, QgsProcessingModelParameter(definition.name()))

def child(name, algorithm, sources, outputs=()):
    one = QgsProcessingModelChildAlgorithm(algorithm)
    one.setChildId(name)
    one.setDescription(name)
    for key, source in sources.items():
        one.addParameterSources(key, [source])
    made = {}
    for output in outputs:
        found = QgsProcessingModelOutput(name + "_" + output, name + "_" + output)
        found.setChildId(name)
        found.setChildOutputName(output)
        made[name + "_" + output] = found
    one.setModelOutputs(made)
    model.addChildAlgorithm(one)

parameter(QgsProcessingParameterFile("scenario", "scenario"))
parameter(QgsProcessingParameterFile("before", "before", QgsProcessingParameterFile.Folder))
parameter(QgsProcessingParameterFeatureSource("points", "points"))
child("predicted", "covermap:predict_needs",
      {"SCENARIO": Source.fromModelParameter("scenario"), "LOAD": Source.fromStaticValue(False)}, ["OUTPUT"])
child("points_with", "covermap:antenna_for_points",
      {"INPUT": Source.fromModelParameter("points"), "RESULT": Source.fromChildOutput("predicted", "OUTPUT")},
      ["OUTPUT"])
child("changed", "covermap:compare_results",
      {"BEFORE": Source.fromModelParameter("before"), "AFTER": Source.fromChildOutput("predicted", "OUTPUT"),
       "LOAD": Source.fromStaticValue(False)}, ["OUTPUT"])
child("roofs", "native:extractbyexpression",
      {"INPUT": Source.fromChildOutput("predicted", "TIER_AREAS"),
       "EXPRESSION": Source.fromStaticValue('"tier" >= 5')}, ["OUTPUT"])
answer["valid"] = model.validate() if hasattr(model, "validate") else True
answer["written"] = model.toFile(given["model"])
"""


def test_a_model_chains_a_prediction_points_and_a_comparison(qgis, demo, tmp_path):
    coverage = covermap.open_coverage(demo.parent / "out")
    tier, (x, y) = coverage.read("main/tier"), coverage.coordinates()
    row, col = (one[:: max(1, one.size // 8)] for one in np.nonzero(tier < 255))
    points = gpd.GeoDataFrame(
        {"visit": range(row.size)}, geometry=gpd.points_from_xy(x[col], y[row], crs=coverage.grid.crs_wkt)
    )
    points.to_file(tmp_path / "points.gpkg")
    model = tmp_path / "chain.model3"
    answer = qgis.script(MODEL, {"model": str(model)})
    assert answer["written"]
    given = {
        "scenario": demo, "before": demo.parent / "out", "points": tmp_path / "points.gpkg",
        "predicted:predicted_OUTPUT": tmp_path / "result", "roofs:roofs_OUTPUT": tmp_path / "roofs.gpkg",
        "points_with:points_with_OUTPUT": tmp_path / "with.gpkg",
        "changed:changed_OUTPUT": tmp_path / "changes",
    }  # fmt: skip
    pairs = [f"--{name}={value}" for name, value in given.items()]
    done = qgis.process("run", model, "--json", *pairs)
    assert done.returncode == 0, done.stdout + done.stderr
    assert list(gpd.read_file(tmp_path / "with.gpkg").tier) == list(tier[row, col])
    changes = pd.read_csv(tmp_path / "changes" / "changes.csv")
    assert changes.homes_same.sum() > 1000  # the same scenario twice
    assert changes[["homes_harder", "homes_easier"]].fillna(0).to_numpy().sum() == 0
    assert (gpd.read_file(tmp_path / "roofs.gpkg").tier >= 5).all()
    assert (tmp_path / "result" / "run.json").is_file()


STYLED = """
from covermap_plugin.load_result import load_layer
project = QgsProject.instance()
for name, source in given["layers"].items():
    layer = load_layer(source, name, project)
    feature = next(layer.getFeatures(), None)
    tip = ""
    if feature is not None:
        context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
        context.setFeature(feature)
        tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    answer[name] = {"legend": [one.label() for one in layer.renderer().legendSymbolItems()], "tip": tip,
                    "labels": layer.labelsEnabled()}
answer["none"] = load_layer(None, "none", project)
"""


def test_changes_and_hilltops_come_in_their_own_style(qgis, tmp_path):
    from covermap.gis_layers.answer_styles import style_changes, style_relays

    square = gpd.GeoSeries.from_wkt(["POLYGON((0 0, 100 0, 100 100, 0 0))"] * 2, crs="EPSG:32625")
    changes = {"patch_id": ["a", "b"], "wanted_list": "main", "change": ["harder", "easier"]}
    changes |= {"tier_before": [3, 6], "tier_after": [5, None], "homes": [12.0, None]}
    gpd.GeoDataFrame(changes, geometry=square).to_file(tmp_path / "changes.gpkg", layer="changes")
    points = gpd.points_from_xy([-35.6, -35.7], [44.0, 44.1], crs="EPSG:4326")
    relays = {
        "rank": [1, 2],
        "chosen": [True, False],
        "homes_reached": [710.0, 300.0],
        "homes_harmed": [4.0, 0],
    }
    gpd.GeoDataFrame(relays, geometry=points).to_file(tmp_path / "relays.gpkg", layer="relays")
    style_changes(tmp_path / "changes.gpkg")
    style_relays(tmp_path / "relays.gpkg")
    layers = {name: f"{tmp_path / name}.gpkg|layername={name}" for name in ("changes", "relays")}
    answer = qgis.script(STYLED, {"layers": layers})
    assert answer["changes"]["legend"] == ["Harder", "Easier", "Unknown now", "Known now"]
    assert answer["changes"]["tip"] == "<b>Harder</b><br>class 3 before, 5 after<br>12 homes"
    assert answer["relays"]["legend"] == ["Chosen together", "Others, by themselves"]
    assert answer["relays"]["tip"] == "<b>Hilltop, rank 1</b><br>710 homes reached<br>4 homes harmed"
    assert answer["relays"]["labels"]
    assert answer["none"] is None
