"""A result in xarray: dimensions, codes, units and CRS, in memory and through netCDF."""

import numpy as np
import pyproj
import pytest
import rasterio
from plan_rasters import add_plan_rasters
from small_coverage import GRID, write_small_coverage

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError

xarray = pytest.importorskip("xarray")


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("dataset"))
    add_plan_rasters(coverage)
    return coverage


@pytest.fixture(scope="module")
def data(coverage):
    return coverage.to_xarray()


def test_coordinates_are_the_centres_of_cells(coverage, data):
    x, y = coverage.coordinates()
    assert (x[0], x[-1], y[0], y[-1]) == (259_050.0, 262_950.0, 4_875_950.0, 4_873_050.0)  # 40 x 30 of 100 m
    assert (data.x.values == x).all()
    assert (data.y.values == y).all()


def test_dimensions_are_list_tier_station_and_service(coverage, data):
    assert dict(data.sizes) == {"list": 2, "station": 3, "tier": 7, "service": 3, "y": 30, "x": 40}
    assert list(data.list.values) == list(coverage.lists)
    assert list(data.station.values) == sorted(coverage.field_stations)
    assert data["tier_needed"].dims == ("list", "y", "x")
    assert data["tier_chance"].dims == ("list", "tier", "y", "x")
    assert data["service_chance"].dims == ("list", "service", "y", "x")
    assert data["field"].dims == ("station", "y", "x")
    assert data["ground"].dims == data["homes"].dims == ("y", "x")


@pytest.mark.parametrize("list_name", ["main", "few"])
def test_every_list_has_its_own_values(coverage, data, list_name):
    tier = coverage.read(f"{list_name}/tier")
    np.testing.assert_array_equal(data["tier_needed"].sel(list=list_name), tier)
    chance = coverage.read(f"{list_name}/tier_chance")[4]
    known = np.where(chance == UNKNOWN_UINT8, np.nan, chance)
    np.testing.assert_array_equal(data["tier_chance"].sel(list=list_name, tier=5), known)
    for order, service in enumerate(coverage.services(list_name)):
        band = coverage.read(f"{list_name}/service_chance")[order]
        np.testing.assert_array_equal(
            data["service_chance"].sel(list=list_name, service=service),
            np.where(band == UNKNOWN_UINT8, np.nan, band),
        )
    absent = set(data.service.values) - set(coverage.services(list_name))
    for service in absent:
        assert np.isnan(data["service_chance"].sel(list=list_name, service=service)).all()


@pytest.mark.parametrize(("list_name", "own"), [("main", 2), ("few", 1)])
def test_a_service_has_one_number_in_all_lists(coverage, data, list_name, own):
    """Gamma is service 2 of the list main and 1 of few; flag_values give it one number."""
    meanings = data["deciding_service"].attrs["flag_meanings"].split()
    numbers = dict(zip(meanings, data["deciding_service"].attrs["flag_values"], strict=True))
    in_raster = coverage.read(f"{list_name}/deciding_service") == own
    in_dataset = data["deciding_service"].sel(list=list_name).values == numbers["Gamma"]
    np.testing.assert_array_equal(in_dataset, in_raster)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("tier_needed", {1: "Shelf", 8: "Not_promised", 255: "unknown"}),
        ("amplifier", {1: "helps", 255: "unknown"}),
        ("deciding_service", {0: "Alpha", 1: "Beta_b_Bold_b_", 255: "unknown"}),
        ("main_cause", {0: "ridges", 255: "unknown"}),
    ],
)
def test_codes_are_whole_numbers_that_say_what_they_stand_for(data, name, words):
    """CF conventions 1.8, section 3.5: as many blank-separated words as values, of the variable's type."""
    variable = data[name]
    assert variable.dtype == np.int16
    values, meanings = variable.attrs["flag_values"], variable.attrs["flag_meanings"].split(" ")
    assert values.dtype == variable.dtype
    assert len(values) == len(meanings)
    told = dict(zip(values.tolist(), meanings, strict=True))
    assert {value: told[value] for value in words} == words
    assert set(np.unique(variable)) <= set(told)


@pytest.mark.parametrize("name", ["flags", "plan_flags"])
def test_remarks_tell_none_from_unknown(coverage, data, name):
    masks = data[name].attrs["flag_masks"]
    assert (masks == [1 << power for power in range(len(masks) - 1)] + [128]).all()
    values, known = data[name].values, ~np.isnan(data["ground"].values)
    if name == "plan_flags":
        assert (values[1] == UNKNOWN_UINT8).all()  # the second list has no such raster
        values = values[0]
        np.testing.assert_array_equal(values != UNKNOWN_UINT8, known)
    assert (values[known] == 0).any()


def test_the_crs_goes_along_wherever_a_variable_goes(data, tmp_path):
    picked = data["tier_needed"].sel(list="main")[5:10, 5:10]
    assert pyproj.CRS.from_cf(picked["spatial_ref"].attrs).to_epsg() == 32625
    assert pyproj.CRS.from_wkt(picked.coords["spatial_ref"].attrs["crs_wkt"]).to_epsg() == 32625
    assert data["tier_needed"].attrs["grid_mapping"] == "spatial_ref"


def test_a_dataset_written_to_netcdf_comes_back_whole(data, tmp_path):
    path = tmp_path / "result.nc"
    data.to_netcdf(path, engine="scipy")
    with xarray.open_dataset(path, engine="scipy", decode_coords="all") as again:
        assert set(again.variables) == set(data.variables)
        for name in data.data_vars:
            np.testing.assert_array_equal(again[name], data[name])
            assert again[name].dtype.kind == data[name].dtype.kind, name
            assert set(again[name].attrs) >= set(data[name].attrs) - {"grid_mapping"}
        assert pyproj.CRS.from_cf(again["spatial_ref"].attrs).to_epsg() == 32625


def test_gdal_finds_the_crs_and_the_place_in_the_netcdf(coverage, data, tmp_path):
    path = tmp_path / "result.nc"
    data[["tier_needed"]].sel(list="main").to_netcdf(path, engine="scipy")
    with rasterio.open(f"netcdf:{path}:tier_needed") as dataset:
        assert dataset.crs.to_epsg() == 32625
        assert dataset.transform.almost_equals(GRID.transform, precision=1e-6)
        np.testing.assert_array_equal(dataset.read(1), coverage.read("main/tier"))


def test_numbers_have_units_and_nan_for_unknown(coverage, data):
    assert data["field"].attrs["units"] == "dB(uV/m)"
    assert data["tier_chance"].attrs["units"] == "%"
    assert np.isnan(data["field"].sel(station="alpha-1")).sum() == 24
    picked = data["tier_needed"].sel(list="main").sel(x=261_340.0, y=4_874_260.0, method="nearest")
    assert picked == coverage.read("main/tier")[17, 23]
    assert "not a measurement" in data.attrs["comment"]


def test_rasters_may_be_chosen(coverage):
    some = coverage.to_xarray(["few/tier", "field/beta-1"])
    assert set(some.data_vars) == {"tier_needed", "field"}
    assert list(some.list.values) == ["few"]
    assert list(some.station.values) == ["beta-1"]
    with pytest.raises(InputError, match="height"):
        coverage.to_xarray(["main/height"])
    with pytest.raises(InputError, match="no raster"):
        coverage.to_xarray(["field/nobody"])
