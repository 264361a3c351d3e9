"""What the map shows, and lists of the reader's own, in a real browser."""

import tomllib

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy import ndimage
from small_coverage import GRID
from web_map_browser import NARROW, WIDE, click_cell, load, wait_for
from web_map_case import CAUSES, make_areas, make_scenario, make_zones, place_of_cell, write_page
from web_map_levels import make_levels

from covermap.reports.web_map import layers, page_grid
from covermap.reports.web_map.estimate import quick_estimate
from covermap.reports.web_map.page_estimate import page_estimate

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])


def make_ridges():
    places = [shapely.Point(GRID.x_min + 1000.0 * step, GRID.y_max - 900.0) for step in (1, 2)]
    names = {"ridge_id": ["main-1", "main-2"], "service": ["Alpha", "Gamma"]}
    return gpd.GeoDataFrame(
        {**names, "above_line_m": [42.4, 7.0], "homes_shaded": [120.0, 2.0]}, geometry=places, crs=GRID.crs
    )


def write_case(folder):
    more = {"areas": make_areas(), "zones": make_zones(), "ridges": make_ridges(), "levels": make_levels()}
    return write_page(folder, optional=True, **more)


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_case(tmp_path_factory.mktemp("modes"))


@pytest.fixture
def wide(browser, case):
    load(browser, case)
    return browser


def expected_tiers(browser, services, step=1):
    """Return what Python makes of the page's whole-dB values for services by number, a value a block."""
    masts = browser.execute_script("return page.facts.masts")
    grid = page_grid.page_grid(GRID)
    estimate = page_estimate(make_levels(), make_scenario())
    figures, rules = estimate.numbers(grid, masts)
    return quick_estimate(estimate.page_levels(grid, step), estimate.ticked(services), figures, rules)


def tick(browser, number):
    """Click the tick of a service in the section of the wanted stations, as a person would."""
    browser.execute_script("find('#lists_part').open = true")
    boxes = browser.find_elements("css selector", "#lists input[type=checkbox]")
    browser.execute_script("arguments[0].click()", boxes[number])


def estimated(browser):
    """Return the classes of the page's estimate, one a pixel."""
    wait_for(browser, "page.estimate && page.estimate.tier")
    found = browser.execute_script("return [...page.estimate.tier]")
    return np.array(found, np.uint8).reshape(page_grid.page_grid(GRID).shape)


def inside(values):
    """Return a page's pixels without those outside the map."""
    return values[page_grid.page_grid(GRID).cell >= 0]


# ---- lists of the reader's own


@SIZES
def test_unticked_station_changes_classes_as_python_says(browser, case, size):
    load(browser, case, size)
    tick(browser, 0)
    assert np.array_equal(inside(estimated(browser)), inside(expected_tiers(browser, [1, 2])))
    tick(browser, 2)
    wait_for(browser, "page.estimate.tier && page.ticked.size === 1")
    assert np.array_equal(inside(estimated(browser)), inside(expected_tiers(browser, [1])))
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


@pytest.mark.parametrize("services", [[0], [1], [0, 1], [0, 1, 2]])
def test_every_list_gives_the_same_classes_in_page_and_python(wide, services):
    # work_out() is asked itself: the list of all three is the run's own and would be shown exactly.
    wide.execute_async_script(
        "const [numbers, done] = arguments; page.ticked = new Set(numbers); work_out(page.ticked).then(done)",
        services,
    )
    found = inside(estimated(wide))
    assert np.array_equal(found, inside(expected_tiers(wide, services)))
    assert len(set(found.tolist())) >= 4  # the levels are such that the classes differ


def test_estimate_says_what_it_is_and_what_it_leaves_out(wide):
    tick(wide, 0)
    estimated(wide)
    for place in ("#three", "#lists", "#legend"):
        assert wide.find_element("css selector", f"{place} .badge").text == "quick estimate"
    said = wide.execute_script("return find('#lists .estimate').innerText + find('#three').innerText")
    for words in ("interference", "overload", "second antennas", "whole dB"):
        assert words in said
    text = click_cell(wide, 20, 20)
    tier = expected_tiers(wide, [1, 2])[page_grid.page_grid(GRID).cell == 20 * GRID.cols + 20][0]
    name = wide.execute_script("return tier_facts(arguments[0]).name", int(tier))
    assert f"{tier} {name}" in text
    assert "exact and of the run's list main" in text


def test_run_list_is_exact_again_when_its_ticks_are(wide, case):
    coverage, _ = case
    tick(wide, 0)
    estimated(wide)
    boxes = wide.find_elements("css selector", "#lists input[type=checkbox]")
    assert [box.is_selected() for box in boxes] == [False, True, True]
    tick(wide, 0)
    wait_for(wide, "page.estimate === null && picture.tier")
    assert wide.execute_script("return page.list.name") == "main"
    assert wide.find_elements("css selector", ".badge") == []
    shown = wide.execute_async_script("renew_picture().then(() => arguments[0]([...picture.tier]))")
    grid = page_grid.page_grid(GRID)
    exact = grid.spread(coverage.read("main/tier"), 254)
    assert np.array_equal(np.array(shown, np.uint8).reshape(grid.shape), exact)


def test_ticks_of_another_run_list_show_that_list(wide, case):
    coverage, _ = case
    tick(wide, 1)  # Alpha and Gamma are left: the run's list few, whose own raster is shown, not an estimate
    wait_for(wide, "page.list.name === 'few'")
    assert wide.execute_script("return page.estimate") is None
    shown = wide.execute_async_script("renew_picture().then(() => arguments[0]([...picture.tier]))")
    exact = page_grid.page_grid(GRID).spread(coverage.read("few/tier"), 254)
    assert np.array_equal(np.array(shown, np.uint8).reshape(exact.shape), exact)


def test_scenario_text_is_toml_with_the_ticked_services(wide):
    wide.execute_async_script("tick_service(0, false); setTimeout(arguments[0], 300)")
    estimated(wide)
    wide.execute_script("find('#lists_part').open = true; find('#lists .actions button').click()")
    text = wait_for(wide, "find('#lists .handed textarea') && find('#lists .handed textarea').value")
    assert tomllib.loads(text) == {"wanted": {"mine": {"services": ["Beta <b>Bold</b>", "Gamma"]}}}


def test_homes_by_estimated_class_count_each_square_once(wide, case):
    coverage, _ = case
    tick(wide, 0)
    estimated(wide)
    tier = expected_tiers(wide, [1, 2])
    grid = page_grid.page_grid(GRID)
    longitude_deg, latitude_deg = GRID.centres_lonlat(next(GRID.tiles(4096)))
    pixels = wide.execute_script(
        "return arguments[0].map((place) => pixel_index(pixel_at(L.latLng(place))))",
        np.stack([latitude_deg.ravel(), longitude_deg.ravel()], axis=1).tolist(),
    )
    homes = np.nan_to_num(coverage.read("homes").ravel())
    of_cell = tier.ravel()[np.array(pixels)]
    found = wide.execute_script("return page.estimate.homes")
    expected = [homes[of_cell == number].sum() for number in range(1, 9)]
    assert found["by_tier"] == pytest.approx(expected, abs=0.05 * homes.astype(bool).sum())
    assert found["unknown"] == pytest.approx(homes[of_cell == 255].sum(), abs=1.0)
    assert grid.shape == tier.shape


def test_no_tick_asks_for_one(wide):
    for number in range(3):
        wide.execute_async_script("tick_service(arguments[0], false); setTimeout(arguments[1], 300)", number)
    assert "Tick at least one service." in wide.execute_script("return find('#three').innerText")
    assert wide.execute_script("return page.estimate.tier === undefined")


def test_thinned_levels_give_the_same_classes_in_page_and_python(browser, tmp_path, monkeypatch):
    monkeypatch.setattr(layers, "MOST_STATION_VALUES", 1500)  # 33 x 43 pixels of 3 stations: blocks of 2
    thinned = write_case(tmp_path)
    load(browser, thinned)
    assert browser.execute_script("return page.facts.station_step") == 2
    tick(browser, 0)
    found = estimated(browser)
    blocks = expected_tiers(browser, [1, 2], step=2)
    spread = blocks.repeat(2, axis=0).repeat(2, axis=1)[: found.shape[0], : found.shape[1]]
    assert np.array_equal(inside(found), inside(spread))
    assert "One value stands for 2 × 2 squares." in browser.execute_script(
        "return find('#lists').textContent"
    )


def test_page_without_levels_has_no_ticks(browser, tmp_path):
    load(browser, write_page(tmp_path))
    assert browser.find_elements("css selector", "#lists input[type=checkbox]") == []
    assert "Beta <b>Bold</b>" in browser.execute_script("return find('#lists').textContent")


# ---- modes


def choose(browser, mode):
    script = "choose_shows(arguments[0]); renew_picture().then(() => arguments[1]())"
    browser.execute_async_script(script, mode)
    browser.execute_script("page.cells.draw_now()")


@SIZES
def test_every_mode_is_shown_with_its_key_and_no_error(browser, case, size):
    load(browser, case, size)
    for mode in ("sure", "decides", "cause", "signal"):
        browser.execute_script("find('#shows_part').open = true")
        choose(browser, mode)
        assert browser.find_elements("css selector", "#shows .key li")
        drawn = browser.execute_script("return page.cells.canvas.width")
        assert drawn > 0
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_deciding_station_is_the_commonest_of_seven_by_seven(wide, case):
    coverage, _ = case
    choose(wide, "decides")
    grid = page_grid.page_grid(GRID)
    found = np.array(wide.execute_script("return [...picture.shown]"), np.uint8).reshape(grid.shape)
    kind = grid.spread(coverage.read("main/deciding_service"), 255)
    tier = grid.spread(coverage.read("main/tier"), 254)
    known = tier <= 8
    counts = np.stack(
        [
            ndimage.convolve(((kind == value) & known).astype(int), np.ones((7, 7)), mode="constant")
            for value in range(3)
        ]
    )
    assert np.array_equal(found[known], counts.argmax(axis=0)[known])
    assert set(found[~known]) == {255}
    keys = wide.execute_script(
        "return [...document.querySelectorAll('#shows .key li')].map(e => e.textContent)"
    )
    assert keys == ["AAlpha", "BBeta <b>Bold</b>", "CGamma"]


def test_causes_are_named_in_words(wide):
    choose(wide, "cause")
    keys = wide.execute_script(
        "return [...document.querySelectorAll('#shows .key li b')].map(e => e.textContent)"
    )
    assert keys == ["hills", "distance", "noise"]
    assert len(keys) == len(CAUSES)


def test_mode_without_its_layer_is_not_offered(browser, tmp_path):
    load(browser, write_page(tmp_path))
    offered = browser.execute_script(
        "return [...find('#shows').querySelectorAll('label')].map(e => e.textContent)"
    )
    assert "Which station decides" in offered
    assert "Why it is hard" not in offered
    assert not any("Ridges" in words for words in offered)


def painted(browser, row, col, cell_px=16):
    """Return the colour of the map's canvas at the middle of a cell."""
    longitude_deg, latitude_deg = place_of_cell(row, col)
    script = """
        const [latitude, longitude, cell_px, done] = arguments;
        Object.assign(page.ticks, {numbers: false, masts: false, places: false, edges: false, ridges: false});
        page.map.setView([latitude, longitude], zoom_for(cell_px), {animate: false});
        renew_picture().then(() => {
            page.cells.draw_now();
            const point = page.map.latLngToContainerPoint([latitude, longitude]);
            const context = page.cells.canvas.getContext("2d");
            done([...context.getImageData(point.x, point.y, 1, 1).data].slice(0, 3));
        });
    """
    return browser.execute_async_script(script, latitude_deg, longitude_deg, cell_px)


def over_relief(colour, opacity):
    """Return a colour laid over flat relief, grey 226."""
    parts = [int(colour[start : start + 2], 16) for start in (1, 3, 5)]
    return [int(part * opacity + 226 * (1 - opacity) + 0.5) for part in parts]


def test_sure_starts_with_tier_five_and_follows_the_choice(wide, case):
    coverage, _ = case
    chance = coverage.read("main/tier_chance")
    fills = wide.execute_script("return page.facts.sure_steps.map(({lowest, fill}) => [lowest, fill])")
    choose(wide, "sure")
    for tier in (5, 2):
        wide.execute_script("page.sure_tier = arguments[0]", tier)
        for row, col in ((28, 30), (12, 20), (9, 9)):
            fill = next(fill for lowest, fill in fills if chance[tier - 1, row, col] >= lowest)
            assert painted(wide, row, col) == over_relief(fill, 0.8)


def test_faded_squares_without_homes_are_painted_at_12_percent(wide, case):
    coverage, _ = case
    homes, tier = coverage.read("homes"), coverage.read("main/tier")
    row, col = next(zip(*np.nonzero((homes == 0) & (tier < 8)), strict=True))
    fill = wide.execute_script("return page.facts.tiers[arguments[0] - 1].fill", int(tier[row, col]))
    assert painted(wide, int(row), int(col)) == over_relief(fill, 0.8)
    wide.execute_script("page.ticks.fade = true")
    assert painted(wide, int(row), int(col)) == over_relief(fill, 0.12)


def test_dead_zones_only_keeps_just_their_squares(wide, case):
    coverage, _ = case
    chance, tier = coverage.read("main/dead_zone_chance"), coverage.read("main/tier")
    dead = next(zip(*np.nonzero((chance < 50) & (tier < 8)), strict=True), None)
    other = next(zip(*np.nonzero((chance >= 50) & (chance < 255) & (tier < 8)), strict=True))
    wide.execute_script("page.ticks.zones = true")
    # a veil of #FBF9F5 at 65 %
    assert painted(wide, *map(int, other)) == over_relief("#FBF9F5", 0.65)
    zone = wide.execute_async_script("layer('main/zone').then((bytes) => arguments[0]([...bytes]))")
    grid = page_grid.page_grid(GRID)
    expected = grid.spread(np.where(chance < 10, 1, np.where(chance < 50, 2, 0)).astype(np.uint8), 0)
    assert np.array_equal(np.array(zone).reshape(grid.shape), expected)
    if dead is not None:
        fill = wide.execute_script("return page.facts.tiers[arguments[0] - 1].fill", int(tier[dead]))
        assert painted(wide, *map(int, dead)) == over_relief(fill, 0.8)


# ---- neighbourhoods


def test_far_out_the_map_shows_neighbourhoods_and_close_in_squares(wide, case):
    coverage, _ = case
    tiers = wide.execute_script("return page.facts.tiers.map(({fill}) => fill)")
    wide.execute_script("page.map.setMinZoom(0)")

    def shows_squares(cell_px):
        script = "page.map.setZoom(zoom_for(arguments[0])); page.cells.draw_now();"
        return wide.execute_script(f"{script} return document.body.dataset.squares", cell_px)

    assert shows_squares(1.0) == "no"  # zoom 10.1
    for col, half in ((3, 5), (18, 2), (30, 3)):  # classes with which half of the homes manage: make_areas()
        longitude_deg, latitude_deg = place_of_cell(15, col)
        found = wide.execute_script(
            "const {row, col} = pixel_at(L.latLng(arguments[0], arguments[1]));"
            "return [...areas.canvas.getContext('2d').getImageData(col, row, 1, 1).data].slice(0, 3)",
            latitude_deg, longitude_deg,
        )  # fmt: skip
        assert found == over_relief(tiers[half - 1], 0.8)
    assert shows_squares(2.0) == "yes"  # zoom 11.1
    wide.execute_script("page.ticks.totals = false")
    assert shows_squares(1.0) == "yes"
    tier = int(coverage.read("main/tier")[15, 20])
    assert painted(wide, 15, 20) == over_relief(tiers[tier - 1], 0.8)


def test_large_map_opens_on_neighbourhoods(wide):
    # 900 x 800 px are free; at zoom 11 a square of 139 m in Web Mercator is 1.8 px: 1.5 is the step below
    def opens_on(rows, cols, step):
        # put back in the same script: a frame drawn in between would look for squares that are not there
        script = """
            const {rows, cols} = page.facts.grid;
            Object.assign(page.facts.grid, {rows: arguments[0], cols: arguments[1]});
            const found = opening_px(arguments[2], {x: 900, y: 800});
            Object.assign(page.facts.grid, {rows, cols});
            return found;
        """
        return wide.execute_script(script, rows, cols, step)

    assert opens_on(300, 300, 2) == 1.5
    assert opens_on(30, 40, 12) == 12  # a small map would be a stamp


def test_ridges_are_named_by_height_and_homes(wide):
    words = wide.execute_script("return page.list.ridges.map(ridge_words)")
    assert words == ["42 m over, 120 homes", "7 m over, under 5 homes"]
    wide.execute_script("page.ticks.ridges = true; page.cells.draw_now()")
    assert [entry for entry in wide.get_log("browser") if entry["level"] == "SEVERE"] == []


# ---- the demo


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A coarse map of the demo and what Python works with: (coverage, path), estimate, the page's grid."""
    from covermap import jobs
    from covermap.inputs.preparation import prepare
    from covermap.jobs.station_levels import levels_of
    from covermap.result.coverage import open_coverage
    from covermap.scenario import read_scenario

    folder = tmp_path_factory.mktemp("demo") / "demo"
    jobs.write_demo(folder)
    scenario = folder / "scenario.toml"
    scenario.write_text(scenario.read_text("utf-8").replace("cell_m = 100", "cell_m = 500"), "utf-8")
    jobs.map_scenario(scenario)
    prepared = prepare(read_scenario(scenario))
    estimate = page_estimate(levels_of(prepared, None)(prepared.grid), prepared.scenario)
    coverage = open_coverage(folder / "out")
    return (coverage, folder / "out" / "map.html"), estimate, page_grid.page_grid(coverage.grid)


def demo_tiers(browser, demo, services):
    """Return Python's classes and the page's of the demo, for services by number, inside the map."""
    (_, _), estimate, grid = demo
    figures, rules = estimate.numbers(grid, browser.execute_script("return page.facts.masts"))
    expected = quick_estimate(estimate.page_levels(grid, 1), estimate.ticked(services), figures, rules)
    script = (
        "const [numbers, done] = arguments; page.ticked = new Set(numbers); work_out(page.ticked).then(done)"
    )
    browser.execute_async_script(script, services)
    found = np.array(wait_for(browser, "page.estimate.tier && [...page.estimate.tier]"), np.uint8)
    inside_map = found != 254
    return expected.ravel()[inside_map], found[inside_map]


def test_demo_has_the_same_classes_in_page_and_python(browser, demo):
    load(browser, demo[0])
    names = [name for name, _ in demo[1].services()]
    assert {"Skerra One", "Island Life", "Seven Seas", "Vane Music"} <= set(
        names
    )  # not only those of the list
    everything = list(range(len(names)))
    for services in ([0, 1, 2, 3, 4], [0], [2, 5, 7], [1, 2, 8, 9], everything):
        expected, found = demo_tiers(browser, demo, services)
        assert np.array_equal(found, expected), services


def test_demo_estimate_is_mostly_the_exact_class(browser, demo):
    load(browser, demo[0])
    coverage, grid = demo[0][0], demo[2]
    exact = grid.spread(coverage.read("main/tier"), 255).ravel()
    _, found = demo_tiers(browser, demo, [0, 1, 2, 3, 4])
    outside = grid.spread((coverage.read("flags") & 4 > 0).astype(np.uint8), 1).ravel() > 0
    causes = coverage.tag_values("main/main_cause", "CAUSES")
    cause = grid.spread(coverage.read("main/main_cause"), 255).ravel()[~outside]
    second = grid.spread(coverage.read("main/second_aim"), -1).ravel()[~outside]
    # 98 % of 100 m squares without interference and second antennas, which the estimate leaves out
    alike = (exact[~outside] < 255) & (cause != causes.index("same_channel")) & (second < 0)
    assert alike.mean() > 0.7
    assert (found == exact[~outside])[alike].mean() > 0.85
