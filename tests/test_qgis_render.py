"""In real QGIS: a result with zones, ridges, survey points and plan rasters, opened and drawn."""

import geopandas as gpd
import pytest
import shapely
from plan_rasters import CAUSES, add_plan_rasters
from qgis_session import QgisSession, require_qgis
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.qgis_project import write_qgis_project
from covermap.gis_layers.raster_styles import write_raster_styles
from covermap.result.transmitters import transmitters_layer
from covermap.wording.palette import INK_DARK, INK_LIGHT

pytestmark = pytest.mark.qgis
ZONE = shapely.box(260_000, 4_874_000, 261_000, 4_875_000)


def frame(columns, *places):
    return gpd.GeoDataFrame(columns, geometry=list(places), crs=GRID.crs_wkt)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    require_qgis()
    folder = tmp_path_factory.mktemp("drawn") / "result"
    folder.mkdir()
    coverage = write_small_coverage(folder)
    add_plan_rasters(coverage)
    zone = {"zone_id": ["z"], "wanted_list": ["main"], "kind": ["dead"], "main_cause": ["earth_bulge"]}
    point = shapely.Point(262_000, 4_873_500)
    more = {
        "dead_zones": frame(zone | {"homes": [3.0], "near_name": ["Low <b>Wick</b>"]}, ZONE),
        "ridges": frame(
            {"ridge_id": ["r"], "service": ["Alpha"], "above_line_m": [31.0], "homes_shaded": [40.0]}, point
        ),
        "survey_points": frame(
            {"rank": [1, 1], "wanted_list": ["main", "few"], "homes_settled": [9.0, 8.0]}, point, point
        ),
    }
    scenario = make_scenario(coverage)
    stations = transmitters_layer(scenario, coverage)
    write_geopackage(scenario, coverage, None, stations, folder, more=more)
    write_raster_styles(coverage)
    project = write_qgis_project(coverage)
    session = QgisSession(tmp_path_factory.mktemp("profile"))
    return session.script(DRAW, {"project": str(project)})


DRAW = """
from qgis.PyQt.QtCore import QSize
project = QgsProject.instance()
project.read(given["project"])
layers = {layer.name(): layer for layer in project.mapLayers().values()}
answer["broken"] = [name for name, layer in layers.items() if not layer.isValid()]
answer["rows"] = {n: layers[n].featureCount() for n in layers if n.startswith("Survey")}
answer["legend"] = {
    n: [item[0] for item in layer.legendSymbologyItems()]
    for n, layer in layers.items() if layer.type() == QgsMapLayer.RasterLayer
}
zones = layers["Dead zones: main"]
feature = next(zones.getFeatures())
context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(zones))
context.setFeature(feature)
answer["tip"] = QgsExpression.replaceExpressionText(zones.mapTipTemplate(), context)

def picture(names):
    settings = QgsMapSettings()
    settings.setLayers([layers[name] for name in names])
    settings.setDestinationCrs(project.crs())
    settings.setExtent(QgsRectangle(259000, 4873000, 263000, 4876000))
    settings.setOutputSize(QSize(800, 600))  # 5 m a pixel
    settings.setOutputDpi(288)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    return job.renderedImage()

def colours(image, x, rows):
    return [image.pixelColor(x, row).name() for row in rows]

everything = ["Ridges", "Dead zones: main", "Antenna needed: main", "Relief"]
answer["edge"] = colours(picture(everything), 300, range(190, 211))  # across the zone's north edge
answer["inside"] = colours(picture(["Dead zones: main"]), 300, [300])
answer["cells"] = len(set(colours(picture(["Cells: main"]), 40, range(0, 70))))
"""


def test_all_layers_are_valid_and_survey_points_are_of_one_list(drawn):
    assert drawn["broken"] == []
    assert drawn["rows"] == {"Survey points: main": 1, "Survey points: few": 1}


def test_legends_speak_in_words(drawn):
    legend = drawn["legend"]
    assert legend["Why it is hard: main"][0] == "hills in the way"
    assert len(legend["Why it is hard: main"]) == len(CAUSES)
    assert legend["What a masthead amplifier does: main"][:2] == ["not needed", "helps"]
    assert len(legend["What a masthead amplifier does: main"]) == 7
    assert "needs a filter, may be lost on some nights" in legend["Remarks on the antenna needed: main"]


@pytest.mark.parametrize("words", ["Dead zone", "3 homes", "beyond the horizon", "Low &lt;b>Wick"])
def test_the_tip_of_a_zone_says_homes_place_and_cause(drawn, words):
    assert words in drawn["tip"]


def test_the_edge_of_a_dead_zone_is_dark_on_light_whatever_lies_under_it(drawn):
    assert INK_DARK.lower() in drawn["edge"]
    assert INK_LIGHT.lower() in drawn["edge"]
    assert drawn["inside"] == ["#ffffff"]  # no fill: the tier under it is seen


def test_unknown_cells_are_dotted(drawn):
    assert drawn["cells"] > 1  # the 24 unknown cells in the north-west corner
