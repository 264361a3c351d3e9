"""The stock of a catalogue: each home once, with the least costly installation that holds its list."""

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from test_page_antennas import demo, prepared  # noqa: F401

from covermap.grid.frame import Grid
from covermap.grid.store import Store
from covermap.inputs.prepare import store_folder
from covermap.jobs.antenna_stock import by_cost, catalogue_stock, least_costly
from covermap.jobs.installation_reception import holding
from covermap.jobs.over_cells import all_cells, answer
from covermap.planning.antenna_stock import antenna_stock
from covermap.planning.installation_comparison import ComparedInstallation

U = 255


def test_the_first_of_several_ladders_that_holds_is_taken():
    variant = np.array([[[0, 3, 0, U]], [[2, 1, 0, U]]], np.uint8)
    # place 7 + 1: the second of the second ladder; place 2; none; unknown
    assert least_costly(variant, 9).tolist() == [[8, 2, -1, -2]]


class SixHomes:
    without_roof = None

    def window(self, tile):
        return np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]])


def test_stock_by_hand():
    grid = Grid("EPSG:32625", 100.0, 500_000.0, 4_900_000.0, 2, 3)
    place = np.array([[0, 0, 1], [1, -1, -2]], np.int16)
    told = [
        ComparedInstallation("a", "A", "rooftop", (), 90.0),
        ComparedInstallation("b", "B", "loft", (("Amplifier", 5.0),), math.nan),
    ]
    west, north = grid.x_min, grid.y_max
    areas = gpd.GeoDataFrame(
        {"neighbourhood_id": ["w"], "neighbourhood_name": ["West"]},
        geometry=[shapely.box(west, north - 200, west + 150, north)],
        crs=grid.crs_wkt,
    )
    table = antenna_stock("main", place, told, SixHomes(), grid, None, areas)
    rows = table.set_index(["neighbourhood_id", "antenna"])
    assert rows.homes.to_dict() == {
        ("service_area", "a"): 3.0, ("service_area", "b"): 7.0, ("service_area", "none_holds"): 5.0,
        ("service_area", "unknown"): 6.0,
        ("w", "a"): 2.0, ("w", "b"): 4.0, ("w", "none_holds"): 2.5, ("w", "unknown"): 0.0,
    }  # fmt: skip
    assert rows.cost[("service_area", "a")] == 270.0
    assert pd.isna(rows.cost[("service_area", "b")])
    assert rows.amplifier[("w", "b")] == "Amplifier"


@pytest.mark.slow
def test_every_home_of_the_run_is_counted_once_at_the_least_cost(prepared):  # noqa: F811
    table = answer(prepared, Store(store_folder(prepared.scenario, None)), catalogue_stock(prepared))
    whole = table[(table.neighbourhood_id != "service_area") & (table.wanted_list == "main")]
    assert 0.8 * prepared.homes.total < whole.homes.sum() <= prepared.homes.total + 1
    prices = [told.price for told, _ in by_cost(prepared)]
    known = [price for price in prices if not math.isnan(price)]
    assert known == sorted(known)
    assert prices[: len(known)] == known  # what has no price stands behind
    assert {"like_5", "small"} & set(table.antenna)


@pytest.mark.slow
def test_the_least_costly_holds_and_nothing_cheaper_does(prepared):  # noqa: F811
    store = Store(store_folder(prepared.scenario, None))
    tiers = [tier for _, tier in by_cost(prepared)]
    wanted, cells = prepared.scenario.wanted[0], all_cells(prepared)
    alone = holding(prepared, store, [[tier] for tier in tiers], wanted, cells)
    expected = np.where((alone == 1).any(axis=0), (alone == 1).argmax(axis=0), -1)
    ladders = [tiers[start : start + 7] for start in range(0, len(tiers), 7)]
    found = least_costly(holding(prepared, store, ladders, wanted, cells), len(tiers))
    known = found != -2
    assert np.array_equal(known, alone[0] != U)
    assert (found == expected)[known].mean() > 0.998


@pytest.mark.slow
def test_table_stands_beside_the_stock_of_classes(demo):  # noqa: F811
    table = pd.read_csv(demo.parent / "out" / "stock_antennas.csv")
    assert list(table.columns[:3]) == ["wanted_list", "neighbourhood_id", "neighbourhood_name"]
    priced = table.dropna(subset=["cost"])
    assert priced.cost.to_numpy() == pytest.approx(
        (priced.homes * priced.price_each).to_numpy(), rel=0.1, abs=60
    )
    assert (demo.parent / "out" / "stock.csv").is_file()
