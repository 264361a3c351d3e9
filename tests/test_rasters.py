"""Rasters of a result folder, written tile by tile and read back with rasterio alone."""

from dataclasses import replace

import numpy as np
import pyproj
import pytest
import rasterio
from small_coverage import GRID, SERVICES, UNKNOWN_BLOCK, WHOLE, write_small_coverage

from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.reception.receive import unknown_reception
from covermap.result.rasters import RasterSet
from covermap.result.whole_file import TEMPORARY_FOLDER
from covermap.scenario.records import WantedList
from covermap.wording.palette import TIERS, rgb


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("rasters"))


@pytest.mark.parametrize(
    ("name", "dtype", "nodata", "unit", "bands"),
    [
        ("main/tier", "uint8", 255, None, 1),
        ("main/tier_chance", "uint8", 255, "%", 7),
        ("main/dead_zone_chance", "uint8", 255, "%", 1),
        ("main/margin", "float32", np.nan, "dB", 1),
        ("main/stored_margin", "float32", np.nan, "dB", 1),
        ("main/limiting_service", "uint8", 255, None, 1),
        ("main/deciding_service", "uint8", 255, None, 1),
        ("main/aim", "int16", -1, "degree", 1),
        ("main/service_chance", "uint8", 255, "%", 3),
        ("few/service_chance_one_lower", "uint8", 255, "%", 2),
        ("field/alpha-1", "float32", np.nan, "dB(uV/m)", 1),
        ("ground", "float32", np.nan, "m", 1),
        ("flags", "uint8", 255, None, 1),
        ("homes", "float32", np.nan, "homes", 1),
    ],
)
def test_type_nodata_unit_and_place_are_read_back(coverage, name, dtype, nodata, unit, bands):
    with rasterio.open(coverage.path(name)) as dataset:
        assert dataset.dtypes == (dtype,) * bands
        assert dataset.nodata == pytest.approx(nodata, nan_ok=True)
        assert dataset.units == (unit,) * bands
        assert pyproj.CRS(dataset.crs).to_epsg() == 32625
        assert tuple(dataset.transform)[:6] == (100.0, 0.0, 259_000.0, 0.0, -100.0, 4_876_000.0)
        assert dataset.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert dataset.tags()["RUN_ID"] == "0123456789ab"


def test_services_stand_in_the_tag_and_on_the_bands(coverage):
    with rasterio.open(coverage.path("main/service_chance")) as dataset:
        assert dataset.descriptions == SERVICES["main"]
    with rasterio.open(coverage.path("main/deciding_service")) as dataset:
        assert dataset.tags()["SERVICES"] == "Alpha|Beta <b>Bold</b>|Gamma"


def test_tier_has_colours(coverage):
    path = coverage.path("main/tier")
    with rasterio.open(path) as dataset:
        table = dataset.colormap(1)
    assert [table[look.number][:3] for look in TIERS] == [rgb(look.painted) for look in TIERS]


def test_unknown_cells_stay_unknown_and_others_do_not(coverage):
    for name, unknown in (("main/tier", 255), ("main/aim", -1)):
        values = coverage.read(name)
        assert (values[UNKNOWN_BLOCK] == unknown).all()
        assert np.count_nonzero(values == unknown) == 24
    assert np.isnan(coverage.read("main/margin")).sum() == 24


def test_tile_size_cannot_be_seen_in_the_result(coverage, tmp_path):
    other = write_small_coverage(tmp_path, tile_cells=7)
    for name in ("main/tier", "main/tier_chance", "few/stored_margin", "homes"):
        np.testing.assert_array_equal(coverage.read(name), other.read(name))


@pytest.mark.parametrize(("name", "step"), [("field/alpha-1", 1.0 / 128.0), ("main/margin", 0.0)])
def test_fields_are_kept_in_steps_that_nobody_measures_and_all_else_as_it_is(tmp_path, name, step):
    values = np.random.default_rng(5).uniform(-40.0, 130.0, (WHOLE.rows, WHOLE.cols)).astype(np.float32)
    values[3, 4] = np.nan
    with RasterSet(tmp_path, GRID, services=SERVICES, stations={"alpha-1": "Alpha"}) as rasters:
        rasters.write(name, WHOLE, values)
    with rasterio.open(tmp_path / "rasters" / f"{name}.tif") as dataset:
        found = dataset.read(1)
        assert (dataset.scales, dataset.offsets) == ((1.0,), (0.0,))  # the numbers are dB in every program
    np.testing.assert_allclose(found, values, rtol=0.0, atol=step / 2.0)
    assert np.isnan(found[3, 4])
    if step:
        assert np.array_equal(found[~np.isnan(found)] % step, np.zeros(found.size - 1))


def test_cells_never_written_are_unknown(tmp_path):
    with RasterSet(tmp_path, GRID) as rasters:
        rasters.write("ground", Tile(0, 0, 10, 10), np.ones((10, 10)))
        rasters.write("main/tier", Tile(0, 0, 1, 1), np.ones((1, 1)))
    with rasterio.open(tmp_path / "rasters" / "ground.tif") as dataset:
        assert np.isnan(dataset.read(1)).sum() == 30 * 40 - 100
    with rasterio.open(tmp_path / "rasters" / "main" / "tier.tif") as dataset:
        assert np.count_nonzero(dataset.read(1) == 255) == 30 * 40 - 1


def test_nothing_stands_under_a_final_name_before_all_is_whole(tmp_path):
    foreign = tmp_path / "rasters" / "notes.txt"
    foreign.parent.mkdir()
    foreign.write_text("mine")
    rasters = RasterSet(tmp_path, GRID)
    rasters.write("ground", WHOLE, np.ones(GRID.shape))
    assert not (tmp_path / "rasters" / "ground.tif").exists()
    rasters.__exit__(RuntimeError, RuntimeError("stop"), None)
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["notes.txt"]
    assert not list(tmp_path.rglob(TEMPORARY_FOLDER))


def test_a_list_is_written_in_one_call(tmp_path):
    cells = GRID.rows * GRID.cols
    full = np.full(cells, 7, dtype=np.uint8)
    reception = replace(
        unknown_reception(cells, services=2),
        tier=full,
        tier_chance_percent=np.tile(np.arange(7, dtype=np.uint8)[:, None], (1, cells)),
        dead_zone_chance_percent=full,
        margin_db=full.astype(np.float32),
        stored_margin_db=full.astype(np.float32),
        aim_deg=np.arange(cells).astype(np.int16),
        limiting_service=full,
        deciding_service=full,
        service_chance_percent=np.tile(full, (2, 1)),
        service_chance_one_lower_percent=np.tile(full, (2, 1)),
    )
    with RasterSet(tmp_path, GRID) as rasters:
        rasters.write_list(WantedList("two", ("A", "B|C"), ((0,), (1,)), None), WHOLE, reception)
    with rasterio.open(tmp_path / "rasters" / "two" / "aim.tif") as dataset:
        np.testing.assert_array_equal(dataset.read(1).ravel(), np.arange(cells))  # row by row from the north
        assert dataset.tags()["SERVICES"] == "A|B/C"
    with rasterio.open(tmp_path / "rasters" / "two" / "tier_chance.tif") as dataset:
        assert dataset.read()[:, 3, 4].tolist() == [0, 1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize("name", ["tier", "main/height", "a/b/tier", "/tier", "main/ground"])
def test_an_unknown_name_is_told(tmp_path, name):
    with pytest.raises(InputError, match="No raster is called"):
        RasterSet(tmp_path, GRID).write(name, WHOLE, np.ones(GRID.shape))


def test_a_wrong_shape_is_told_with_both_shapes(tmp_path):
    with pytest.raises(InputError, match=r"\(1, 2, 2\).*\(1, 30, 40\)"):
        RasterSet(tmp_path, GRID).write("ground", WHOLE, np.ones((2, 2)))


def test_larger_grids_have_overviews_of_real_cell_values(tmp_path):
    grid = Grid(GRID.crs_wkt, 100.0, 259_000.0, 4_876_000.0, 600, 700)
    tier = np.random.default_rng(2).choice([2, 7], grid.shape).astype(np.uint8)
    with RasterSet(tmp_path, grid) as rasters:
        for tile in grid.tiles(128):
            rasters.write("main/tier", tile, tier[tile.window])
    with rasterio.open(tmp_path / "rasters" / "main" / "tier.tif") as dataset:
        assert dataset.overviews(1)
        np.testing.assert_array_equal(dataset.read(1), tier)
        assert set(np.unique(dataset.read(1, out_shape=(150, 175)))) == {2, 7}  # never a class between
