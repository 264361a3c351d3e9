"""What QGIS says and paints, against what it should: every tip, label, rule and colour of every layer."""

import shutil

import geopandas as gpd
import matplotlib.pyplot as plt
import numpy as np
import pytest
import shapely
from plan_rasters import add_plan_rasters
from qgis_session import QgisSession, require_qgis
from small_coverage import GRID, SERVICES, WHOLE, make_scenario, write_small_coverage

from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.qgis_project import write_qgis_project
from covermap.gis_layers.raster_styles import write_raster_styles
from covermap.result.rasters import RasterSet
from covermap.result.transmitters import transmitters_layer
from covermap.wording.palette import TIERS

pytestmark = pytest.mark.qgis

READ = """
from qgis.PyQt.QtCore import QSize
project = QgsProject.instance()
project.read(given["project"])
faults, said, drawn = [], {}, []

def context_of(layer, feature):
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    settings = QgsMapSettings()
    settings.setExtent(layer.extent())
    settings.setOutputSize(QSize(400, 300))
    context.appendScope(QgsExpressionContextUtils.mapSettingsScope(settings))
    context.setFeature(feature)
    return context

def evaluated(text, context, where):
    expression = QgsExpression(text)
    value = expression.evaluate(context)
    if expression.hasParserError() or expression.hasEvalError():
        faults.append([where, text, expression.parserErrorString() + expression.evalErrorString()])
    return value

def expressions_of(owner):
    found = []
    for key in owner.dataDefinedProperties().propertyKeys():
        one = owner.dataDefinedProperties().property(key)
        if one.propertyType() == QgsProperty.ExpressionBasedProperty:
            found.append(one.expressionString())
    return found

def symbol_expressions(symbol):
    found = expressions_of(symbol)
    for index in range(symbol.symbolLayerCount()):
        found += expressions_of(symbol.symbolLayer(index))
        if symbol.symbolLayer(index).subSymbol():
            found += symbol_expressions(symbol.symbolLayer(index).subSymbol())
    return found

def read_style(layer, style):
    where = f"{layer.name()}, {style}"
    tips, labels = set(), set()
    renderer = layer.renderer()
    rule = renderer.classAttribute() if hasattr(renderer, "classAttribute") else ""
    labelling = layer.labeling().settings() if layer.labelsEnabled() else None
    for feature in layer.getFeatures():
        context = context_of(layer, feature)
        tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
        tips.add(tip)
        for part in layer.mapTipTemplate().split("[%")[1:]:
            evaluated(part.split("%]")[0].strip(), context, where + ", tip")
        if rule:
            evaluated(f'"{rule}"' if layer.fields().indexOf(rule) >= 0 else rule, context, where)
        for symbol in renderer.symbols(QgsRenderContext()):
            for text in symbol_expressions(symbol):
                evaluated(text, context, where + ", symbol")
        if labelling is not None:
            field = labelling.fieldName
            label = evaluated(field if labelling.isExpression else f'"{field}"', context, where + ", label")
            labels.add(str(label))
            for key in labelling.dataDefinedProperties().propertyKeys():
                one = labelling.dataDefinedProperties().property(key)
                evaluated(one.expressionString(), context, where + ", label")
    said[where] = {"tips": sorted(tips), "labels": sorted(labels), "rows": layer.featureCount()}

for layer in project.mapLayers().values():
    if layer.type() == QgsMapLayer.VectorLayer:
        for style in layer.styleManager().styles():
            layer.styleManager().setCurrentStyle(style)
            read_style(layer, style)
answer.update(faults=faults, said=said)
"""


def frame(columns, *places):
    return gpd.GeoDataFrame(columns, geometry=list(places), crs=GRID.crs_wkt)


def write_ground(folder, ground_m):
    with RasterSet(folder, GRID, services=SERVICES) as rasters:
        rasters.write("ground", WHOLE, ground_m.astype(np.float32))


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """Return a result whose ground is level, with every layer that a result can have."""
    folder = tmp_path_factory.mktemp("level") / "result"
    folder.mkdir()
    coverage = write_small_coverage(folder)
    add_plan_rasters(coverage)
    write_ground(folder, np.full(GRID.shape, 120.0))
    zone = {"zone_id": ["z", "y"], "wanted_list": ["main"] * 2, "kind": ["dead", "doubtful"]}
    zone |= {"main_cause": ["earth_bulge", None], "homes": [3.0, None], "near_name": ["Low 'Wick'", None]}
    east, west = (
        shapely.box(260_000, 4_874_000, 261_000, 4_875_000),
        shapely.box(259e3, 4_873e3, 26e4, 4_874e3),
    )
    point, line = shapely.Point(262_000, 4_873_500), shapely.LineString([(259e3, 4_873e3), (262e3, 4_875e3)])
    ridge = {"ridge_id": ["r"], "service": ["Alpha"], "above_line_m": [31.0], "homes_shaded": [40.0]}
    ranks = {"rank": [1, 1], "wanted_list": ["main", "few"], "homes_settled": [9.0, 8.0]}
    more = {
        "dead_zones": frame(zone, east, west),
        "ridges": frame(ridge, point),
        "survey_points": frame(ranks, point, point),
        "contours": frame({"station_id": ["alpha-1"], "field_dbuvm": [41.0], "rule": ["a rule"]}, line),
    }
    names = {"neighbourhood_id": ["n"] * 2, "neighbourhood_name": ["Low 'Wick'"] * 2}
    names |= {"wanted_list": ["main", "few"], "homes_total": [40.0, None], "tier_half_of_homes": [5, None]}
    areas = frame(names, east, east)
    areas["tier_half_of_homes"] = areas["tier_half_of_homes"].astype("Int64")
    scenario = make_scenario(coverage)
    stations = transmitters_layer(scenario, coverage)
    write_geopackage(scenario, coverage, areas, stations, folder, more=more)
    write_raster_styles(coverage)
    return write_qgis_project(coverage)


@pytest.fixture(scope="module")
def qgis(tmp_path_factory):
    require_qgis()
    return QgisSession(tmp_path_factory.mktemp("profile"))


@pytest.fixture(scope="module")
def readings(qgis, result):
    return qgis.script(READ, {"project": str(result)})


def test_every_tip_label_and_rule_can_be_evaluated(readings):
    assert readings["faults"] == []
    of_table = {where.split(",")[0].split(":")[0] for where in readings["said"]}
    assert of_table >= {
        "Antenna needed", "Neighbourhoods", "Cells", "Dead zones", "Ridges", "Survey points", "Stations",
        "Field contours",
    }  # fmt: skip
    assert sum(one["rows"] > 0 for one in readings["said"].values()) > 12


def test_tips_are_sentences_not_program_text(readings):
    for where, one in readings["said"].items():
        for tip in one["tips"]:
            assert tip.strip(), where
            assert "Unknown" not in tip or "0 %" not in tip, where  # what is missing is not 0
            assert not any(mark in tip for mark in ("[%", "%]", "CASE", "WHEN", '"')), (where, tip)


def test_tips_name_the_tier_of_every_class(readings):
    said = readings["said"]
    cells = "".join(said["Cells: main, Antenna needed: main"]["tips"])
    for name in ("1 Shelf", "5 Rooftop", "8 Not promised", "Unknown"):
        assert name in cells
    areas = (
        said["Neighbourhoods: main, Antenna needed: main"]
        if ("Neighbourhoods: main, Antenna needed: main" in said)
        else said["Neighbourhoods, Antenna needed: main"]
    )
    assert any("5 Rooftop" in tip and "40 homes" in tip for tip in areas["tips"])
    assert any("Low 'Wick'" in tip for tip in areas["tips"])


PAINT = """
from qgis.PyQt.QtCore import QSize, QPointF
from qgis.PyQt.QtGui import QColor
project = QgsProject.instance()
project.read(given["project"])
layers = {layer.name(): layer for layer in project.mapLayers().values()}
relief = layers["Relief"]

def picture(layer):
    settings = QgsMapSettings()
    settings.setLayers([relief, layer])
    settings.setDestinationCrs(project.crs())
    settings.setBackgroundColor(QColor(255, 255, 255))
    settings.setExtent(QgsRectangle(259000, 4873000, 263000, 4876000))
    settings.setOutputSize(QSize(800, 600))  # 5 m a pixel, 20 pixels a cell
    settings.setFlag(QgsMapSettings.DrawLabeling, False)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    return job.renderedImage()

def classes_of(layer):
    # what the layer panel draws beside each line of the legend: label -> colour
    root, found = project.layerTreeRoot(), {}
    model = QgsLayerTreeModel(root)
    for node in model.layerLegendNodes(root.findLayer(layer)):
        icon = node.data(1)  # Qt::DecorationRole
        if icon is None:
            continue
        image = icon.toImage() if hasattr(icon, "toImage") else icon.pixmap(16, 16).toImage()
        found[str(node.data(0))] = image.pixelColor(image.width() // 2, image.height() // 2 - 2).name()
    return found

def painted(layer, number_of):
    # label -> colours at four places of each square of that class, off its middle, edges and hatch
    image, found = picture(layer), {}
    for row in range(30):
        for col in range(40):
            label = number_of(259050 + 100 * col, 4875950 - 100 * row)
            if label is not None:
                for dx, dy in ((6, 5), (14, 15)):
                    found.setdefault(label, set()).add(image.pixelColor(20 * col + dx, 20 * row + dy).name())
    return {label: sorted(colours) for label, colours in found.items()}

def raster_label(layer):
    provider = layer.dataProvider()
    band = layer.renderer().band() if hasattr(layer.renderer(), "band") else 1
    kind = type(layer.renderer()).__name__
    def of(x, y):
        value, known = provider.sample(QgsPointXY(x, y), band)
        if not known:
            return None
        if kind == "QgsPalettedRasterRenderer":
            return next((one.label for one in layer.renderer().classes() if one.value == value), None)
        items = layer.renderer().shader().rasterShaderFunction().colorRampItemList()
        return next((item.label for item in items if value <= item.value), None)
    return of

def polygon_label(layer):
    renderer, context = layer.renderer(), QgsRenderContext()
    context.expressionContext().appendScopes(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    index = QgsSpatialIndex(layer.getFeatures(), flags=QgsSpatialIndex.FlagStoreFeatureGeometries)
    renderer.startRender(context, layer.fields())
    labels = {}
    for feature in layer.getFeatures():
        context.expressionContext().setFeature(feature)
        keys = renderer.legendKeysForFeature(feature, context)
        names = {item.ruleKey(): item.label() for item in renderer.legendSymbolItems()}
        labels[feature.id()] = next((names[key] for key in keys if key in names), None)
    renderer.stopRender(context)
    def of(x, y):
        for one in index.intersects(QgsRectangle(x - 1, y - 1, x + 1, y + 1)):
            if layer.getFeature(one).geometry().contains(QgsPointXY(x, y)):
                return labels[one]
    return of

if given.get("only"):
    layers = {given["only"]: layers[given["only"]]}
for name, layer in layers.items():
    if layer.type() == QgsMapLayer.RasterLayer and layer is not relief:
        if layer.renderer().type() in ("paletted", "singlebandpseudocolor"):
            answer[name] = {"panel": classes_of(layer), "map": painted(layer, raster_label(layer))}
    elif name.startswith(("Antenna needed", "Cells")):
        for style in layer.styleManager().styles():
            layer.styleManager().setCurrentStyle(style)
            found = {"panel": classes_of(layer), "map": painted(layer, polygon_label(layer))}
            answer[f"{name}, {style}"] = found
"""


@pytest.fixture(scope="module")
def pixels(qgis, result):
    return qgis.script(PAINT, {"project": str(result)})


def near(one, other):
    """Return whether two colours differ by a level of 255 at most, which blending in 8 bits may add."""
    parts = [[int(colour[place : place + 2], 16) for place in (1, 3, 5)] for colour in (one, other)]
    return all(abs(a - b) <= 1 for a, b in zip(*parts, strict=True))


def test_the_panel_shows_the_colours_of_the_map(pixels):
    compared = 0
    for name, one in pixels.items():
        for label, colours in one["map"].items():
            if label in ("8 Not promised", "Unknown"):
                continue  # hatched and dotted; their fills are looked at below
            assert all(near(colour, one["panel"][label]) for colour in colours), (name, label, one)
            compared += 1
    assert compared > 60


def test_a_hatched_class_has_the_fill_of_the_panel_between_its_lines(pixels):
    tiers = pixels["Antenna needed, cell by cell: main"]
    assert tiers["map"]["8 Not promised"] == [tiers["panel"]["8 Not promised"]] == ["#2e353d"]
    areas = next(one for name, one in pixels.items() if name.startswith("Antenna needed: main, Antenna"))
    assert "#2e353d" in areas["map"]["8 Not promised"]


def lightness(colour):
    """Return CIE L* of #rrggbb: CIE 15:2004, with sRGB's transfer of IEC 61966-2-1."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 116 * (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]) ** (1 / 3) - 16


def test_no_shadow_makes_a_class_read_as_the_next(qgis, result, tmp_path):
    folder = shutil.copytree(result.parent, tmp_path / "rough")
    rows, cols = np.indices(GRID.shape)
    write_ground(folder, 400.0 * ((rows + cols) % 6 < 3))  # cliffs that face the light and away from it
    name = "Antenna needed, cell by cell: main"
    found = qgis.script(PAINT, {"project": str(folder / "coverage.qgs"), "only": name})[name]
    classes = [found["panel"][label] for label in found["panel"]]
    darkest = {label: min(map(lightness, colours)) for label, colours in found["map"].items()}
    shadows = [lightness(fill) - dark for fill, dark in zip(classes, darkest.values(), strict=False)]
    assert max(shadows) > 1.0  # there is relief
    for label, fill in zip(found["panel"], classes[1:], strict=False):
        # our own limit: at least 3.5 L* lighter than the next class in full light
        assert darkest.get(label, 100.0) > lightness(fill) + 3.5, label


PAGES = """
project = QgsProject.instance()
project.read(given["project"])
themes = project.mapThemeCollection()
answer["themes"] = {
    name: [layer.name() for layer in themes.mapThemeVisibleLayers(name)] for name in themes.mapThemes()
}
answer["bookmarks"] = [one.name() for one in project.bookmarkManager().bookmarks()]
answer["pages"] = {}
for layout in project.layoutManager().layouts():
    path = given["folder"] + "/" + layout.name() + ".png"
    settings = QgsLayoutExporter.ImageExportSettings()
    settings.dpi = 100
    done = QgsLayoutExporter(layout).exportToImage(path, settings)
    kinds = [type(item).__name__ for item in layout.items() if isinstance(item, QgsLayoutItem)]
    legend = next(item for item in layout.items() if isinstance(item, QgsLayoutItemLegend))
    words = [node.name() for node in legend.model().rootGroup().findLayers()]
    answer["pages"][layout.name()] = {"done": int(done), "path": path, "kinds": kinds, "legend": words}
"""


def test_themes_bookmarks_and_pages_work_in_qgis(qgis, result, tmp_path):
    answer = qgis.script(PAGES, {"project": str(result), "folder": str(tmp_path)})
    themes = answer["themes"]
    assert set(themes) == {"Needed", "How sure", "Why", "For print"}
    assert "Antenna needed: main" in themes["Needed"]
    assert {"Why it is hard: main", "Ridges"} <= set(themes["Why"])
    assert len(answer["bookmarks"]) == 2
    assert set(answer["pages"]) == {"A4", "Letter"}
    for name, millimetres in (("A4", (297.0, 210.0)), ("Letter", (279.4, 215.9))):
        page = answer["pages"][name]
        assert page["done"] == 0
        assert page["legend"][0] == "Antenna needed: main"
        picture = plt.imread(page["path"])[..., :3]
        assert picture.shape[1::-1] == pytest.approx([100 * part / 25.4 for part in millimetres], abs=2)
        levels = (picture * 255).round().astype(int)
        side = int(0.73 * levels.shape[1])  # the legend's column begins there
        for look in TIERS[:7]:
            wanted = [int(look.painted[place : place + 2], 16) for place in (1, 3, 5)]
            same = (np.abs(levels - wanted) <= 1).all(axis=2)
            assert same[:, side:].sum() > 100, (name, look.number)
            assert same[:, :side].sum() > 100, (name, look.number)
