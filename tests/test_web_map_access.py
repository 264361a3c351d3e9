"""The page for everyone, in a real browser: keys alone, tables, other checks of accessibility."""

import os
from pathlib import Path

import pytest
from web_map_browser import NARROW, WIDE, click_cell, known_cell, load, wait_for
from web_map_case import make_areas, make_zones, write_page
from web_map_ground import OneHill

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
AXE = Path(__file__).parent.parent / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    more = {"heights": OneHill(), "areas": make_areas(), "zones": make_zones()}
    return write_page(tmp_path_factory.mktemp("page"), optional=True, **more)


@pytest.fixture(scope="module")
def bare_case(tmp_path_factory):
    """A result without homes, neighbourhoods and dead zones."""
    return write_page(tmp_path_factory.mktemp("bare"), homes=False)


def press(browser, *keys):
    from selenium.webdriver.common.action_chains import ActionChains

    for key in keys:
        ActionChains(browser).send_keys(key).perform()


def press_shifted(browser, key):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    ActionChains(browser).key_down(Keys.SHIFT).send_keys(key).key_up(Keys.SHIFT).perform()


def focused(browser):
    return browser.execute_script(
        "const at = document.activeElement; return at === page.map.getContainer() ? 'the map'"
        " : at.id || at.tagName + at.textContent"
    )


def stand_at(browser, row, col):
    """Move the map to the middle of a pixel, each 20 px wide, and give it the focus."""
    browser.execute_script(
        "const [row, col] = arguments;"
        "page.map.setView(place_of(row + 0.5, col + 0.5), zoom_for(20), {animate: false});"
        "page.map.getContainer().focus()",
        row,
        col,
    )


# ---- keys


@SIZES
def test_keys_alone_lead_from_load_to_the_card(browser, case, size):
    from selenium.webdriver.common.keys import Keys

    load(browser, case, size)
    order = []
    for _ in range(8):
        press(browser, Keys.TAB)
        order.append(focused(browser))
        if order[-1] == "the map":
            break
    assert order[0] == "skip"
    finders = ["find_open"] if size == NARROW else ["find_text", "BUTTONFind"]
    assert order[1:-1] == finders
    assert order[-1] == "the map"
    assert browser.execute_script("return getComputedStyle(find('#cross')).display") == "block"
    press(browser, "+", "+", Keys.ENTER)
    assert wait_for(browser, "find('#card').innerText")
    press(browser, Keys.ESCAPE)
    assert browser.execute_script("return find('#card').innerText") == ""
    for _ in range(6):  # zoom, own position, neighbourhoods, then the sheet
        press(browser, Keys.TAB)
        if browser.execute_script("return find('#sheet').contains(document.activeElement)"):
            break
        assert focused(browser) in ("closer", "further", "locate", "by_area")
    assert browser.execute_script("return find('#sheet').contains(document.activeElement)")


def test_skip_link_shows_when_it_has_the_focus(browser, case):
    from selenium.webdriver.common.keys import Keys

    load(browser, case)
    place = "return find('#skip').getBoundingClientRect().right"
    assert browser.execute_script(place) <= 0
    press(browser, Keys.TAB)
    assert browser.execute_script(place) > 100


@SIZES
def test_arrows_pan_and_with_shift_go_one_square(browser, case, size):
    from selenium.webdriver.common.keys import Keys

    load(browser, case, size)
    stand_at(browser, 10, 15)
    at_centre = "return pixel_at(page.map.getCenter())"
    steps = [
        (Keys.ARROW_RIGHT, 0, 1),
        (Keys.ARROW_DOWN, 1, 0),
        (Keys.ARROW_LEFT, 0, -1),
        (Keys.ARROW_UP, -1, 0),
    ]
    row, col = 10, 15
    for key, down, right in [*steps, *[(Keys.ARROW_RIGHT, 0, 1)] * 6]:
        press_shifted(browser, key)
        row, col = row + down, col + right
        assert browser.execute_script(at_centre) == {"row": row, "col": col}
    press(browser, Keys.ARROW_DOWN)  # 80 px of squares 20 px wide
    assert browser.execute_script(at_centre) == {"row": row + 4, "col": col}


def test_plus_and_minus_zoom_by_whole_pixels(browser, case):
    load(browser, case)
    stand_at(browser, 10, 15)
    width = "return Math.round(cell_px_at(page.map.getZoom()) * 1000) / 1000"
    press(browser, "+")
    assert browser.execute_script(width) == 24
    press(browser, "-", "-")
    assert browser.execute_script(width) == 16


@SIZES
def test_n_goes_from_dead_zone_to_dead_zone(browser, case, size):
    load(browser, case, size)
    browser.execute_script("page.map.getContainer().focus()")
    press(browser, "n")
    said = "find('.found').innerText"
    assert wait_for(browser, said) == "Dead zone 1 of 2, near <i>Nowhere</i>: under 5 homes."
    # the dead zone is the box 2,000 to 2,300 m east and 1,200 to 1,500 m south of the grid's corner
    row, col = wait_for(
        browser, "find('#card').dataset.row && [+find('#card').dataset.row, +find('#card').dataset.col]"
    )
    assert 12 <= row < 15
    assert 20 <= col < 23
    press(browser, "n")
    assert wait_for(browser, f"{said}.startsWith('Doubtful zone 2 of 2, near Near & Far: 44 homes.')")
    press(browser, "n")
    assert wait_for(browser, f"{said}.startsWith('Dead zone 1 of 2')")


def test_without_dead_zones_n_says_so(browser, bare_case):
    load(browser, bare_case)
    browser.execute_script("page.map.getContainer().focus()")
    press(browser, "n")
    assert browser.execute_script("return find('.found').innerText").startswith("There is no dead zone:")


def test_closing_the_card_by_its_button_gives_the_focus_back_to_the_map(browser, case):
    load(browser, case)
    click_cell(browser, 12, 20)
    browser.execute_script("const b = find('#card .close'); b.focus(); b.click()")
    assert focused(browser) == "the map"


# ---- tables


def open_table_by_key(browser, case, size):
    from selenium.webdriver.common.keys import Keys

    load(browser, case, size)
    press(browser, Keys.TAB, Keys.ENTER)
    assert wait_for(browser, "!find('#table').hidden")


def column(browser, number):
    return browser.execute_script(
        "return [...document.querySelectorAll('#areas_table tbody tr')]"
        ".map(row => row.children[arguments[0]].innerText)",
        number,
    )


@SIZES
def test_first_link_opens_every_neighbourhood_as_a_table(browser, case, size):
    from selenium.webdriver.common.keys import Keys

    open_table_by_key(browser, case, size)
    assert focused(browser) == "table"
    assert column(browser, 0) == ["Easter", "Middle", "Wester <b>Ward</b>"]
    assert column(browser, 1) == ["900", "40", "120"]
    assert column(browser, 2) == ["3 Loft", "2 Window", "5 Rooftop"]
    assert column(browser, 5) == ["left blank", "none", "under 5 (under 5 to 8)"]
    assert column(browser, 8) == ["none", "151\u00b0", "150\u00b0"]
    text = browser.execute_script("return find('#table').innerText")
    assert all(caution in text for caution in case[0].run["cautions"])
    press(browser, Keys.ESCAPE)
    assert browser.execute_script("return find('#table').hidden")


def test_table_sorts_by_its_headings(browser, case):
    open_table_by_key(browser, case, WIDE)
    states = (
        "return [...document.querySelectorAll('#areas_table thead th')].map(e => e.getAttribute('aria-sort'))"
    )
    assert browser.execute_script(states)[:2] == ["ascending", "none"]
    press_heading = "document.querySelector('#areas_table [data-column=total]').click()"
    browser.execute_script(press_heading)
    assert column(browser, 1) == ["40", "120", "900"]
    assert browser.execute_script(states)[:2] == ["none", "ascending"]
    browser.execute_script(press_heading)
    assert column(browser, 1) == ["900", "120", "40"]
    assert browser.execute_script(states)[1] == "descending"
    browser.execute_script("document.querySelector('#areas_table [data-column=without]').click()")
    assert column(browser, 0) == ["Middle", "Wester <b>Ward</b>", "Easter"]  # left blank stands last
    browser.execute_script("document.querySelector('#areas_table [data-column=without]').click()")
    assert column(browser, 0) == ["Wester <b>Ward</b>", "Middle", "Easter"]


def test_table_holds_the_classes_where_there_are_no_neighbourhoods(browser, bare_case):
    open_table_by_key(browser, bare_case, WIDE)
    text = browser.execute_script("return find('#table').innerText")
    assert "This result has no neighbourhoods." in text
    assert "8 Not promised" in text
    assert "Share of land" in text


# ---- a general checker


def axe_source():
    """Return axe-core's script, which `npm install --no-save axe-core` fetches; it is never kept here."""
    if not AXE.is_file():
        if os.environ.get("COVERMAP_REQUIRE_AXE") == "1":
            pytest.fail(f"COVERMAP_REQUIRE_AXE is 1, but {AXE} is not there")
        pytest.skip("axe-core is not installed; npm install --no-save axe-core fetches it")
    return AXE.read_text(encoding="utf-8")


def all_faults(browser, source, impacts=("minor", "moderate", "serious", "critical")):
    """Return rule and places of each fault of some impact that axe-core (Deque Systems, MPL-2.0) finds."""
    browser.execute_script(f"if (!window.axe) {{ {source} }}")
    found = browser.execute_async_script(
        "const done = arguments[0]; axe.run().then((report) => done(report.violations))"
    )
    return [
        (fault["id"], [node["html"][:120] for node in fault["nodes"]])
        for fault in found
        if fault["impact"] in impacts
    ]


def serious_faults(browser, source):
    """Return those of all_faults() that keep somebody out."""
    return all_faults(browser, source, ("serious", "critical"))


STATES = {
    "before any click": "",
    "all sections open": "for (const part of document.querySelectorAll('details')) part.open = true",
    "found": "find_text('er')",
    "nothing found": "find_text('nowhere')",
    "table": "open_table()",
    "outside": "show_outside(place_of(-40, -40))",
}


@SIZES
@pytest.mark.parametrize("state", [*STATES, "card", "text to copy", "unknown"])
def test_checker_finds_no_serious_fault(browser, case, size, state):
    source = axe_source()
    load(browser, case, size)
    if state in STATES:
        browser.execute_script(STATES[state])
    else:
        click_cell(browser, *((1, 1) if state == "unknown" else known_cell(case[0], 6)))
        if state == "text to copy":
            browser.execute_script("document.querySelectorAll('#card .actions button')[0].click()")
        if size == NARROW:
            browser.execute_script("set_sheet('full')")
    assert serious_faults(browser, source) == []


def test_checker_finds_a_fault_where_there_is_one(browser, case):
    source = axe_source()
    load(browser, case)
    browser.execute_script("find('#sheet').append(element('button', {type: 'button'}))")  # without a name
    assert [name for name, _ in serious_faults(browser, source)] == ["button-name"]


@SIZES
def test_targets_are_large_and_nothing_runs_over(browser, case, size):
    load(browser, case, size)
    click_cell(browser, *known_cell(case[0], 6))
    for open_state in ("", "open_table()"):
        browser.execute_script(f"set_sheet('full'); {open_state}")
        low = browser.execute_script(
            "return [...document.querySelectorAll('button, summary, label, select, a')]"
            ".filter(e => !['grip', 'skip'].includes(e.id) && e.offsetParent)"
            ".filter(e => e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML)"
        )
        assert low == []
        wide_parts = "find('#sheet').scrollWidth - find('#sheet').clientWidth"
        page = "document.documentElement.scrollWidth - innerWidth"
        table = "find('#table').scrollWidth - find('#table').clientWidth"
        assert browser.execute_script(f"return [{wide_parts}, {page}, {table}]") == [0, 0, 0]
