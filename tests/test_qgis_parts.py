"""In real QGIS: the project of a map in parts, whose rasters are virtual, drawn as that of the map in one."""

import numpy as np
import pytest
from matplotlib import image
from qgis_session import QgisSession, require_qgis
from small_coverage import GRID, make_scenario
from test_parts import PART, layers_of, written

from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.qgis_project import write_qgis_project
from covermap.gis_layers.raster_styles import write_raster_styles
from covermap.result import parts as of_parts
from covermap.result.parts import parts_of
from covermap.result.transmitters import transmitters_layer

pytestmark = pytest.mark.qgis
DRAWN = ("Antenna needed, cell by cell: main", "Aim, degrees from true north: main")

DRAW = """
from qgis.PyQt.QtCore import QSize
project = QgsProject.instance()
project.read(given["project"])
layers = {layer.name(): layer for layer in project.mapLayers().values()}
answer["broken"] = [name for name, layer in layers.items() if not layer.isValid()]
answer["rasters"] = {
    name: layer.source().rsplit("/", 2)[-2:] for name, layer in layers.items()
    if layer.type() == QgsMapLayer.RasterLayer
}
answer["pictures"] = []
for name in answer["rasters"]:
    settings = QgsMapSettings()
    settings.setLayers([layers[name]])
    settings.setDestinationCrs(project.crs())
    settings.setExtent(QgsRectangle(*given["extent"]))
    settings.setOutputSize(QSize(800, 600))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    path = f"{given['pictures']}/{len(answer['pictures'])}.png"
    job.renderedImage().save(path)
    answer["pictures"].append([name, path])
"""


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """What QGIS found in the project of one map, in one and in parts: its answers, and pictures by layer."""
    require_qgis()
    session = QgisSession(tmp_path_factory.mktemp("profile"))
    layers = layers_of(np.random.default_rng(9))
    found = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(of_parts, "PART_CELLS", PART)
        for parts in ([GRID.whole], parts_of(GRID)):
            folder = tmp_path_factory.mktemp("drawn")
            coverage = written(folder / "result", layers, parts)
            stations = transmitters_layer(make_scenario(coverage), coverage)
            write_geopackage(make_scenario(coverage), coverage, None, stations, coverage.folder)
            write_raster_styles(coverage)
            project = write_qgis_project(coverage)
            west, north = GRID.x_min, GRID.y_max
            extent = [west, north - 100.0 * GRID.rows, west + 100.0 * GRID.cols, north]
            given = {"project": str(project), "pictures": str(folder), "extent": extent}
            found.append(session.script(DRAW, given))
    return found


def test_every_layer_opens_and_rasters_are_the_virtual_ones(drawn):
    one, several = drawn
    assert one["broken"] == several["broken"] == []
    assert list(several["rasters"]) == list(one["rasters"])
    assert set(DRAWN) <= set(several["rasters"])
    assert all(name.endswith(".vrt") for _, name in several["rasters"].values())
    assert not any(name.endswith(".vrt") for _, name in one["rasters"].values())


def test_every_raster_is_drawn_as_that_of_the_map_in_one(drawn):
    one, several = (dict(found["pictures"]) for found in drawn)
    for name, path in one.items():
        first, second = (image.imread(picture) for picture in (path, several[name]))
        np.testing.assert_array_equal(second, first, err_msg=name)
    for name in DRAWN:  # not one colour on any side of the edges of the parts
        picture = image.imread(several[name])
        for part in (picture[:300, :300], picture[:300, 350:600], picture[350:, :300], picture[350:, 650:]):
            assert len(np.unique(part.reshape(-1, part.shape[-1]), axis=0)) > 1
