"""A second opinion: another model's field and tier beside the map's, counted and never mixed in."""

import json
import re

import numpy as np
import pytest
from test_blocks import flat, request
from test_commands import run, write_demo

import covermap
from covermap.constants import FIELD_FROM_LOSS_DB
from covermap.grid.blocks import compute_block
from covermap.grid.curve_block import curve_block
from covermap.grid.geodesy import mast_geometry
from covermap.planning.second_opinion import opinion_count
from covermap.tables import table_text
from covermap.tables.field_curves import read_field_curves
from covermap.wording.second_opinion import more_or_less, second_opinion_in_words

COARSE = "cell_m = 2000"


def demo_with(folder, lines):
    return write_demo(folder, {"cell_m = 100": COARSE, "[prediction]\n": f"[prediction]\n{lines}\n"})


def with_spread_of_the_map(scenario):
    """Let a scenario of another model take the spread of the default model, as a second opinion does."""
    (scenario.parent / "spread.csv").write_text(table_text("prediction_spread"), "utf-8")
    text = scenario.read_text("utf-8")
    assert "[reception]\n" in text
    scenario.write_text(
        text.replace("[reception]\n", '[reception]\nprediction_spread = "spread.csv"\n'), "utf-8"
    )


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """The coarse demo as it is, with each second opinion, and by the second model itself."""
    folder = tmp_path_factory.mktemp("opinions")
    found = {}
    for name, lines in {
        "plain": "",
        "beside_itm": 'second_opinion = "itm"',
        "beside_curves": 'second_opinion = "curves"',
        "itm": 'model = "itm"',
    }.items():
        scenario = demo_with(folder / name, lines)
        if name == "itm":
            with_spread_of_the_map(scenario)
        result = run("map", scenario, "--output", folder / name / "out", "--store", folder / "store")
        assert result.exit_code == 0, result.output
        found[name] = covermap.open_coverage(folder / name / "out")
    return found


@pytest.mark.parametrize("opinion", ["beside_itm", "beside_curves"])
def test_a_second_opinion_leaves_the_map_as_it_is(results, opinion):
    for name in results["plain"].raster_names():
        one, other = results["plain"].read(name), results[opinion].read(name)
        assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), name
    assert not results["plain"].has("main/second_opinion")
    assert results["plain"].run["second_opinion"] == {}


def test_its_tiers_are_those_of_a_map_by_that_model(results):
    assert np.array_equal(
        results["beside_itm"].read("main/tier_second_opinion"), results["itm"].read("main/tier")
    )


def test_the_difference_is_that_of_the_limiting_services_fields(results):
    beside, other = results["beside_itm"], results["itm"]
    difference_db = beside.read("main/second_opinion")
    limiting = beside.read("main/limiting_service")
    services = beside.services("main")
    checked = 0
    for index, service in enumerate(services):
        carriers = beside.run["carriers"][service]
        if len(carriers) != 1:
            continue  # which of two stations counts is the plan's choice
        name = f"field/{carriers[0]['station_id']}"
        here = (limiting == index) & np.isfinite(difference_db)
        expected = other.read(name) - beside.read(name)
        assert difference_db[here] == pytest.approx(
            expected[here], abs=1.0 / 128.0 + 1e-3
        )  # two fields in steps
        checked += int(here.sum())
    assert checked > 20


@pytest.mark.parametrize("opinion", ["beside_itm", "beside_curves"])
def test_squares_and_homes_of_another_tier_are_counted(results, opinion):
    coverage = results[opinion]
    tier, other = coverage.read("main/tier"), coverage.read("main/tier_second_opinion")
    homes = np.nan_to_num(coverage.read("homes"))
    known = (tier != 255) & (other != 255)
    count = coverage.run["second_opinion"]["main"]
    assert count["squares"] == known.sum()
    assert (count["easier"], count["harder"]) == (
        (known & (other < tier)).sum(),
        (known & (other > tier)).sum(),
    )
    assert count["homes_harder"] == pytest.approx(homes[known & (other > tier)].sum())
    assert count["harder"] + count["easier"] > 0
    assert opinion_count(coverage, "main").squares == count["squares"]
    page = (coverage.folder / "brief.html").read_text("utf-8")
    assert "second opinion" in page
    assert "The map is the first model's alone" in re.sub("&#39;|&#x27;|’", "'", page)


def test_a_sheet_says_what_another_model_would_need(tmp_path):
    scenario = demo_with(tmp_path / "demo", 'second_opinion = "curves"')
    at = ("--at", "43.98,-35.70", "--output", tmp_path / "sheet")
    assert run("address", scenario, *at).exit_code == 0
    (page,) = (tmp_path / "sheet").glob("*.html")
    text = re.sub("<[^>]*>", " ", page.read_text("utf-8"))
    assert re.search(r"Another model \(the curves of 47 CFR 73.699\) says \d+ dB more", text)
    found = json.loads(run("address", scenario, *at[:2], "--json").stdout)
    (change,) = [one for one in found["changes"] if one["change"] == "second_opinion"]
    # behind ridges, curves that know the average terrain alone are far too hopeful: in the demo by tens of dB
    assert change["other_db"] > 10.0
    assert change["tier"] < found["tier"]


def test_the_block_of_the_curves_is_the_curve_all_round_on_flat_ground():
    terrain = flat()
    asked = request(terrain)
    tile = asked.grid.whole
    block = compute_block(asked, tile, terrain)
    haat_m = np.full(360, 150.0)
    found = curve_block(asked, tile, block, haat_m, read_field_curves())
    longitude_deg, latitude_deg = asked.grid.centres_lonlat(tile)
    seen = mast_geometry(asked.latitude_deg, asked.longitude_deg, longitude_deg, latitude_deg)
    far = seen.distance_km > 0.3
    for index, (frequency_mhz, band) in enumerate(((195.0, "high_vhf"), (600.0, "uhf"))):
        # 47 CFR 73.699: the field of 1 kW; P.1812-8 section 4.8: loss = 199.36 + 20 log f(GHz) - E
        field = covermap.curve_field(1.0, 150.0, seen.distance_km, band, "F(50,50)")
        expected = FIELD_FROM_LOSS_DB + 20.0 * np.log10(frequency_mhz / 1000.0) - field
        assert found.loss_db[index, 0][far] == pytest.approx(expected[far], abs=0.06)
        strong = covermap.curve_field(1.0, 150.0, seen.distance_km, band, "F(50,10)")
        inner = far & (np.abs(seen.distance_km - 16.09) > 0.3)
        assert found.spread_db[index, 0][inner] == pytest.approx((strong - field)[inner], abs=0.12)
    higher = block.loss_db[:, 1] - block.loss_db[:, 0]
    assert found.loss_db[:, 1] - found.loss_db[:, 0] == pytest.approx(higher, abs=1e-3, nan_ok=True)
    nowhere = curve_block(asked, tile, block, np.full(360, np.nan), read_field_curves())
    assert np.isnan(nowhere.loss_db).all()


@pytest.mark.parametrize(
    ("difference_db", "words"),
    [(-5.2, "5 dB less"), (2.6, "3 dB more"), (0.3, "the same within 1 dB"), (-0.4, "the same within 1 dB")],
)
def test_a_difference_in_words(difference_db, words):
    assert more_or_less(difference_db) == words


def test_a_run_without_a_second_opinion_says_nothing_of_it():
    assert second_opinion_in_words({"options": {"prediction": {"second_opinion": None}}}, "main") == []
    assert second_opinion_in_words({}, "main") == []
