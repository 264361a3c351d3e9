"""The demo's files are what its script makes: neither is changed without the other."""

import importlib.util
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio

DEMO = Path(__file__).resolve().parents[1] / "data_demo"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A folder into which the script has written the demo anew."""
    folder = tmp_path_factory.mktemp("made")
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.FOLDER = folder
    script.main()
    return folder


@pytest.mark.parametrize("name", ["transmitters.csv", "patterns.csv", "prices.csv"])
def test_tables(made, name):
    assert (made / name).read_text("utf-8") == (DEMO / name).read_text("utf-8")


@pytest.mark.parametrize("name", ["elevation.tif", "land_cover.tif"])
def test_rasters(made, name):
    with rasterio.open(made / name) as new, rasterio.open(DEMO / name) as kept:
        assert (new.crs, new.transform, new.nodata) == (kept.crs, kept.transform, kept.nodata)
        np.testing.assert_array_equal(new.read(1), kept.read(1))


@pytest.mark.parametrize("name", ["area", "neighbourhoods", "homes", "places"])
def test_layers(made, name):
    new, kept = gpd.read_file(made / f"{name}.gpkg"), gpd.read_file(DEMO / f"{name}.gpkg")
    assert new.drop(columns="geometry").equals(kept.drop(columns="geometry"))
    assert new.geometry.geom_equals(kept.geometry).all()
