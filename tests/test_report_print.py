"""Brief and changes on paper: one page of A4, two columns side by side."""

import base64
import re

import numpy as np
import pytest
from small_coverage import GRID, make_scenario, write_small_coverage
from test_changes import moved, one_step
from web_map_browser import resize

from covermap.addresses.bench_paths import BenchPath
from covermap.jobs.comparing import changes
from covermap.measurements.antenna_matrix import Matrix, MatrixCell, MatrixRow
from covermap.planning.areas import summarise_whole
from covermap.planning.dead_zones import NamedPlace, find_dead_zones
from covermap.reports.brief import write_brief
from covermap.reports.comparison import write_comparison
from covermap.reports.fieldwork.antenna_matrix import matrix_section
from covermap.reports.fieldwork.page import page
from covermap.wording.language import languages, speaking

pytestmark = pytest.mark.browser


PAPER_PX = round((210 - 2 * 14) / 25.4 * 96)  # A4 between margins of 14 mm, at 96 px an inch


def pages_of(browser, path):
    """Return how many pages a file has on paper."""
    browser.get(path.as_uri())
    asked = {"preferCSSPageSize": True, "printBackground": True}
    data = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", asked)["data"])
    return len(re.findall(rb"/Type\s*/Page\b", data))


@pytest.mark.parametrize("language", languages())
def test_the_brief_is_one_page(browser, tmp_path, language):
    coverage = write_small_coverage(tmp_path)
    grey = np.full(GRID.shape, 226, np.uint8)
    with speaking(language):
        path = write_brief(coverage, make_scenario(coverage), summarise_whole(coverage), grey, tmp_path)
    assert pages_of(browser, path) == 1


@pytest.mark.parametrize("language", languages())
def test_the_brief_of_four_lists_with_all_it_can_say_is_one_page(browser, tmp_path, language):
    coverage = write_small_coverage(tmp_path)
    whole = summarise_whole(coverage)
    zones = find_dead_zones(coverage, "main", [NamedPlace("Merrow Glen", 259_000.0, 4_876_000.0)])
    few = coverage.run["wanted"]["few"]
    coverage.run["wanted"] |= {"of_the_valley": {**few, "at_least": 1}, "public_ones": few}
    coverage.run["sigma_db"]["by_path"] = {"clear": 6.65, "many_ridges": 11.8}
    moved = {"main": {"squares": 900, "squares_moved": 60, "homes": 4800.0, "homes_moved": 310.0}}
    coverage.run |= {
        "left_out": {"off air": 2},
        "warnings": ["a", "b"],
        "in_leaf": moved,
        "cover_doubt": moved,
    }
    coverage.run["homes"] |= {"outside_neighbourhoods": 30.0}
    whole |= {"of_the_valley": whole["few"], "public_ones": whole["few"]}
    grey = np.full(GRID.shape, 226, np.uint8)
    with speaking(language):
        path = write_brief(coverage, make_scenario(coverage), whole, grey, tmp_path, zones=zones)
    text = path.read_text("utf-8")
    assert all(f"<tr><td>{name} <" in text for name in whole)
    assert pages_of(browser, path) == 1


@pytest.mark.parametrize("language", languages())
def test_eight_antennas_side_by_side_stay_within_the_margins_of_the_paper(browser, tmp_path, language):
    antennas = tuple(f"antenna_long_{number}" for number in range(8))
    cells = {name: MatrixCell(-61.0, 4, number % 3, 0) for number, name in enumerate(antennas)}
    rows = tuple(MatrixRow(f"STATION{n}", f"{14 + n}", 473.0, "uhf", cells) for n in range(6))
    of_path = BenchPath("Merrow Hill Translator", 12.3, 253.0, 4, 1182.0, 84.0, 7.0)
    found = Matrix("Quay yard", ("field meter", "level"), True, False, antennas, rows)
    path = tmp_path / "test.html"
    with speaking(language):
        table = matrix_section([found], {"Quay yard": {row.station: of_path for row in rows}})
        path.write_text(page("Antenna test", [table], []), "utf-8")
    resize(browser, (PAPER_PX, 900))
    browser.get(path.as_uri())
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert wide <= PAPER_PX


@pytest.mark.parametrize("language", languages())
def test_changes_of_a_list_are_one_page(browser, tmp_path, language):
    before = write_small_coverage(tmp_path / "a")
    after = moved(tmp_path / "b", before, one_step)
    with speaking(language):
        write_comparison(changes(before, after), before, after, tmp_path / "changes")
    written = tmp_path / "changes" / "changes.html"
    text = written.read_text("utf-8")
    start = text.rindex("<h2>", 0, text.rindex('<section class="two ruled">'))
    written.write_text(text[:start] + text[text.index("</main>") :], "utf-8")
    assert pages_of(browser, written) == 1
