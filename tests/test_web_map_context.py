"""What the page shows for orientation: layers of the user's own, customers to find, a base map when asked."""

import re
from dataclasses import replace
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pydantic import ValidationError
from small_coverage import GRID
from web_map_browser import load, wait_for
from web_map_case import make_scenario, place_of_cell, write_page

from covermap.errors import InputError
from covermap.planning.context import Context, read_context
from covermap.planning.places import Place
from covermap.reports.web_map import context as context_module
from covermap.reports.web_map.context import STEPS_A_PX, packed_context
from covermap.reports.web_map.page_grid import page_grid
from covermap.scenario.settings import ContextLayer, DisplaySettings, MapSettings, PredictionSettings

BY_US = {"base_map_credit": "Maps by <b>Us</b>"}
ADDRESS = "https://tiles.example.org/{z}/{x}/{y}.png"


def line(*cells):
    return shapely.LineString([place_of_cell(row, col) for row, col in cells])


def area(*cells):
    return shapely.Polygon([place_of_cell(row, col) for row, col in cells])


ROADS = (line((2, 2), (2, 30), (20, 30)), line((25, 3), (5, 20)))
LAKE = area((10, 10), (10, 20), (20, 20), (20, 10))
RIVER = line((22, 22), (22, 37), (29, 37))
IN_ITS_BEND = (25, 34)  # between the river and the straight line from its spring to its mouth


def write_layer(folder, file, geometry, **columns):
    path = folder / file
    gpd.GeoDataFrame(columns, geometry=list(geometry), crs="EPSG:4326").to_file(path, driver="GPKG")
    return path


@pytest.mark.parametrize(
    ("geometry", "asked", "draw"),
    [
        (ROADS, {}, "road"),
        ([LAKE], {}, "boundary"),
        ([LAKE], {"draw": "water"}, "water"),
        ([LAKE.centroid], {}, "label"),
        ([LAKE], {"draw": "label", "label": "called"}, "label"),
    ],
)
def test_a_layer_is_drawn_as_asked_or_by_its_geometry(tmp_path, geometry, asked, draw):
    words = ["Ay", "Bee"][: len(geometry)]
    path = write_layer(tmp_path, "layer.gpkg", geometry, name=words, called=words)
    (found,), warnings = read_context([ContextLayer(file=path, **asked)])
    assert (found.draw, len(found.shapes), warnings) == (draw, len(geometry), ())
    assert found.label == (tuple(words) if draw == "label" else ())


@pytest.mark.parametrize(
    ("geometry", "asked", "columns", "said"),
    [
        ([LAKE.centroid], {"draw": "road"}, {"name": ["Ay"]}, "not one of 1 features can be drawn as road"),
        ([None], {}, {"name": ["Ay"]}, "not one of 1 features can be drawn"),
        ([LAKE.centroid], {}, {"code": ["Ay"]}, "labels need a column of words.*code"),
        ([LAKE.centroid], {"label": "nam"}, {"name": ["Ay"]}, "no such column"),
    ],
)
def test_a_layer_that_cannot_be_drawn_is_refused(tmp_path, geometry, asked, columns, said):
    path = write_layer(tmp_path, "layer.gpkg", geometry, **columns)
    with pytest.raises(InputError, match=said):
        read_context([ContextLayer(file=path, **asked)])


def test_features_that_do_not_fit_are_left_out_and_counted(tmp_path):
    path = write_layer(tmp_path, "mixed.gpkg", [*ROADS, LAKE], name=["a", "b", "c"])
    (found,), (warning,) = read_context([ContextLayer(file=path)])
    assert len(found.shapes) == 2
    assert "1 of 3 features cannot be drawn as road" in warning


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (
            {"base_map": "http://tiles.example.org/{z}/{x}/{y}.png", "base_map_credit": "x"},
            "one https address",
        ),
        ({"base_map": "https://tiles.example.org/{z}/{x}.png", "base_map_credit": "x"}, "one https address"),
        ({"base_map": "https://a b/{z}/{x}/{y}", "base_map_credit": "x"}, "one https address"),
        ({"base_map": "https://x;script-src/{z}/{x}/{y}", "base_map_credit": "x"}, "one https address"),
        ({"base_map": ADDRESS}, "Add base_map_credit"),
    ],
)
def test_an_address_that_is_no_base_map_is_refused(asked, said):
    with pytest.raises(ValidationError, match=said):
        MapSettings(**asked)


def unpacked(part):
    """Return the lines of packed bytes, (closed, places in pixels), read by the rule of its docstring."""
    values, found, index = part.view("<i4").astype(int).tolist(), [], 0
    while index < len(values):
        count = abs(values[index])
        steps = np.array(values[index + 1 : index + 1 + 2 * count]).reshape(-1, 2)
        found.append((values[index] < 0, np.cumsum(steps, axis=0) / STEPS_A_PX))
        index += 1 + 2 * count
    return found


def in_pixels(grid, row, col):
    shape = gpd.GeoSeries([shapely.Point(place_of_cell(row, col))], crs="EPSG:4326").to_crs("EPSG:3857")[0]
    return (shape.x - grid.x_min) / grid.pixel_m, (grid.y_max - shape.y) / grid.pixel_m


def test_lines_and_outlines_keep_their_places():
    grid = page_grid(GRID)
    shapes = gpd.GeoSeries([*ROADS, LAKE], crs="EPSG:4326")
    packed = packed_context([Context("water", shapes)], grid)
    lines = unpacked(packed.parts[0])
    assert [closed for closed, _ in lines] == [False, False, True]
    assert np.abs(lines[0][1][0] - in_pixels(grid, 2, 2)).max() <= 1.0 / STEPS_A_PX
    assert np.abs(lines[0][1][-1] - in_pixels(grid, 20, 30)).max() <= 1.0 / STEPS_A_PX
    assert len(lines[2][1]) == 4


def test_a_large_layer_is_thinned_until_it_fits(monkeypatch):
    random = np.random.default_rng(5)
    walk = np.cumsum(random.normal(0, 0.4, (4000, 2)), axis=0) % 25
    shapes = gpd.GeoSeries([line(*walk.tolist())], crs="EPSG:4326")
    whole = packed_context([Context("road", shapes)], page_grid(GRID)).parts[0].size
    monkeypatch.setattr(context_module, "MOST_BYTES", 4000)
    assert packed_context([Context("road", shapes)], page_grid(GRID)).parts[0].size < whole


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    shapes = [gpd.GeoSeries(list(ROADS), crs="EPSG:4326"), gpd.GeoSeries([LAKE, RIVER], crs="EPSG:4326")]
    label = gpd.GeoSeries([LAKE.centroid], crs="EPSG:4326")
    return write_page(
        tmp_path_factory.mktemp("context"),
        context=[
            Context("road", shapes[0]),
            Context("water", shapes[1]),
            Context("label", label, ("A <b>Mere</b>",)),
        ],
        customers=[Place("Moss & Son", *place_of_cell(12, 14))],
    )


IN_WATER = """
    const point = page.map.latLngToContainerPoint([arguments[0], arguments[1]]);
    const canvas = page.cells.canvas, density = canvas.width / page.map.getSize().x;
    return Array.from(canvas.getContext("2d").getImageData(point.x * density, point.y * density, 1, 1).data);
"""


@pytest.mark.browser
def test_the_page_draws_layers_under_a_tick_and_finds_customers(browser, case):
    load(browser, case)
    wait_for(browser, "surroundings.length === 2")
    longitude_deg, latitude_deg = place_of_cell(18, 12)

    def colour():
        browser.execute_script("page.cells.draw_now()")
        return browser.execute_script(IN_WATER, latitude_deg, longitude_deg)

    with_water = colour()
    browser.execute_script("page.ticks.context = false")
    without = colour()
    assert with_water[2] - with_water[0] > without[2] - without[0]  # bluer
    browser.execute_script("page.ticks.context = true; find_text('moss')")
    wait_for(browser, "page.chosen")
    row, col = browser.execute_script("return [page.chosen.row, page.chosen.col]")
    x, y = in_pixels(page_grid(GRID), 12, 14)
    assert (row, col) == (int(y), int(x))


@pytest.mark.browser
def test_a_river_is_drawn_as_a_line_and_not_filled(browser, case):
    load(browser, case)
    wait_for(browser, "surroundings.length === 2")
    colours = []
    for ticked in ("true", "false"):
        browser.execute_script(f"page.ticks.context = {ticked}; page.cells.draw_now()")
        longitude_deg, latitude_deg = place_of_cell(*IN_ITS_BEND)
        colours.append(browser.execute_script(IN_WATER, latitude_deg, longitude_deg))
    assert colours[0] == colours[1]


@pytest.mark.browser
def test_nothing_is_fetched_but_the_base_map_and_only_when_ticked(browser, case, tmp_path):
    assert "img-src data:;" in case[1].read_text("utf-8")
    settings = SimpleNamespace(
        map=MapSettings(base_map=ADDRESS, **BY_US), display=DisplaySettings(), prediction=PredictionSettings()
    )
    coverage, _ = write_page(tmp_path)
    from covermap.reports.web_map import write_map

    page = tmp_path / "with_base_map.html"
    grey = np.full(GRID.shape, 226, np.uint8)
    write_map(coverage, replace(make_scenario(), settings=settings), grey, None, page)
    assert re.findall(r"img-src [^;]*;", page.read_text("utf-8")) == [
        "img-src data: https://tiles.example.org;"
    ]
    load(browser, (coverage, page))
    shown = "return [document.querySelectorAll('img.leaflet-tile').length, document.body.className]"
    count, classes = browser.execute_script(shown)
    assert (count, "with_base_map" in classes) == (0, False)
    browser.execute_script("page.ticks.base_map = true; show_base_map()")
    wait_for(browser, "document.querySelectorAll('img.leaflet-tile').length > 0")
    sources = browser.execute_script(
        "return Array.from(document.querySelectorAll('img.leaflet-tile'), (one) => one.src)"
    )
    assert all(source.startswith("https://tiles.example.org/") for source in sources)
    assert (
        browser.execute_script("return find('.leaflet-control-attribution').textContent")
        == "Maps by <b>Us</b>"
    )
    browser.execute_script("page.ticks.base_map = false; show_base_map()")
    assert browser.execute_script(shown)[0] == 0
