"""The README keeps its promises: commands on one line, cautions, pictures that exist."""

import re

import pandas as pd
import pytest
from click.testing import CliRunner

from covermap import open_coverage
from covermap.cli import main
from covermap.wording.cautions import CAUTIONS, NOT_COUNTED
from tests.reference import ROOT

README = (ROOT / "README.md").read_text("utf-8")


def one_line(text):
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("sentence", [*CAUTIONS, *NOT_COUNTED])
def test_every_caution_stands_in_the_readme(sentence):
    words = one_line(sentence.split("{")[0])
    assert words in one_line(README)


def test_pictures_and_pages_exist():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target


@pytest.fixture(scope="module")
def mapped(tmp_path_factory):
    """The output folder of the demo, mapped as README says."""
    folder = tmp_path_factory.mktemp("readme") / "demo"
    assert CliRunner().invoke(main, ["demo", str(folder)]).exit_code == 0
    made = CliRunner().invoke(main, ["map", str(folder / "scenario.toml"), "--progress", "none"])
    assert made.exit_code == 0, made.output
    return folder / "out"


def neighbourhoods(mapped):
    found = pd.read_csv(mapped / "neighbourhoods.csv").query("wanted_list == 'main'")
    return found.set_index("neighbourhood_name")


def test_the_table_of_neighbourhoods_is_what_the_demo_gives(mapped):
    found = neighbourhoods(mapped)
    rows = re.findall(r"^\| (\w+) \| (\d+) \| (\d+) % \| ([\w ]+) \| (\d+)° \|$", README, re.M)
    assert len(rows) == 10
    for name, homes, percent, service, aim_deg in rows:
        row = found.loc[name]
        assert (round(row.homes_total), row.deciding_service) == (int(homes), service), name
        share = 100.0 * row.homes_rooftop_or_more / row.homes_total
        assert share == pytest.approx(int(percent), abs=0.51), name
        assert row.aim_deg_true == int(aim_deg), name
    inside = found[found.neighbourhood_id.notna() & (found.index != "Outside every neighbourhood")]
    everyone = (inside.homes_rooftop_or_more >= inside.homes_total - 0.5).sum()
    assert f"In {everyone} of the {len(inside)} neighbourhoods" in README


def test_the_demo_has_a_dead_zone_behind_hills_and_one_of_a_shared_channel(mapped):
    """Two valleys, each a zone in one piece, dead and not doubtful; 40 to 150 homes have none of the list."""
    without = neighbourhoods(mapped).homes_without.sum()
    assert 40 <= without <= 150
    assert f"of about 4,800 homes {without:.0f} are expected to get none" in one_line(README)
    zones = open_coverage(mapped).dead_zones().query("kind == 'dead'")
    found = {(row.near_name, row.main_cause): row.homes for row in zones[zones.homes >= 20].itertuples()}
    assert found.keys() == {("Merrow Glen", "ridges"), ("Sullthwaite", "same_channel")}
    assert 40 <= sum(found.values()) <= 150
    assert f"{sum(found.values()):.0f} of them in two zones" in one_line(README)
