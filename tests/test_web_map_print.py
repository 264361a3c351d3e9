"""The page on paper, in a real browser: one page across with legend and cautions, and no controls."""

import base64
import re

import pytest
from web_map_browser import NARROW, WIDE, click_cell, known_cell, load
from web_map_case import make_areas, make_zones, write_page
from web_map_ground import OneHill

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
KINDS = pytest.mark.parametrize("of_place", [False, True], ids=["map", "place"])
A4_ACROSS_PT = (842, 595)  # ISO 216: 297 x 210 mm, in points of 1/72 inch


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    more = {"heights": OneHill(), "areas": make_areas(), "zones": make_zones()}
    return write_page(tmp_path_factory.mktemp("page"), optional=True, **more)


def prepare(browser, case, size, of_place):
    load(browser, case, size)
    if of_place:
        click_cell(browser, *known_cell(case[0], 6))
        browser.execute_script("document.body.classList.add('print_place')")


def pdf(browser):
    options = {"preferCSSPageSize": True, "printBackground": False}
    return base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", options)["data"])


@SIZES
@KINDS
def test_paper_is_one_page_across(browser, case, size, of_place):
    prepare(browser, case, size, of_place)
    printed = pdf(browser)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1
    width, height = map(float, re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", printed).groups())
    assert (width, height) == pytest.approx(A4_ACROSS_PT, abs=1.0)


@SIZES
@KINDS
def test_paper_holds_legend_date_and_cautions_and_no_controls(browser, case, size, of_place):
    prepare(browser, case, size, of_place)
    browser.execute_script("build_paper()")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        text = browser.execute_script("return document.body.innerText").replace("\u00a0", " ")
        controls = browser.execute_script(
            "return [...document.querySelectorAll('button, input, select, textarea, summary, a')]"
            ".filter(e => e.offsetParent).map(e => e.outerHTML)"
        )
        bottom_mm = browser.execute_script("return find('#paper').getBoundingClientRect().bottom * 25.4 / 96")
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        browser.execute_script("clear_paper()")
    assert controls == []
    assert bottom_mm <= 194.5  # 210 less two margins of 8 mm
    for words in ("Small <i>Isle</i>", "Rooftop + masthead amplifier", "Not promised", "Unknown"):
        assert words in text
    assert "90 % sure" in text
    assert "Stations as of 1 September 2026." in text
    assert "One square = 100 m. It is not a house." in text
    assert re.search(r"\d km \([\d.]+ mi\)", text)
    assert all(caution in text for caution in case[0].run["cautions"])
    if of_place:
        for words in ("Aim ", "Stations by aim", "Skyline from here", "your site can differ by 10 dB"):
            assert words in text
    else:
        assert "homes get none of the listed services" in text


@SIZES
def test_numbers_are_on_for_paper_and_the_screen_stays_as_it_was(browser, case, size):
    load(browser, case, size)
    browser.execute_script("page.ticks.numbers = false")
    seen = browser.execute_script(
        """
        const centre = page.map.getCenter();
        const drawn = [];
        const draw = page.cells.draw_now;
        page.cells.draw_now = function () { drawn.push(page.ticks.numbers); return draw.call(this); };
        build_paper();
        page.cells.draw_now = draw;
        const size = page.map.getSize();
        const moved = page.map.latLngToContainerPoint(centre).distanceTo([size.x / 2, size.y / 2]);
        return {drawn, moved, ticked: page.ticks.numbers, width: size.x, density: page.density};
        """
    )
    browser.execute_script("clear_paper()")
    assert seen["drawn"][0] is True
    assert seen["drawn"][-1] is False
    assert seen["ticked"] is False
    assert seen["density"] is None
    assert seen["width"] == (360 if size == NARROW else 900)
    assert seen["moved"] < 1.0  # pixels


@SIZES
def test_what_is_known_fills_the_map_on_paper(browser, case, size):
    load(browser, case, size)
    shares = browser.execute_script(
        """
        const drawn = [];
        const draw = page.cells.draw_now;
        page.cells.draw_now = function () {
          const [one, other] = [page.known.getNorthEast(), page.known.getSouthWest()];
          const at = (corner) => page.map.latLngToContainerPoint(corner);
          const across = at(one).subtract(at(other));
          const size = page.map.getSize();
          drawn.push([across.x / size.x, -across.y / size.y]);
          return draw.call(this);
        };
        build_paper();
        page.cells.draw_now = draw;
        clear_paper();
        return drawn[0];
        """
    )
    assert max(shares) > 0.8
    assert max(shares) <= 1.0


def test_print_of_a_place_with_many_stations_is_made_smaller(browser, case):
    prepare(browser, case, WIDE, True)
    browser.execute_script(
        "const group = find('#card .group'); for (let i = 0; i < 14; i++) group.after(group.cloneNode(true))"
    )
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf(browser))) == 1
    browser.execute_script("document.body.classList.add('print_place'); build_paper()")
    assert float(browser.execute_script("return find('#paper').style.zoom")) < 1.0
    browser.execute_script("clear_paper()")


def test_paper_has_the_key_of_what_the_map_shows(browser, case):
    load(browser, case)
    text = browser.execute_async_script(
        """
        const done = arguments[0];
        choose_shows("sure");
        setTimeout(() => {
            build_paper();
            done(find(".paper_legend").textContent);
            clear_paper();
        }, 300);
        """
    ).replace("\u00a0", " ")
    assert text.startswith("How sure")
    assert "5 Rooftop" in text  # the antenna the chance is of
    assert "expected, 90 % and more" in text
