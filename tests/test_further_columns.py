"""Columns that hang on the rasters of a plan: second antenna, cause, amplifier, own antenna for high VHF."""

import re
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from plan_rasters import CAUSES, add_plan_rasters
from small_coverage import GRID, WHOLE, make_scenario, write_small_coverage

from covermap.planning.areas import summarise_areas, summarise_whole
from covermap.planning.dead_zones import find_dead_zones
from covermap.planning.homes import PointHomes
from covermap.planning.not_promised import not_promised
from covermap.planning.prices import Price
from covermap.planning.stock import stock_table
from covermap.reports.brief import write_brief
from covermap.result.rasters import RasterSet

OWN_HIGH_VHF = 8


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("planned"))
    arrays = add_plan_rasters(coverage)
    arrays["plan_flags"] |= np.where(coverage.read("main/tier") == 5, OWN_HIGH_VHF, 0).astype(np.uint8)
    chance = coverage.read("main/dead_zone_chance")
    chance[10:14, 10:16] = 4  # 24 dead cells
    with RasterSet(coverage.folder, GRID, services={"main": coverage.services("main")}) as rasters:
        rasters.write("main/dead_zone_chance", WHOLE, chance)
        rasters.write("main/plan_flags", WHOLE, arrays["plan_flags"])
    return SimpleNamespace(coverage=coverage, **arrays, homes=coverage.read("homes").astype(float))


@pytest.fixture(scope="module")
def columns(planned):
    return summarise_whole(planned.coverage)["main"].columns


def known(planned):
    return planned.coverage.read("main/tier") <= 8


@pytest.mark.parametrize(
    ("name", "raster", "codes"),
    [
        ("two_antennas_percent", "second_aim", range(360)),
        ("amplifier_helps_percent", "amplifier", (1, 2)),
        ("amplifier_harms_percent", "amplifier", (6,)),
    ],
)
def test_shares_of_the_plan_are_homes_counted_cell_by_cell(planned, columns, name, raster, codes):
    homes, chosen = planned.homes, np.isin(getattr(planned, raster), codes)
    of_known = homes[known(planned)].sum()
    assert columns[name] == pytest.approx(100.0 * homes[chosen].sum() / of_known, abs=0.01)


def test_the_second_aim_is_the_only_one_there_is(columns):
    assert columns.second_aim_deg_true == 205  # the only one plan_rasters writes


def test_high_vhf_counts_homes_that_lose_the_list_with_an_antenna_not_made_for_it(planned, columns):
    chosen = (planned.plan_flags & OWN_HIGH_VHF) > 0
    assert planned.homes[chosen & known(planned)].sum() > 0
    expected = 100.0 * planned.homes[chosen & known(planned)].sum() / planned.homes[known(planned)].sum()
    assert columns.high_vhf_percent == pytest.approx(expected, abs=0.01)


def test_the_cause_of_most_homes_and_the_tier_without_the_decider(planned, columns):
    by_cause = [planned.homes[planned.main_cause == index].sum() for index in range(len(CAUSES))]
    assert columns.main_cause == CAUSES[int(np.argmax(by_cause))]
    lower = np.sort(np.repeat(planned.tier_without_deciding[known(planned)],
                              planned.homes[known(planned)].astype(int)))  # fmt: skip
    assert columns.tier_half_without_deciding == lower[(len(lower) - 1) // 2]


def test_neighbourhoods_carry_the_same_columns(planned):
    west, north = GRID.x_min, GRID.y_max
    halves = [
        shapely.box(west, north - 3000, west + 2000, north),
        shapely.box(west + 2000, north - 3000, west + 4000, north),
    ]
    areas = gpd.GeoDataFrame(
        {"neighbourhood_id": ["w", "e"], "neighbourhood_name": ["W", "E"]}, geometry=halves, crs=GRID.crs_wkt
    )
    x, y = GRID.centres(GRID.whole)
    homes = PointHomes(x.ravel(), y.ravel(), planned.homes.ravel(), GRID)
    found = summarise_areas(planned.coverage, areas, homes).set_index(["wanted_list", "neighbourhood_id"])
    half = planned.homes[:, :20]
    of_known = half[known(planned)[:, :20]].sum()
    west_row = found.loc[("main", "w")]
    assert west_row.two_antennas_percent == pytest.approx(
        100.0 * half[planned.second_aim[:, :20] >= 0].sum() / of_known, abs=0.01
    )
    by_cause = [half[planned.main_cause[:, :20] == index].sum() for index in range(len(CAUSES))]
    assert west_row.main_cause == CAUSES[int(np.argmax(by_cause))]
    assert found.loc["few"].two_antennas_percent.isna().all()  # the list without these rasters: not known


def test_zones_and_homes_not_promised_name_their_cause(planned):
    zones = find_dead_zones(planned.coverage, "main")
    assert len(zones)
    assert set(zones.main_cause.dropna()) <= set(CAUSES)
    assert zones.main_cause.notna().any()
    tier = planned.coverage.read("main/tier")
    behind = not_promised(planned.coverage, "main").by_cause
    for index, cause in enumerate(CAUSES):
        lost = planned.homes[(tier == 8) & (planned.main_cause == index)].sum()
        assert behind.get(cause, 0.0) == pytest.approx(lost, abs=0.01)


def test_the_brief_says_why(planned, tmp_path):
    path = write_brief(
        planned.coverage,
        make_scenario(planned.coverage),
        summarise_whole(planned.coverage),
        np.full(GRID.shape, 226, np.uint8),
        tmp_path,
        zones=find_dead_zones(planned.coverage, "main"),
    )
    assert re.search(r"Why it is hard there: [a-z ]+", path.read_text("utf-8"))


def test_the_stock_counts_second_and_high_vhf_antennas(planned):
    x, y = GRID.centres(GRID.whole)
    homes = PointHomes(x.ravel(), y.ravel(), planned.homes.ravel(), GRID)
    found = stock_table(
        planned.coverage, homes, None, {"second_antenna": Price(10.0, 0.5)}, amplified=(6, 7), masts=(7,)
    )
    of_list = found[(found.wanted_list == "main") & (found.shift_db == 0)].set_index("item")
    served = planned.coverage.read("main/tier") <= 7
    second = planned.homes[served & (planned.second_aim >= 0)].sum()
    assert of_list.loc["second_antenna", "count"] == pytest.approx(second, abs=0.06)
    assert of_list.loc["second_antenna", "cost"] == pytest.approx(10.0 * second, abs=0.6)
    assert of_list.loc["second_antenna", "share_percent"] == pytest.approx(
        100.0 * second / planned.homes.sum(), abs=0.06
    )
    assert of_list.loc["high_vhf_antenna", "count"] > 0
