"""Stock for a business: counts that add up, prices that are checked, an area that is a circle."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from plan_rasters import add_plan_rasters
from small_coverage import GRID, WHOLE, write_small_coverage

from covermap.errors import InputError
from covermap.planning.carriers import needs_high_vhf
from covermap.planning.prices import Price, read_prices
from covermap.planning.service_area import circle, read_service_area
from covermap.planning.stock import stock_table
from covermap.result.csv_tables import write_stock


class RasterOfHomes:
    without_roof = None

    def __init__(self, coverage):
        self.coverage = coverage

    def window(self, tile):
        return self.coverage.read("homes", tile)


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("stock"))


def stock(coverage, area=None, prices=None):
    table = stock_table(coverage, RasterOfHomes(coverage), area, prices or {}, amplified=(6, 7), masts=(7,))
    return table[table.wanted_list == "main"].set_index(["shift_db", "item"])


def test_stock_counts_every_home_once_and_the_doubtful_ones_one_class_up(coverage):
    found = stock(coverage)
    homes, tier = coverage.read("homes"), coverage.read("main/tier").astype(int)
    weaker = coverage.read("main/tier_3db_weaker")
    moved = (weaker > tier) & (tier < 7)  # above tier 7 there is nothing to stock
    planned = np.where(moved, tier + 1, tier)
    for number in range(1, 8):
        row = found.loc[(0, f"antenna_tier_{number}")]
        assert row["count"] == pytest.approx(homes[planned == number].sum(), abs=0.06)
        assert row.homes_in_class == pytest.approx(homes[tier == number].sum(), abs=0.06)
        assert row.counted_one_class_up == pytest.approx(homes[moved & (planned == number)].sum(), abs=0.06)
    assert found.loc[(0, "homes_not_promised")]["count"] == pytest.approx(homes[planned == 8].sum(), abs=0.06)
    assert found.loc[(0, "homes_unknown")]["count"] == pytest.approx(homes[tier == 255].sum(), abs=0.06)
    for shift_db in (-3, 0, 3):
        antennas = [f"antenna_tier_{number}" for number in range(1, 8)]
        parts = [*antennas, "homes_not_promised", "homes_unknown"]
        total = sum(found.loc[(shift_db, item)]["count"] for item in parts)
        assert total == pytest.approx(homes.sum(), abs=0.5)
        amplifiers = sum(found.loc[(shift_db, f"antenna_tier_{number}")]["count"] for number in (6, 7))
        assert found.loc[(shift_db, "amplifier")]["count"] == pytest.approx(amplifiers, abs=0.15)
    assert pd.isna(found.loc[(-3, "antenna_tier_5")].counted_one_class_up)


class FlatsOfHomes(RasterOfHomes):
    """Every home is a flat that may use no roof."""

    @property
    def without_roof(self):
        return RasterOfHomes(self.coverage)


@pytest.mark.parametrize("item", ["high_vhf_antenna", "second_antenna"])
def test_nothing_is_stocked_for_flats_that_would_need_a_roof(tmp_path, item):
    coverage = write_small_coverage(tmp_path)
    if item == "second_antenna":
        add_plan_rasters(coverage)
        wanting = coverage.read("main/second_aim") >= 0
    else:
        wanting = needs_high_vhf(coverage, "main", WHOLE).reshape(GRID.shape)
    table = stock_table(coverage, FlatsOfHomes(coverage), None, {}, amplified=(6, 7), masts=(7,))
    found = table[(table.wanted_list == "main") & (table.shift_db == 0)].set_index("item")
    homes, tier = coverage.read("homes"), coverage.read("main/tier").astype(int)
    planned = tier + (
        (coverage.read("main/tier_3db_weaker") > tier) & (tier < 7)
    )  # doubtful ones one class up
    assert homes[wanting & (planned >= 3) & (planned <= 7)].sum() > 0
    # A flat without a roof is promised what a window antenna (2) brings: common practice, no source.
    assert found.loc[item]["count"] == pytest.approx(homes[wanting & (planned <= 2)].sum(), abs=0.06)


def test_cost_and_hours_are_counts_times_the_price_list(coverage):
    found = stock(coverage, prices={"antenna_tier_6": Price(100.0, 2.0), "mast": Price(300.0, np.nan)})
    six, mast = found.loc[(0, "antenna_tier_6")], found.loc[(0, "mast")]
    assert six.cost == pytest.approx(100.0 * six["count"], abs=10)
    assert six.hours == pytest.approx(2.0 * six["count"], abs=0.2)
    assert pd.isna(found.loc[(0, "antenna_tier_5")].cost)
    assert found.loc[(0, "total")].cost == pytest.approx(six.cost + mast.cost, abs=0.02)
    assert found.loc[(0, "total")].hours == pytest.approx(six.hours, abs=0.1)


def test_only_homes_inside_the_service_area_count(coverage):
    west, north = GRID.x_min, GRID.y_max
    half = shapely.box(west, north - 3000, west + 2050, north)  # cuts through the cells of column 20
    homes = coverage.read("homes")
    expected = homes[:, :20].sum() + 0.5 * homes[:, 20].sum()
    assert stock(coverage, half).loc[(0, "total")]["count"] == pytest.approx(expected, abs=0.06)


def test_a_depots_circle_has_its_radius_on_the_ellipsoid():
    geod = pyproj.Geod(ellps="WGS84")
    outline = gpd.GeoSeries([circle(-36.0, 44.0, 12.0, GRID)], crs=GRID.crs_wkt).to_crs("EPSG:4326").iloc[0]
    for longitude, latitude in list(outline.exterior.coords)[::30]:
        assert geod.inv(-36.0, 44.0, longitude, latitude)[2] == pytest.approx(12_000, abs=0.1)
    nothing = SimpleNamespace(service_area=None, depot=None, radius_km=None)
    assert read_service_area(nothing, GRID) == (None, ())
    assert read_service_area(None, GRID) == (None, ())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("item,price_each\nmast,3\n", "no column 'hours_each'"),
        ("item,price_each,hours_each\nmust,3,1\n", 'line 2, column item: found "must"'),
        ("item,price_each,hours_each\nmast,3,1\nmast,3,1\n", "line 3, column item: .*stands there twice"),
        ("item,price_each,hours_each\nmast,-3,1\n", 'column price_each: found "-3"'),
        ("item,price_each,hours_each\nmast,dear,1\n", 'found "dear"'),
        ("item,price_each,hours_each\n", "it has no items"),
    ],
)
def test_wrong_price_lists_are_told(tmp_path, text, said):
    path = tmp_path / "prices.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError, match=f"(?s){said}"):
        read_prices(path)


def test_all_faults_of_a_price_list_are_told_together(tmp_path):
    path = tmp_path / "prices.csv"
    path.write_text("item,price_each,hours_each\nmust,3,1\nmast,-3,x\namplifier,5,1\namplifier,6,1\n")
    with pytest.raises(InputError) as caught:
        read_prices(path)
    for part in ('found "must"', 'found "-3"', 'found "x"', "line 5"):
        assert part in str(caught.value)


def test_the_table_is_written_with_gaps_for_what_is_not_known(coverage, tmp_path):
    table = stock_table(coverage, RasterOfHomes(coverage), None, {}, amplified=(6, 7), masts=(7,))
    back = pd.read_csv(write_stock(table, tmp_path))
    assert [*back.columns] == [*table.columns]
    second = back[back.item == "second_antenna"]
    assert second["count"].isna().all()  # the result holds no second aims: not known, not 0
