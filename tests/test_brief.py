"""The brief: one page that opens anywhere, with numbers as people read them and every caution."""

import re

import numpy as np
import pandas as pd
import pytest
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.planning.areas import WholeSummary, summarise_whole
from covermap.planning.dead_zones import find_dead_zones
from covermap.planning.not_promised import NotPromised, not_promised
from covermap.reports.brief import write_brief
from covermap.reports.brief.facts import basis_in_words, brief_facts
from covermap.reports.brief.lists import lists_table
from covermap.reports.brief.picture import Label, brief_picture, round_length
from covermap.reports.web_map import Place
from covermap.wording.words import day_text


@pytest.fixture(scope="module")
def brief(tmp_path_factory):
    folder = tmp_path_factory.mktemp("brief")
    coverage = write_small_coverage(folder)
    relief = np.full(GRID.shape, 226, np.uint8)
    places = [Place("<b>Ness</b> $x_1$", -35.99, 43.99)]
    zones = find_dead_zones(coverage, "main")
    path = write_brief(
        coverage,
        make_scenario(coverage),
        summarise_whole(coverage),
        relief,
        folder,
        zones=zones,
        places=places,
    )
    return coverage, path.read_text("utf-8")


def test_the_page_has_every_caution_and_no_script_and_asks_no_network(brief):
    coverage, page = brief
    text = re.sub(r"\s+", " ", page)
    for caution in coverage.run["cautions"]:
        assert caution.replace("'", "&#39;") in text
    assert "<script" not in page
    assert "default-src 'none'" in page
    assert not re.search(r"(src|href)=[\"']?(https?:)?//", page)
    assert "@page { size: A4" in page


def test_names_from_inputs_are_escaped(brief):
    _, page = brief
    assert "Small &lt;i&gt;Isle&lt;/i&gt;" in page
    assert "<i>Isle" not in page


def test_three_numbers_stand_as_people_read_them(brief):
    coverage, page = brief
    homes, tier = coverage.read("homes"), coverage.read("main/tier")
    rooftop = homes[(tier >= 5) & (tier <= 8)].sum()
    assert f"{int(round(rooftop, -int(np.log10(rooftop)) + 1)):,}" in page
    assert "if all signals were 3 dB stronger" in page
    assert "List main: all three wanted services, 90 % sure" in page
    assert "1 September 2026" in page


def columns(**changes):
    values = {"homes_total": 100.0, "homes_unknown": 0.0, "homes_rooftop_or_more": 60.0}
    values |= {"homes_without": 0.0, "homes_without_low": 0.0, "homes_without_high": 0.0}
    values |= {f"homes_tier_{tier}": 12.5 for tier in range(1, 9)}
    return pd.Series(values | changes)


def facts_of(coverage, **changes):
    summary = {"main": WholeSummary(columns(**changes), {})}
    return brief_facts(coverage, "main", summary, NotPromised({"Alpha": 30.0}, {"ridges": 25.0}), None, None)


def test_every_wanted_list_has_its_row_with_the_homes_of_its_own_squares(brief):
    coverage, page = brief
    assert set(coverage.lists) == {"main", "few"}
    rows = re.findall(r"<tr><td>(main|few) <span class=\"soft\">([^<]+)</span></td>(.*?)</tr>", page)
    assert [row[:2] for row in rows] == [("main", "all three"), ("few", "both")]
    homes = coverage.read("homes")
    for name, _, cells in rows:
        shown = re.findall(r"<td data-label=\"([^\"]+)\">([^<]*)</td>", cells)
        assert [label for label, _ in shown[-3:]] == ["Unknown", "None of it", "Dead zones (doubtful)"]
        tier = coverage.read(f"{name}/tier")
        for number in range(1, 9):
            counted = float(homes[tier == number].sum())
            step = 10 ** (int(np.log10(counted)) - 1) if counted >= 100 else 1  # two significant figures
            assert float(shown[number - 1][1].replace(",", "")) == pytest.approx(counted, abs=step / 2)


def test_dead_zones_of_a_list_are_counted_apart_from_doubtful_ones_and_other_lists():
    summary = WholeSummary(columns(), {})
    run = {"wanted": {name: {"services": ["a", "b"]} for name in ("main", "few", "none")}}
    kinds = [("main", "dead"), ("main", "doubtful"), ("main", "dead"), ("few", "dead")]
    zones = pd.DataFrame(kinds, columns=["wanted_list", "kind"])
    found = lists_table(run, dict.fromkeys(run["wanted"], summary), zones, ["class"] * 8)
    assert [row["values"][-1] for row in found["rows"]] == ["2 (1)", "1", "0"]


def test_a_run_of_one_list_has_no_table_of_lists(brief):
    coverage, _ = brief
    assert facts_of(coverage)["lists"] is None
    assert facts_of(coverage)["subtitle"][0].startswith("All three wanted services")


def test_a_small_count_is_under_5_and_never_0_beside_a_range(brief):
    coverage, _ = brief
    few = facts_of(coverage, homes_without=0.4, homes_without_high=3.0)["three"][0]
    assert (few["before"], few["number"], few["range"]) == ("under", "5", "")
    none = facts_of(coverage, homes_without=0.0, homes_without_high=12.0)["three"][0]
    assert (none["before"], none["number"]) == ("under", "5")
    assert none["range"].startswith("0 to 12")
    assert facts_of(coverage)["three"][0]["number"] == "none"


def test_a_small_share_of_the_land_has_its_first_word_small(tmp_path):
    coverage = write_small_coverage(tmp_path, homes=False)
    shares = {"share_of_land_percent_" + name: 0.4 for name in ("without", "rooftop_or_more", "unknown")}
    shares |= {f"share_of_land_percent_tier_{tier}": 12.5 for tier in range(1, 9)}
    facts = brief_facts(
        coverage, "main", {"main": WholeSummary(pd.Series(shares), {})}, NotPromised({}, {}), None, None
    )
    assert [(one["before"], one["number"]) for one in facts["three"]] == [("under", "1 %")] * 3


def test_when_homes_without_are_few_the_homes_not_promised_stand_there(brief):
    coverage, _ = brief
    behind = facts_of(coverage)["behind"]
    assert behind["heading"] == "Not promised all three wanted services: 13 homes"
    assert "Deciding station: Alpha, 30 homes." in " ".join(behind["sentences"])
    assert "Why it is hard there: hills in the way, 25 homes." in " ".join(behind["sentences"])


def test_not_promised_counts_homes_of_tier_8_by_the_service_that_decides(brief):
    coverage, _ = brief
    homes, tier = coverage.read("homes"), coverage.read("main/tier")
    deciding = coverage.read("main/deciding_service")
    found = not_promised(coverage, "main").by_service
    for index, service in enumerate(coverage.services("main")):
        assert found.get(service, 0.0) == pytest.approx(
            homes[(tier == 8) & (deciding == index)].sum(), abs=0.01
        )


def test_bars_fill_their_width_and_follow_the_counts(brief):
    coverage, _ = brief
    bars = {
        name: [5.0, 10, 10, 10, 10, 10, 20, 10, 15] for name in ("3db_weaker", "predicted", "3db_stronger")
    }
    summary = {"main": WholeSummary(columns(), {}, bars)}
    facts = brief_facts(coverage, "main", summary, NotPromised({}, {}), None, None)
    for bar in facts["bars"]:
        widths = [float(part["width"]) for part in bar["parts"]]
        assert sum(widths) == pytest.approx(372 - 104, abs=0.5)
        assert widths[5] == pytest.approx(268 * 0.2, abs=0.1)  # tier 6 has 20 of 100


def test_words():
    assert day_text("2026-09-01") == "1 September 2026"
    assert day_text("") == "an unknown date"
    assert [round_length(value) for value in (0.7, 1.0, 4.9, 23.0)] == [0.5, 1.0, 2.0, 20.0]


def test_the_picture_is_cut_to_the_area_and_keeps_its_proportions():
    outside = np.ones(GRID.shape, bool)
    outside[5:25, 10:20] = False
    tier = np.full(GRID.shape, 6, np.uint8)
    labels = [Label("Mast", GRID.x_min + 1500, GRID.y_max - 1500, is_mast=True)]
    picture = brief_picture(GRID, tier, outside, np.full(GRID.shape, 226, np.uint8), labels)
    assert picture.png.startswith(b"\x89PNG")
    assert picture.height_px / picture.width_px == pytest.approx(24 / 14, abs=0.02)  # 2 cells of margin
    nothing = brief_picture(GRID, tier, np.ones(GRID.shape, bool), np.full(GRID.shape, 226, np.uint8), [])
    assert nothing.width_px == 378


@pytest.mark.parametrize(
    ("sigma", "said"),
    [
        ({"total": 6.31}, "Spread of a prediction at one home: 6.3 dB."),
        (
            {"total": 6.31, "by_path": {"clear": 6.31, "many_ridges": 11.66}},
            "6.3 dB, up to 11.7 dB behind hills.",
        ),
        ({"total": 7.0, "by_path": {"clear": 7.0, "many_ridges": 7.0}}, "at one home: 7.0 dB."),
    ],
)
def test_the_spread_is_told_as_far_as_it_goes(sigma, said):
    assert any(sentence.endswith(said) for sentence in basis_in_words({"sigma_db": sigma}, False))
