"""Exact land and homes by tier, in the GeoPackage and in public."""

import sqlite3
from contextlib import closing

import numpy as np
import pytest
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.gis_layers.geopackage import write_geopackage
from covermap.planning.tier_totals import tier_totals
from covermap.result.public import public_totals
from covermap.result.transmitters import transmitters_layer


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("totals"))
    scenario = make_scenario(coverage)
    write_geopackage(
        scenario,
        coverage,
        None,
        transmitters_layer(scenario, coverage),
        coverage.folder,
        tables={"tier_totals": tier_totals(coverage, coverage.tier_names)},
    )
    return coverage


@pytest.fixture(scope="module")
def totals(coverage):
    return coverage.layer("tier_totals")


def test_areas_and_homes_add_up_to_all_there_is(coverage, totals):
    for _, rows in totals.groupby("wanted_list"):
        assert rows["area_km2"].sum() == pytest.approx(30 * 40 * 0.01)  # squares of 100 m
        assert rows["homes"].sum() == pytest.approx(coverage.run["homes"]["total"])


@pytest.mark.parametrize("tier", [*range(1, 9), None])
def test_every_tier_has_its_cells(coverage, totals, tier):
    raster = coverage.read("few/tier") == (255 if tier is None else tier)
    of_list = totals[totals["wanted_list"] == "few"]
    rows = of_list[of_list["tier"].isna() if tier is None else of_list["tier"] == tier]
    assert rows["area_km2"].item() == pytest.approx(0.01 * raster.sum())
    assert rows["homes"].item() == pytest.approx(coverage.read("homes")[raster].sum())
    assert rows["tier_name"].item() == ("unknown" if tier is None else coverage.tier_names[tier - 1])


def test_patches_alone_cannot_be_added_up_and_say_so(coverage, totals):
    """Patches under 3 cells have joined others, so their sums by tier are not the cells'."""
    patches = coverage.layer("tier_areas")
    main = patches[patches["wanted_list"] == "main"].groupby("tier")["area_km2"].sum()
    exact = totals[totals["wanted_list"] == "main"].dropna(subset="tier").set_index("tier")["area_km2"]
    assert main.sum() == pytest.approx(exact.sum())
    assert (main - exact.reindex(main.index)).abs().max() > 0.0


def test_the_layer_names_the_table(coverage):
    with closing(sqlite3.connect(coverage.folder / "coverage.gpkg")) as database:
        told = dict(database.execute("SELECT table_name, description FROM gpkg_contents"))
        kinds = dict(database.execute("SELECT table_name, data_type FROM gpkg_contents"))
    assert "tier_totals" in told["tier_areas"]
    assert told["tier_totals"].startswith("Exact land and homes")
    assert kinds["tier_totals"] == "attributes"


def test_without_homes_their_column_is_missing(tmp_path):
    coverage = write_small_coverage(tmp_path, homes=False)
    totals = tier_totals(coverage, coverage.tier_names)
    assert totals["homes"].isna().all()
    assert totals["area_km2"].sum() == pytest.approx(2 * GRID.cells * 0.01)


def test_in_public_homes_are_rounded_to_two_figures_and_at_least_to_tens(totals):
    shown = public_totals(totals)["homes"].to_numpy(dtype=float)
    assert set(np.unique(shown % 10.0)) <= {0.0, 1.0}  # 1 stands for "under 5"
    homes = totals["homes"].to_numpy(dtype=float)
    assert (np.abs(shown - homes) <= np.maximum(5.0, 0.05 * homes)).all()  # half of a last figure
    assert (shown[(homes >= 1000) & (homes < 10_000)] % 100 == 0).all()
