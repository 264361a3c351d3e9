"""What the map shows, and lists of the reader's own, in a real browser."""

import itertools
import tomllib

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy import ndimage
from small_coverage import GRID
from web_map_browser import NARROW, WIDE, click_cell, load, wait_for
from web_map_case import CAUSES, make_areas, make_zones, place_of_cell, write_page
from web_map_tiers import make_service_tiers

from covermap.reports.web_map import layers, page_grid

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])


def make_ridges():
    places = [shapely.Point(GRID.x_min + 1000.0 * step, GRID.y_max - 900.0) for step in (1, 2)]
    names = {"ridge_id": ["main-1", "main-2"], "wanted_list": "main", "service": ["Alpha", "Gamma"]}
    return gpd.GeoDataFrame(
        {**names, "above_line_m": [42.4, 7.0], "homes_shaded": [120.0, 2.0]}, geometry=places, crs=GRID.crs
    )


def write_case(folder):
    more = {
        "areas": make_areas(),
        "zones": make_zones(),
        "ridges": make_ridges(),
        "alone": make_service_tiers(),
    }
    return write_page(folder, optional=True, **more)


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_case(tmp_path_factory.mktemp("modes"))


@pytest.fixture
def wide(browser, case):
    load(browser, case)
    return browser


def least_tiers(coverage, services):
    """Return the least class of services by number in each cell: each by itself, and of ticked lists."""
    layers_of = [make_service_tiers().tier[number] for number in services]
    lists = {"main": {0, 1, 2}, "few": {0, 2}}
    layers_of += [coverage.read(f"{name}/tier") for name, held in lists.items() if held <= set(services)]
    stack = np.stack(layers_of)
    known = np.where(stack == 255, 0, stack).max(axis=0)
    return np.where(known == 8, 8, np.where((stack == 255).any(axis=0), 255, known)).astype(np.uint8)


def on_page(values, step=1):
    """Return cells as the page's pixels, 255 outside; with a step the value of each block's middle."""
    grid = page_grid.page_grid(GRID)
    blocks = layers.block_middles(grid.spread(values, 255), step)
    return blocks.repeat(step, axis=0).repeat(step, axis=1)[: grid.shape[0], : grid.shape[1]]


def tick(browser, number):
    """Click the tick of a service in the section of the wanted stations, as a person would."""
    browser.execute_script("find('#lists_part').open = true")
    boxes = browser.find_elements("css selector", "#lists input[type=checkbox]")
    browser.execute_script("arguments[0].click()", boxes[number])


def worked_out(browser, services=None):
    """Return the least classes that the page shows, one a pixel; services: asked for directly."""
    if services is not None:
        browser.execute_async_script(
            "const [numbers, done] = arguments; page.ticked = new Set(numbers);"
            "work_out(page.ticked).then(() => done())",
            services,
        )
    wait_for(browser, "page.own && page.own.tier")
    found = browser.execute_script("return [...page.own.tier]")
    return np.array(found, np.uint8).reshape(page_grid.page_grid(GRID).shape)


def inside(values):
    """Return a page's pixels without those outside the map."""
    return values[page_grid.page_grid(GRID).cell >= 0]


# ---- lists of the reader's own


@SIZES
def test_unticked_station_leaves_the_highest_class_of_the_others(browser, case, size):
    load(browser, case, size)
    tick(browser, 0)
    assert np.array_equal(inside(worked_out(browser)), inside(on_page(least_tiers(case[0], [1, 2]))))
    tick(browser, 2)
    wait_for(browser, "page.own.tier && page.ticked.size === 1")
    assert np.array_equal(inside(worked_out(browser)), inside(on_page(least_tiers(case[0], [1]))))
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


@pytest.mark.parametrize("services", [[0], [1], [2], [0, 1], [0, 2], [0, 1, 2]])
def test_least_classes_are_those_of_single_services_and_of_ticked_lists(wide, case, services):
    found = worked_out(wide, services)
    assert np.array_equal(inside(found), inside(on_page(least_tiers(case[0], services))))
    assert len(set(inside(found).tolist())) >= 4  # the classes differ


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_one_more_service_never_promises_more_homes(wide, order):
    """Every square's class and the homes not promised never fall from tick to tick."""
    before, lost = None, -1.0
    for count in range(1, 4):
        tier = inside(worked_out(wide, list(order[:count])))
        rank = np.where(tier == 255, 0, tier)  # a square may become unknown, but never from not promised
        homes = wide.execute_script("return page.own.homes")["by_tier"][7]
        assert homes >= lost
        if before is not None:
            assert (rank >= before)[tier != 255].all()
            assert (tier[before == 8] == 8).all()
        before, lost = rank, homes


def test_the_run_keeps_the_headline_and_the_bound_says_what_it_is(wide):
    three = wide.execute_script("return [...document.querySelectorAll('#three b')].map(e => e.textContent)")
    tick(wide, 0)
    worked_out(wide)
    after = wide.execute_script("return [...document.querySelectorAll('#three b')].map(e => e.textContent)")
    assert after[:3] == three
    for place in ("#three", "#lists", "#legend"):
        assert wide.find_element("css selector", f"{place} .badge").text == "at least"
    said = wide.execute_script("return find('#lists .own_list').innerText")
    assert "may need more than is shown here, never less" in said
    text = click_cell(wide, 20, 20)
    tier = int(make_service_tiers().tier[1:, 20, 20].max())
    name = wide.execute_script("return tier_facts(arguments[0]).name", tier)
    assert f"at least {tier} {name} for all 2 ticked services" in text
    assert "of the run's list main" in text


def test_run_list_is_shown_again_when_its_ticks_are(wide, case):
    coverage, _ = case
    tick(wide, 0)
    worked_out(wide)
    boxes = wide.find_elements("css selector", "#lists input[type=checkbox]")
    assert [box.is_selected() for box in boxes] == [False, True, True]
    tick(wide, 0)
    wait_for(wide, "page.own === null && picture.tier")
    assert wide.execute_script("return page.list.name") == "main"
    assert wide.find_elements("css selector", ".badge") == []
    shown = wide.execute_async_script("renew_picture().then(() => arguments[0]([...picture.tier]))")
    exact = on_page(coverage.read("main/tier"))
    assert np.array_equal(inside(np.array(shown, np.uint8).reshape(exact.shape)), inside(exact))


def test_ticks_of_another_run_list_show_that_list(wide, case):
    coverage, _ = case
    tick(wide, 1)  # Alpha and Gamma are left: the run's list few, whose own raster is shown
    wait_for(wide, "page.list.name === 'few'")
    assert wide.execute_script("return page.own") is None
    shown = wide.execute_async_script("renew_picture().then(() => arguments[0]([...picture.tier]))")
    exact = on_page(coverage.read("few/tier"))
    assert np.array_equal(inside(np.array(shown, np.uint8).reshape(exact.shape)), inside(exact))


def test_scenario_text_is_toml_with_the_ticked_services(wide):
    tick(wide, 0)
    worked_out(wide)
    wide.execute_script("find('#lists_part').open = true; find('#lists .own_list .actions button').click()")
    text = wait_for(wide, "find('#lists .handed textarea') && find('#lists .handed textarea').value")
    assert tomllib.loads(text) == {"wanted": {"mine": {"services": ["Beta <b>Bold</b>", "Gamma"]}}}


def test_homes_by_least_class_count_each_square_once(wide, case):
    coverage, _ = case
    worked_out(wide, [1, 2])
    homes = np.nan_to_num(coverage.read("homes"))
    tier = least_tiers(coverage, [1, 2])
    found = wide.execute_script("return page.own.homes")
    expected = [homes[tier == number].sum() for number in range(1, 9)]
    assert found["by_tier"] == pytest.approx(expected, abs=0.05 * homes.astype(bool).sum())
    assert found["unknown"] == pytest.approx(homes[tier == 255].sum(), abs=1.0)


def test_no_tick_asks_for_one(wide):
    wide.execute_async_script("set_ticked(new Set()).then(() => arguments[0]())")
    assert "Tick at least one service." in wide.execute_script("return find('#three').innerText")
    assert wide.execute_script("return page.own.tier === undefined")


def test_thinned_classes_are_those_of_the_blocks_middles(browser, tmp_path, monkeypatch):
    monkeypatch.setattr(layers, "MOST_STATION_VALUES", 1500)  # 33 x 43 pixels of 3 stations: blocks of 2
    thinned = write_case(tmp_path)
    load(browser, thinned)
    assert browser.execute_script("return page.facts.station_step") == 2
    tick(browser, 0)
    expected = on_page(least_tiers(thinned[0], [1, 2]), step=2)
    assert np.array_equal(inside(worked_out(browser)), inside(expected))
    assert "One value stands for 2 × 2 squares." in browser.execute_script(
        "return find('#lists').textContent"
    )


def test_page_without_single_services_has_no_ticks(browser, tmp_path):
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
    for mode in ("sure", "decides", "cause", "doubt", "signal"):
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
    assert keys == ["A Alpha", "B Beta <b>Bold</b>", "C Gamma"]


def test_causes_are_named_in_words(wide):
    choose(wide, "cause")
    keys = wide.execute_script(
        "return [...document.querySelectorAll('#shows .key li b')].map(e => e.textContent)"
    )
    assert keys == ["hills", "distance", "noise", "same channel"]
    assert len(keys) == len(CAUSES)


def test_what_may_be_otherwise_is_shown_square_by_square(wide, case):
    coverage, _ = case
    choose(wide, "doubt")
    grid = page_grid.page_grid(GRID)
    found = np.array(wide.execute_script("return [...picture.shown]"), np.uint8).reshape(grid.shape)
    names = ("main/tier", "main/tier_in_leaf", "main/tier_cover_doubt")
    tier, leaf, doubt = (grid.spread(coverage.read(name), 255).astype(int) for name in names)
    assert set(found[(tier <= 8) & (leaf == 255)]) == {253}  # nobody looked
    asked = (tier <= 8) & (leaf != 255)
    assert np.array_equal(found[asked] >= 2, doubt[asked] >= 2)
    assert np.array_equal(found[asked] % 2 == 1, leaf[asked] > tier[asked])
    keys = wide.execute_script(
        "return [...document.querySelectorAll('#shows .key li')].map(e => e.textContent.trim())"
    )
    assert keys[1] == "a higher class in leaf"
    assert len(keys) == 4
    row, col = np.argwhere(asked & (found == 3))[0]
    wide.execute_async_script(
        "show_card({row: arguments[0], col: arguments[1]}).then(() => arguments[2]())", int(row), int(col)
    )
    assert "May be otherwise: both." in wide.execute_script("return find('#card').textContent")


def test_mode_without_its_layer_is_not_offered(browser, tmp_path):
    load(browser, write_page(tmp_path))
    offered = browser.execute_script(
        "return [...find('#shows').querySelectorAll('label')].map(e => e.textContent)"
    )
    assert "Which station decides" in offered
    assert "Why it is hard" not in offered
    assert "What may be otherwise" not in offered
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


def test_map_opens_on_squares_that_fill_it_and_neighbourhoods_are_one_tap_away(wide, case):
    coverage, _ = case
    assert wide.execute_script("return document.body.dataset.squares") == "yes"
    left, top, right, bottom = wide.execute_script(
        "const [t, l, b, r] = known_box(picture.tier), view = page.cells.view();"
        "return [view.x(l), view.y(t), view.x(r + 1), view.y(b + 1)]"
    )
    width, height = wide.execute_script("const {x, y} = page.map.getSize(); return [x, y]")
    assert 0 <= left < right <= width
    assert 0 <= top < bottom <= height
    assert max((right - left) / width, (bottom - top) / height) > 0.9
    wide.find_element("css selector", "#by_area").click()
    wait_for(wide, "areas_show() && document.body.dataset.squares === 'no'")
    tiers = wide.execute_script("return page.facts.tiers.map(({fill}) => fill)")
    for col, half in ((3, 5), (18, 2), (30, 3)):  # classes with which half of the homes manage: make_areas()
        longitude_deg, latitude_deg = place_of_cell(15, col)
        found = wide.execute_script(
            "const {row, col} = pixel_at(L.latLng(arguments[0], arguments[1]));"
            "return [...areas.canvas.getContext('2d').getImageData(col, row, 1, 1).data].slice(0, 3)",
            latitude_deg, longitude_deg,
        )  # fmt: skip
        assert found == over_relief(tiers[half - 1], 0.8)
    wide.execute_script("page.hidden.add(2); return renew_picture()")  # a tick of the legend acts here too
    longitude_deg, latitude_deg = place_of_cell(15, 18)
    hidden = wide.execute_script(
        "const {row, col} = pixel_at(L.latLng(arguments[0], arguments[1]));"
        "return areas.canvas.getContext('2d').getImageData(col, row, 1, 1).data[0]",
        latitude_deg, longitude_deg,
    )  # fmt: skip
    assert hidden == 226  # the relief alone
    wide.find_element("css selector", "#by_area").click()
    tier = int(coverage.read("main/tier")[15, 20])
    assert painted(wide, 15, 20) == over_relief(tiers[tier - 1], 0.8)


def test_click_on_a_neighbourhood_opens_its_card(wide):
    wide.execute_script("set_totals(true)")
    wait_for(wide, "areas_show() && areas.canvas")
    longitude_deg, latitude_deg = place_of_cell(15, 3)
    wide.execute_script(
        "page.map.fire('click', {latlng: L.latLng(arguments[0], arguments[1])})", latitude_deg, longitude_deg
    )
    text = wide.execute_script("return find('#card').innerText").replace("\u00a0", " ")
    for words in (
        "Wester <b>Ward</b>",
        "120 homes.",
        "Homes by the antenna they need",
        "Half of its homes manage with 5 Rooftop.",
        "Nine in ten manage with 8 Not promised.",
        "Gamma (C) decides for",
        "Most common aim: 150° true.",
    ):
        assert words in text
    wide.execute_script("find('#card .actions button').click()")
    assert not wide.execute_script("return page.ticks.totals")


def test_ridges_are_named_by_height_and_homes(wide):
    words = wide.execute_script("return page.list.ridges.map(ridge_words)")
    assert words == ["42 m over, 120 homes", "7 m over, under 5 homes"]
    wide.execute_script("page.ticks.ridges = true; page.cells.draw_now()")
    assert [entry for entry in wide.get_log("browser") if entry["level"] == "SEVERE"] == []


# ---- the demo


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A coarse map of the demo, with its prepared inputs: (coverage, path), prepared."""
    from covermap import jobs
    from covermap.inputs.prepare import prepare
    from covermap.result.coverage import open_coverage
    from covermap.scenario import read_scenario

    folder = tmp_path_factory.mktemp("demo") / "demo"
    jobs.write_demo(folder)
    scenario = folder / "scenario.toml"
    text = scenario.read_text("utf-8").replace("cell_m = 100", "cell_m = 500")
    # a list of one: what its own run says of a service must be what the page holds of it
    scenario.write_text(text + '\n[wanted.one]\nservices = ["11.1"]\n', "utf-8")
    jobs.map_scenario(scenario)
    coverage = open_coverage(folder / "out")
    return (coverage, folder / "out" / "map.html"), prepare(read_scenario(scenario))


def test_page_holds_what_the_run_says_of_a_service_by_itself(browser, demo):
    (coverage, path), _ = demo
    load(browser, (coverage, path))
    number = browser.execute_script("return page.facts.own_list.lists.one[0]")
    found = browser.execute_async_script(
        "whole_layer(`alone/${arguments[0]}`).then((bytes) => arguments[1]([...bytes]))", number
    )
    grid = page_grid.page_grid(coverage.grid)
    expected = grid.spread(coverage.read("one/tier"), 255)
    assert np.array_equal(np.array(found, np.uint8).reshape(grid.shape), expected)


def test_no_list_of_the_run_needs_less_than_its_services_by_themselves(demo):
    from covermap.grid.store import Store
    from covermap.inputs.prepare import store_folder
    from covermap.jobs.over_cells import answer
    from covermap.jobs.service_tiers import service_tiers

    (coverage, _), prepared = demo
    store = Store(store_folder(prepared.scenario, None))
    tiers = answer(prepared, store, service_tiers(prepared, coverage.grid))
    tier = coverage.read("main/tier")
    places = {service.stations: number for number, service in enumerate(tiers.services)}
    wanted = next(wanted for wanted in prepared.scenario.wanted if wanted.name == "main")
    for group in wanted.transmitters:
        alone = tiers.tier[places[tuple(group)]]
        known = (tier < 9) & (alone < 9)
        assert known.sum() > 500
        assert (alone <= tier)[known].all()


@pytest.mark.parametrize(
    ("asked", "services", "shows"),
    [(True, ["One"], "tier"), (False, ["One"], "services"), (False, [], "tier")],
)
def test_a_page_without_a_wanted_list_opens_on_how_many_services_arrive(wide, asked, services, shows):
    script = """
        const before = page.facts.every_service;
        page.facts.every_service = arguments[1];
        const shows = first_shows({ ...page.list, asked: arguments[0] });
        page.facts.every_service = before;
        return [page.list.asked, shows];
    """
    assert wide.execute_script(script, asked, services) == [True, shows]
