"""Find in a real browser without a network: names, every notation of a position, and what it cannot find."""

import pyproj
import pytest
from small_coverage import GRID
from web_map_browser import NARROW, WIDE, load, wait_for
from web_map_case import make_areas, place_of_cell, write_page

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
CELL = (12, 31)  # row, col of the square that the notations below mean


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("page"), areas=make_areas())


@pytest.fixture
def wide(browser, case):
    load(browser, case)
    return browser


def search(browser, text):
    """Type a text as a reader would and press Enter; return what stands under the box."""
    from selenium.webdriver.common.keys import Keys

    if not browser.find_element("css selector", "#find_text").is_displayed():
        browser.find_element("css selector", "#find_open").click()
    box = browser.find_element("css selector", "#find_text")
    box.clear()
    box.send_keys(text, Keys.ENTER)
    return found_text(browser)


def found_text(browser):
    return browser.execute_script("return find('.found').innerText").replace("\u00a0", " ")


def sexagesimal(degrees, letters):
    """Return degrees as people write degrees, minutes and seconds; 0.01 seconds is 0.3 m."""
    seconds = round(abs(degrees) * 3600, 2)
    whole, minutes = int(seconds // 3600), int(seconds % 3600 // 60)
    return f"{whole}\u00b0 {minutes}' {seconds % 60:.2f}\" {letters[degrees < 0]}"


def notations():
    longitude_deg, latitude_deg = place_of_cell(*CELL)
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", GRID.crs, always_xy=True)
    easting_m, northing_m = to_grid.transform(longitude_deg, latitude_deg)
    north, west = abs(latitude_deg), abs(longitude_deg)
    return {
        "decimal": f"{latitude_deg:.5f}, {longitude_deg:.5f}",
        "space": f"{latitude_deg:.5f} {longitude_deg:.5f}",
        "letters": f"{west:.5f} W, {north:.5f} N",
        "minutes": f"{int(north)} {north % 1 * 60:.4f} N, {int(west)} {west % 1 * 60:.4f} W",
        "seconds": f"{sexagesimal(latitude_deg, 'NS')} {sexagesimal(longitude_deg, 'EW')}",
        "letters in front": f"N{north:.5f} W{west:.5f}",
        "decimal commas": f"{latitude_deg:.5f} {longitude_deg:.5f}".replace(".", ","),
        "commas everywhere": f"{latitude_deg:.5f}, {longitude_deg:.5f}".replace(".", ","),
        "longitude first": f"{longitude_deg:.5f}, {latitude_deg:.5f}",
        "metres": f"{easting_m:.1f} {northing_m:.1f}",
        "metres with letters": f"{northing_m:.0f} N, {easting_m:.0f} E",
        "metres with units": f"{easting_m:.0f} m E, {northing_m:.0f} m N",
    }


@SIZES
@pytest.mark.parametrize("notation", list(notations()))
def test_every_notation_of_a_position_opens_its_square(browser, case, size, notation):
    load(browser, case, size)
    search(browser, notations()[notation])
    row, col = CELL
    assert wait_for(
        browser, f"find('#card').dataset.row === '{row}' && find('#card').dataset.col === '{col}'"
    )
    longitude_deg, latitude_deg = place_of_cell(*CELL)
    taken = wait_for(browser, "find('.found').innerText")
    assert taken.startswith("Taken as ")  # and told back, so that a swapped or misread one is seen
    if notation == "longitude first":
        assert "longitude stood first" in taken
    numbers = [float(part.split()[0]) for part in taken.removeprefix("Taken as ").split(", ")]
    assert numbers == pytest.approx([abs(latitude_deg), abs(longitude_deg)], abs=1e-3)


def test_names_of_places_neighbourhoods_masts_and_stations_are_found(wide):
    search(wide, "near &")
    assert wait_for(wide, "find('#card').dataset.row === '20' && find('#card').dataset.col === '20'")
    search(wide, "middle")
    assert wait_for(wide, "find('#card').dataset.col >= 12 && find('#card').dataset.col < 24")
    # both masts stand beside the map, and so do their stations
    assert search(wide, "gamma") == "Gamma, C, 4.1, RF 16, Crown {{ 7 * 7 }} is outside the map."
    # the card of the place before would be taken for it
    assert not wide.execute_script("return document.body.classList.contains('with_card')")
    assert search(wide, "long") == "Long <i>Rigg</i>, mast is outside the map."


@pytest.mark.parametrize(
    ("text", "found"),
    [("RF 15", ["Beta <b>Bold</b>"]), ("rf16", ["Gamma"]), ("4.1", ["Alpha", "Beta <b>Bold</b>", "Gamma"])],
)
def test_channels_find_their_stations(wide, text, found):
    names = wide.execute_script("return things_called(arguments[0]).map(({name}) => name)", text)
    assert names == found


def test_typing_suggests_and_clears_what_was_said(wide):
    assert search(wide, "nowhere at all").startswith("Nothing on this map")
    box = wide.find_element("css selector", "#find_text")
    box.clear()
    box.send_keys("we")
    assert found_text(wide).splitlines() == ["Wester <b>Ward</b>, neighbourhood"]
    box.send_keys("xyz")
    assert found_text(wide) == ""


def test_several_of_a_name_are_offered_by_buttons(wide):
    text = search(wide, "er")  # Wester <b>Ward</b>, Easter
    assert sorted(text.splitlines()) == ["Easter, neighbourhood", "Wester <b>Ward</b>, neighbourhood"]
    wide.execute_script("find('.found button').click()")
    assert wait_for(wide, "find('#card').dataset.row")
    assert found_text(wide) == ""


@SIZES
@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("<b>no</b>", "Nothing on this map is called \u201c<b>no</b>\u201d. Try a place, a station,"),
        ("10, 20", "Taken as 10.0000 N, 20.0000 E. That position is outside the map, which reaches from"),
        ("95, 10", "No latitude is 95\u00b0: latitude comes first"),
        ("10, 190", "No longitude is 190\u00b0: it goes from -180\u00b0 to 180\u00b0"),
        ("44 61 N, 36 0 W", "Minutes and seconds go up to 59.999\u2026"),
        ("44 7 22 9, 36 1", "\u201c44 7 22 9, 36 1\u201d is no position this map can read."),
        ("44.1", "\u201c44.1\u201d is no position this map can read."),
        ("300000 100", "Easting 300,000 m, northing 100 m is outside the map, which reaches from 259,000 to"),
        (" ", "Type a place, a station, or a position such as 44.0, -36.0."),
    ],
)  # fmt: skip
def test_what_is_not_found_has_its_own_sentence(browser, case, size, text, sentence):
    load(browser, case, size)
    assert search(browser, text).startswith(sentence)
    assert browser.execute_script("return find('#card').innerText") == ""
    # and it can be read: the sentence is on the screen and not under something else
    assert browser.execute_script(
        "const box = find('.found p').getBoundingClientRect();"
        "return find('.found').contains(document.elementFromPoint(box.left + 10, box.top + 10))"
    )


def test_outside_in_metres_names_the_projection(wide):
    text = search(wide, "1000000 2000000")
    assert "4,873,000 to 4,876,000 m north in WGS 84 / UTM zone 25N." in text


def test_narrow_screen_opens_the_box_and_escape_closes_it(browser, case):
    from selenium.webdriver.common.keys import Keys

    load(browser, case, NARROW)
    box = browser.find_element("css selector", "#find_text")
    assert not box.is_displayed()
    browser.find_element("css selector", "#find_open").click()
    assert box.is_displayed()
    assert browser.execute_script("return document.activeElement.id") == "find_text"
    box.send_keys(Keys.ESCAPE)
    assert not box.is_displayed()
    assert browser.execute_script("return document.activeElement.id") == "find_open"
