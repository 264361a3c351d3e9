"""A result in xarray and as GeoParquet."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.errors import InputError
from covermap.gis_layers.geopackage import write_geopackage
from covermap.result.exports import write_geoparquet
from covermap.result.transmitters import transmitters_layer


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("exports"))
    scenario = make_scenario(coverage)
    write_geopackage(scenario, coverage, None, transmitters_layer(scenario, coverage), coverage.folder)
    return coverage


def test_coordinates_are_the_centres_of_cells(coverage):
    x, y = coverage.coordinates()
    assert (x[0], x[-1], y[0], y[-1]) == (259_050.0, 262_950.0, 4_875_950.0, 4_873_050.0)  # 40 x 30 of 100 m


def test_dataset_has_crs_units_and_nan_for_unknown(coverage):
    pytest.importorskip("xarray")
    data = coverage.to_xarray(
        ["main/tier", "main/tier_chance", "main/service_chance", "field/alpha-1", "flags"]
    )
    assert data["main/tier"].dims == ("y", "x")
    assert data["main/tier_chance"].sel(tier=5).shape == GRID.shape
    assert list(data["service_of_main"].values) == list(coverage.services("main"))
    assert np.isnan(data["main/tier"]).sum() == 24
    assert data["field/alpha-1"].attrs["units"] == "dB(uV/m)"
    wkt = data["spatial_ref"].attrs["crs_wkt"]
    assert pyproj.CRS.from_wkt(wkt).to_epsg() == 32625
    picked = data["main/tier"].sel(x=261_340.0, y=4_874_260.0, method="nearest")
    assert picked == coverage.read("main/tier")[17, 23]
    assert "not a measurement" in data.attrs["comment"]


def test_dataset_of_everything_and_of_nothing_known(coverage):
    pytest.importorskip("xarray")
    assert {"ground", "homes", "few/margin"} <= set(coverage.to_xarray())
    with pytest.raises(InputError, match="height"):
        coverage.to_xarray(["main/height"])


def test_geoparquet_holds_the_layers_as_they_are(coverage, tmp_path):
    pytest.importorskip("pyarrow")
    paths = write_geoparquet(coverage, tmp_path / "parquet")
    assert {path.stem for path in paths} == {"tier_areas", "transmitters", "cells"}
    for path in paths:
        frame = gpd.read_parquet(path)
        assert frame.crs.to_epsg() == 32625
        assert frame.geometry.equals(coverage.layer(path.stem).geometry)
