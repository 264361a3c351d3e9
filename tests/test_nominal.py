"""Beside the chance stands that it is nominal: on the page of the map, the address sheet and the brief."""

import pytest
from test_commands import run, write_demo

import covermap
from covermap.jobs.address_sheets import open_book
from covermap.reports.address_sheet import sheet_html
from covermap.wording.language import messages, say

NOMINAL = say("chance.nominal")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A coarse demo with its map finished."""
    path = write_demo(tmp_path_factory.mktemp("nominal") / "demo")
    result = run("map", path, "--progress", "none")
    assert result.exit_code == 0, result.output
    return path


def test_it_says_what_is_not_verified():
    assert NOMINAL == "nominal, not verified in built-up areas"
    assert messages("de")["chance.nominal"] != NOMINAL


def test_brief_and_map_say_so(demo):
    out = demo.parent / "out"
    assert f"90 % sure ({NOMINAL})" in (out / "brief.html").read_text("utf-8")
    page = (out / "map.html").read_text("utf-8")
    assert f"with scripts on, each square can be read. ({NOMINAL})" in page
    assert page.count("chance.nominal") >= 3  # the words, the card, the panel


@pytest.mark.parametrize("place", [(43.9475, -35.625), (43.98, -35.70)], ids=["easy", "behind ridges"])
def test_sheet_says_so_beside_its_chance(demo, place):
    book = open_book(covermap.read_scenario(demo))
    html = sheet_html(book.report(*place), 45.0, True)
    assert f"% ({NOMINAL})." in html
