"""Ten things that people come for, done with real clicks: how many taps each takes.

What is asked must then be readable on the screen, without scrolling the page of a laptop.
"""

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.expected_conditions import element_to_be_clickable
from selenium.webdriver.support.wait import WebDriverWait
from test_page_antennas import made_up
from test_web_map_modes import make_ridges
from web_map_browser import WIDE, known_cell, load, wait_for
from web_map_case import make_areas, make_zones, place_of_cell, write_page
from web_map_tiers import make_service_tiers

pytestmark = pytest.mark.browser
MAP = "the map"  # a tap on a square of class 6
FIND = "a name typed into Find"


def by_words(part, words):
    """Return how to find a button, label or heading of a part by its words."""
    return f"//*[@id='{part}']//*[self::button or self::label or self::summary][contains(., '{words}')]"


SHOWS = "//details[@id='shows_part']/summary"
# what is asked -> what is tapped, laptop; what must then be readable
TASKS = {
    "which class a place needs": ([MAP], "Rooftop + masthead amplifier"),
    "how sure that is": ([MAP], "wanted services together"),
    "why it is hard there": ([MAP], "Why it is hard here"),
    "what one class lower keeps": ([MAP], "One class lower"),
    "where to aim": ([MAP], "Aim"),
    "how a neighbourhood does": (["//button[@id='by_area']", MAP], "Homes by the antenna they need"),
    "where the dead zones are": ([by_words("ways_on", "dead zone")], "Dead zone 1 of 2"),
    "which station decides where": ([SHOWS, by_words("shows", "Which station decides")], "station decides"),
    "where my antenna holds the list": ([SHOWS, by_words("shows", "My antenna")], "holds the list"),
    "a place by its name": ([FIND, "//*[contains(@class, 'found')]//button"], "Near & Far"),
    "this place on paper": ([MAP, "//*[@id='card']//button[contains(., 'Print')]"], ""),
}


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_page(
        tmp_path_factory.mktemp("tour"),
        optional=True,
        areas=make_areas(),
        zones=make_zones(),
        ridges=make_ridges(),
        alone=make_service_tiers(),
        antennas=made_up(),
    )


def tap_map(browser, coverage):
    """Tap the middle of a square of class 6."""
    longitude_deg, latitude_deg = place_of_cell(*known_cell(coverage, 6))
    x, y = browser.execute_script(
        """
        const box = page.map.getContainer().getBoundingClientRect();
        const point = page.map.latLngToContainerPoint([arguments[0], arguments[1]]);
        return [box.left + point.x, box.top + point.y];
        """,
        latitude_deg,
        longitude_deg,
    )
    for kind in ("mousePressed", "mouseReleased"):
        event = {"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1}
        browser.execute_cdp_cmd("Input.dispatchMouseEvent", event)


READABLE = """
    const words = arguments[0];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        if (!walker.currentNode.data.includes(words)) continue;
        const range = document.createRange();
        range.selectNodeContents(walker.currentNode);
        const box = range.getBoundingClientRect();
        if (!box.width || box.bottom > innerHeight || box.top < 0) continue;
        const top = document.elementFromPoint(box.left + 2, box.top + box.height / 2);
        const holder = walker.currentNode.parentElement;
        if (top && (top.contains(holder) || holder.contains(top))) return true;
    }
    return false;
"""


@pytest.mark.parametrize("task", TASKS)
def test_a_task_takes_few_taps_on_a_laptop(browser, case, task):
    taps, words = TASKS[task]
    load(browser, case, WIDE)
    browser.execute_script("window.print = () => { window.printed = true; }")
    for tap in taps:
        if tap is MAP:
            tap_map(browser, case[0])
        elif tap is FIND:
            browser.find_element(By.CSS_SELECTOR, ".find input").send_keys("near")
        else:
            WebDriverWait(browser, 10).until(element_to_be_clickable((By.XPATH, tap))).click()
    if words:
        wait_for(browser, f"(function () {{ {READABLE} }})('{words}')")
    else:
        wait_for(browser, "window.printed")
    assert len(taps) <= 2
