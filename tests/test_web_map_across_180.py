"""The page of a map across 180 degrees, in a real browser: both sides are found, clicked and told rightly."""

import pytest
from test_across_180 import ACROSS
from web_map_browser import click_at, load, wait_for
from web_map_case import place_of_cell, write_page

pytestmark = pytest.mark.browser
EAST_OF_180, WEST_OF_180 = (12, 31), (12, 8)  # row, col


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("page"), grid=ACROSS)


@pytest.fixture
def page(browser, case):
    load(browser, case)
    return browser


def chosen(page):
    return wait_for(
        page, "find('#card').dataset.row && [find('#card').dataset.row, find('#card').dataset.col]"
    )


def find_text(page, text):
    page.execute_script("delete find('#card').dataset.row; find_text(arguments[0])", text)


@pytest.mark.parametrize("cell", [EAST_OF_180, WEST_OF_180])
@pytest.mark.parametrize("turns", [0, 360, -360])
def test_a_position_on_either_side_opens_its_square(page, cell, turns):
    longitude_deg, latitude_deg = place_of_cell(*cell, ACROSS)
    assert (longitude_deg < 0.0) == (cell == EAST_OF_180)
    if turns == 0:
        find_text(page, f"{latitude_deg:.6f}, {longitude_deg:.6f}")
    else:  # the same place on another copy of Leaflet's world, where a reader may have panned
        script = "delete find('#card').dataset.row; show_card(pixel_at(L.latLng(arguments[0], arguments[1])))"
        page.execute_script(script, latitude_deg, longitude_deg + turns)
    assert chosen(page) == [str(part) for part in cell]
    told = page.execute_script("return cell_under(page.chosen)")
    assert told["longitude_deg"] == pytest.approx(longitude_deg, abs=1e-3)
    link = page.execute_script("return location.hash")
    assert float(link.split(",")[1].split("/")[0]) == pytest.approx(longitude_deg, abs=1e-3)


@pytest.mark.parametrize("cell", [EAST_OF_180, WEST_OF_180])
def test_a_click_on_either_side_opens_the_square_under_it(page, cell):
    longitude_deg, latitude_deg = place_of_cell(*cell, ACROSS)
    script = """
        const point = screen_point({ latitude_deg: arguments[0], longitude_deg: arguments[1] });
        const box = page.map.getContainer().getBoundingClientRect();
        delete find('#card').dataset.row;
        return [box.left + point.x, box.top + point.y];
    """
    click_at(page, *page.execute_script(script, latitude_deg, longitude_deg))
    assert chosen(page) == [str(part) for part in cell]


def test_a_name_is_found_and_masts_stand_where_they_are(page):
    find_text(page, "near & far")
    assert chosen(page) == ["20", "20"]
    size = page.execute_script("const { x, y } = page.map.getSize(); return [x, y]")
    points = page.execute_script(
        "return page.facts.masts.map((mast) => screen_point(mast)).map(({ x, y }) => [x, y])"
    )
    # both stand within 6 km of the map's middle, at about 12 px a square of 100 m: no copy of the world away
    assert all(abs(x - size[0] / 2) < 2000 and abs(y - size[1] / 2) < 2000 for x, y in points)


def test_words_keep_to_180_degrees(page):
    find_text(page, "10, 20")
    said = wait_for(page, "find('.found').innerText").replace("\u00a0", " ")
    assert "179.98" in said
    assert "-179.98" in said
    assert "180.0" not in said
    page.execute_script("show_outside(L.latLng(-17, 180.5))")
    assert "179.5000 W" in wait_for(page, "find('#card').innerText").replace("\u00a0", " ")
