"""The page in a real browser: it loads by itself, reads cells as the rasters do, and fits its screens."""

import json
import time

import numpy as np
import pyproj
import pytest
from small_coverage import GRID
from web_map_browser import NARROW, WIDE, click_cell, known_cell, load, open_browser, wait_for
from web_map_case import place_of_cell, write_page

from covermap.wording import words
from covermap.wording.language import speaking

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("page"))


@pytest.fixture
def wide(browser, case):
    load(browser, case)
    return browser


@pytest.fixture
def narrow(browser, case):
    load(browser, case, NARROW)
    return browser


def test_page_loads_without_error_or_request(browser, case):
    browser.get("about:blank")
    for log in ("browser", "performance"):
        browser.get_log(log)  # empties it: the browser's own start page has requests of its own
    load(browser, case)
    for shows in ("sure", "signal", "tier"):
        browser.execute_async_script("choose_shows(arguments[0]); setTimeout(arguments[1], 200)", shows)
    click_cell(browser, *known_cell(case[0], 5))
    assert [entry for entry in browser.get_log("browser") if entry["level"] in {"SEVERE", "WARNING"}] == []
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [
        event["params"]["request"]["url"]
        for event in events
        if event["method"] == "Network.requestWillBeSent"
    ]
    assert asked  # the page itself is in the log, so the log works
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []


@pytest.mark.parametrize("tier", [1, 3, 5, 8])
def test_card_reads_as_the_raster(wide, case, tier):
    coverage, _ = case
    row, col = known_cell(coverage, tier)
    longitude_deg, latitude_deg = place_of_cell(row, col)
    text = click_cell(wide, row, col).replace("\u00a0", " ")
    cell = coverage.at(latitude_deg, longitude_deg)["main"]
    card = wide.execute_script("return {...find('#card').dataset}")
    assert (int(card["row"]), int(card["col"]), int(card["tier"])) == (row, col, cell["tier"])
    assert words.chance_text(cell["chance_percent"]) in text
    assert f"Aim {cell['aim_deg_true']}°" in text
    for station in ("alpha-1", "beta-1", "gamma-1"):
        field = coverage.read(f"field/{station}")[row, col]
        assert f"{int(np.floor(field + 0.5))} dBµV/m" in text
    assert "your site can differ by 10 dB either way." in text
    assert all(caution in text for caution in coverage.run["cautions"])
    if 1 < tier < 8:
        kept = coverage.read("main/service_chance_one_lower")[:, row, col] >= 90
        names = [name for name, keeps in zip(coverage.services("main"), kept, strict=True) if keeps]
        if not names:
            assert "none of them would arrive at 90 %." in text
        elif len(names) < 3:
            assert f"{words.join(names)} would still arrive at 90 %, each alone." in text
        else:
            assert "each of all three alone is 90 % sure or better; all three together: " in text


def test_every_cell_can_be_reached_and_reads_its_own_values(wide, case):
    coverage, _ = case
    longitude_deg, latitude_deg = GRID.centres_lonlat(next(GRID.tiles(4096)))
    places = np.stack([latitude_deg.ravel(), longitude_deg.ravel()], axis=1).tolist()
    script = """
        const [places, done] = arguments;
        layer("main/tier").then((tier) => done(places.map((place) => {
            const pixel = pixel_at(L.latLng(place));
            const cell = cell_under(pixel);
            return [tier[pixel_index(pixel)], cell.row, cell.col, cell.latitude_deg, cell.longitude_deg];
        })));
    """
    found = np.array(wide.execute_async_script(script, places))
    row, col = np.indices(GRID.shape)
    assert np.array_equal(found[:, 0], coverage.read("main/tier").ravel())
    assert np.array_equal(found[:, 1:3], np.stack([row.ravel(), col.ravel()], axis=1))
    # The tables with which the page finds a cell's centre: within 1e-5 degrees (about 1 m).
    assert np.allclose(found[:, 3:], places, rtol=0, atol=1e-5)


def test_bearings_and_distances_are_those_of_the_ellipsoid(wide):
    # Outside judge: PROJ's geodesic (C. F. F. Karney, Journal of Geodesy 87, 2013) on WGS 84.
    places = [
        (44.0, -36.0, 44.3, -35.2),
        (69.0, 25.0, 70.5, 31.0),
        (-33.0, 151.0, -33.0, 149.0),
        (10, 20, 9, 20),
    ]
    for latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg in places:
        azimuth_deg, _, distance_m = pyproj.Geod(ellps="WGS84").inv(
            longitude_deg, latitude_deg, to_longitude_deg, to_latitude_deg
        )
        found = wide.execute_script(
            "const [a, b, c, d] = arguments;"
            "return geodesic({latitude_deg: a, longitude_deg: b}, {latitude_deg: c, longitude_deg: d})",
            latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg,
        )  # fmt: skip
        assert abs((found["azimuth_deg"] - azimuth_deg + 180) % 360 - 180) < 1e-6
        assert found["distance_km"] == pytest.approx(distance_m / 1000, abs=1e-5)


def test_numbers_are_worded_as_in_python(wide):
    percents = list(range(101))
    assert wide.execute_script("return arguments[0].map(chance_in_words)", percents) == [
        words.chance_in_words(percent) for percent in percents
    ]
    numbers = wide.execute_script("return arguments[0].map(chance_number)", percents)
    assert [number.replace("\u00a0", " ") for number in numbers] == [
        words.chance_number(percent) for percent in percents
    ]
    counts = [0, 1, 4.9, 5, 44.5, 99.4, 99.9, 104, 105, 4849, 1_250_000]
    assert wide.execute_script("return arguments[0].map(homes_number)", counts) == [
        words.homes_number(count) for count in counts
    ]
    lengths = [0.04, 3.25, 9.94, 9.96, 12.5, 1234.4]
    assert wide.execute_script("return arguments[0].map(distance_text)", lengths) == [
        words.distance(length) for length in lengths
    ]


def test_markup_and_braces_in_names_stay_text(wide, case):
    text = click_cell(wide, *known_cell(case[0], 5))
    assert "Beta <b>Bold</b>" in text
    assert "Crown {{ 7 * 7 }}" in text
    assert wide.find_element("css selector", "#bar h1").text == "Small <i>Isle</i>, main"
    italics = wide.execute_script("return [...document.querySelectorAll('#sheet i')].map(e => e.textContent)")
    assert not {"Isle", "Rigg"} & set(italics)


@pytest.mark.parametrize(
    "text",
    [
        "44.123, -36.234",
        "44.123 -36.234",
        "44 7.38 N, 36 14.04 W",  # 7.38 / 60 = 0.123, 14.04 / 60 = 0.234
        "44\u00b0 7' 22.8\" N 36\u00b0 14' 2.4\" W",  # 22.8 s = 0.38 min, 2.4 s = 0.04 min
        "36.234 W, 44.123 N",
    ],
)
def test_positions_are_understood_as_people_write_them(wide, text):
    found = wide.execute_script("return position_of(arguments[0])", text)
    assert found["latitude_deg"] == pytest.approx(44.123, abs=1e-9)
    assert found["longitude_deg"] == pytest.approx(-36.234, abs=1e-9)


@pytest.mark.parametrize("text", ["44.1", "Alpha", "1, 2, 3", "RF 21", "44 7 22 9, 36 1"])
def test_other_texts_are_no_position(wide, text):
    assert wide.execute_script("return position_of(arguments[0])", text) is None


def test_thinned_station_values_are_read_from_their_block(wide):
    # 3 x 3 blocks over 7 columns are 3 blocks a row: pixel (4, 6) lies in block row 1, block column 2.
    script = "page.facts.station_step = 3; page.facts.grid.cols = 7;"
    script += "return [index_in('field/x', {row: 4, col: 6}), index_in('main/tier', {row: 4, col: 6})]"
    assert wide.execute_script(script) == [1 * 3 + 2, 4 * 7 + 6]


def test_unknown_cell_says_so(wide):
    text = click_cell(wide, 1, 1)
    assert "Unknown" in text
    assert "Aim" not in text


def test_other_list_shows_its_own_tier(wide, case):
    coverage, _ = case
    difference = coverage.read("main/tier") != coverage.read("few/tier")
    row, col = (int(part[0]) for part in np.nonzero(difference))
    click_cell(wide, row, col)
    wide.execute_script("choose_list(page.facts.lists[1])")
    expected = int(coverage.read("few/tier")[row, col])
    assert wait_for(wide, f"Number(find('#card').dataset.tier) === {expected}")
    assert "Beta" not in wide.execute_script("return find('.stations_part').innerText")


def painted_at(browser, row, col):
    """Return the colour of the map's canvas at a cell's centre, with everything but the cells off."""
    longitude_deg, latitude_deg = place_of_cell(row, col)
    script = """
        const [latitude, longitude, done] = arguments;
        page.ticks = {numbers: false, masts: false, places: false, edges: false, fade: false};
        page.map.setView([latitude, longitude], zoom_for(16), {animate: false});
        renew_picture().then(() => {
            page.cells.draw_now();
            const point = page.map.latLngToContainerPoint([latitude, longitude]);
            done([...page.cells.canvas.getContext("2d").getImageData(point.x, point.y, 1, 1).data]);
        });
    """
    return browser.execute_async_script(script, latitude_deg, longitude_deg)


def test_cells_are_painted_as_the_legend_and_a_tick_hides_them(wide, case):
    row, col = known_cell(case[0], 2)
    # #EFC17C at 80 % over grey 226: 0.8 x (239, 193, 124) + 0.2 x 226
    assert painted_at(wide, row, col) == [236, 200, 144, 255]
    square = wide.execute_script("return getComputedStyle(find('.square.tier_2')).backgroundColor")
    assert square == "rgb(236, 200, 144)"
    wide.execute_script("document.querySelectorAll('#legend input')[1].click()")
    assert painted_at(wide, row, col) == [226, 226, 226, 255]


def test_squares_are_never_wider_than_48_px(wide):
    for _ in range(30):
        wide.execute_script("zoom_by_step(1)")
    assert wide.execute_script("return cell_px_at(page.map.getZoom())") == pytest.approx(48.0)


def test_keys_read_the_centre_and_close_the_card(wide):
    from selenium.webdriver.common.keys import Keys

    holder = wide.find_element("css selector", ".folium-map")
    wide.execute_script("page.map.setView(place_of(10.5, 15.5), zoom_for(20), {animate: false})")
    holder.send_keys(Keys.ENTER)
    assert wait_for(wide, "page.chosen && [page.chosen.row, page.chosen.col]") == [10, 15]
    before = wide.execute_script("return page.map.getCenter()")
    holder.send_keys(Keys.ARROW_RIGHT)
    after = wide.execute_script("return page.map.getCenter()")
    assert after["lng"] > before["lng"]
    holder.send_keys(Keys.ESCAPE)
    assert wide.execute_script("return page.chosen === null && find('#card').innerText === ''")


@pytest.mark.parametrize("size", [NARROW, WIDE])
def test_nothing_runs_over_and_targets_are_large(browser, case, size):
    load(browser, case, size)
    click_cell(browser, *known_cell(case[0], 6))
    browser.execute_script("for (const part of document.querySelectorAll('details')) part.open = true")
    time.sleep(0.3)  # the sheet's own movement
    sizes = browser.execute_script(
        "const sheet = find('#sheet');"
        "return [document.documentElement.scrollWidth - innerWidth, sheet.scrollWidth - sheet.clientWidth]"
    )
    assert sizes == [0, 0]
    low = browser.execute_script(
        "return [...document.querySelectorAll('button, summary, label, select')]"
        ".filter(e => e.id !== 'grip' && e.offsetParent).filter(e => e.getBoundingClientRect().height < 47.5)"
        ".map(e => e.outerHTML)"
    )
    assert low == []


def test_wide_screen_has_a_right_column(wide):
    bar, sheet = (
        wide.execute_script("return find(arguments[0]).getBoundingClientRect().toJSON()", selector)
        for selector in ("#bar", "#sheet")
    )
    assert (bar["left"], bar["width"], bar["top"]) == (900, 380, 0)
    assert (sheet["left"], sheet["width"], sheet["bottom"]) == (900, 380, 800)
    assert sheet["top"] == pytest.approx(bar["bottom"])


def test_sheet_opens_in_the_middle_and_steps(narrow):
    height = "find('#sheet').getBoundingClientRect().height"
    opened = narrow.execute_script(f"return {height}")
    assert 276 <= opened <= 370
    # the sheet grows to its height in 0.18 s, so the ladder is asked for until it stands
    assert wait_for(narrow, "find('#ladder').getBoundingClientRect().bottom <= 740")
    narrow.execute_script("step_sheet()")
    assert wait_for(narrow, f"Math.abs({height} - (740 - 104)) < 1")
    narrow.execute_script("step_sheet()")
    assert wait_for(narrow, f"Math.abs({height} - 96) < 1")


@pytest.mark.parametrize("mode", ["sure", "decides", "cause", "signal", "tier"])
def test_the_key_of_a_mode_leaves_the_middle_of_a_narrow_map_free(narrow, mode):
    narrow.execute_script(f"choose_shows('{mode}')")
    assert wait_for(narrow, "find('#ladder').getBoundingClientRect().bottom <= 740")
    top = narrow.execute_script("return 740 - find('#sheet').getBoundingClientRect().height")
    assert top > 48 + (740 - 48) / 2  # of the screen, under a bar of 48 px
    narrow.execute_script("choose_shows('tier')")


def test_card_on_a_narrow_screen_leaves_the_square_in_sight(narrow, case):
    click_cell(narrow, *known_cell(case[0], 5))
    assert wait_for(narrow, "Math.abs(find('#sheet').getBoundingClientRect().height - 0.55 * 740) < 1")
    y = narrow.execute_script(
        "const {row, col} = page.chosen;"
        "return page.map.latLngToContainerPoint(place_of(row + 0.5, col + 0.5)).y"
        " + page.map.getContainer().getBoundingClientRect().top"
    )
    assert 48 < y < 740 * 0.45


def test_without_scripts_the_picture_and_the_cautions_stand(tmp_path, case):
    coverage, path = case
    browser = open_browser(tmp_path / "profile", WIDE, scripts=False)
    try:
        browser.get(path.as_uri())
        picture = browser.find_element("css selector", "#still img")
        assert picture.is_displayed()
        assert picture.size["width"] > 200
        text = browser.find_element("css selector", "body").text
        assert all(caution in text for caution in coverage.run["cautions"])
        assert not browser.find_element("css selector", "#sheet").is_displayed()
    finally:
        browser.quit()


def test_result_without_homes_gives_shares_of_land(browser, tmp_path):
    load(browser, write_page(tmp_path, homes=False))
    text = browser.execute_script("return find('#three').innerText + find('#legend').innerText").replace(
        "\u00a0", " "
    )
    assert "of the land without a prediction" in text
    assert "Share of land" in text
    assert "homes" not in text
    assert "2 %" in text  # 24 of 1,200 cells are unknown


@pytest.mark.parametrize(
    ("language", "words"),
    [
        ("en", ("made in parts", "My antenna", "stock by antenna", "16,777,216 squares")),
        ("de", ("entsteht in Teilen", "Meine Antenne", "Vorrat nach Antennen", "16.777.216 Quadraten")),
    ],
)
def test_the_page_of_a_map_in_parts_says_what_it_lacks(browser, tmp_path, language, words):
    with speaking(language):
        case = write_page(tmp_path, largest_whole=4096**2)
    load(browser, case)
    told = browser.execute_script("return find('#lists').textContent")
    assert all(one in told for one in words), told
    assert browser.execute_script("return page.facts.own_list === null && !has_antennas()")


def test_the_page_of_another_map_does_not(wide):
    assert "in parts" not in wide.execute_script("return find('#lists').textContent")
