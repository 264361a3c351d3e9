"""A map in parts reads as one raster a layer, whatever reads it."""

import dataclasses

import numpy as np
import pytest
import rasterio
from rasterio.enums import Resampling
from small_coverage import GRID, SERVICES, STATIONS, make_arrays, make_run

from covermap.grid.frame import Tile
from covermap.planning.changes import compare
from covermap.planning.dead_zones import find_dead_zones
from covermap.reports.comparison.write import change_patches
from covermap.result import parts as of_parts
from covermap.result.coarsened import coarsened
from covermap.result.coverage import Coverage
from covermap.result.parts import join_parts, parts_of
from covermap.result.rasters import RasterSet
from covermap.result.run_json import copy_prediction

PART = 16  # of 30 x 40 cells: two rows of three parts
ACROSS = (Tile(0, 0, 30, 40), Tile(15, 15, 2, 2), Tile(7, 30, 12, 5), Tile(29, 39, 1, 1))


@pytest.fixture
def small_parts(monkeypatch):
    monkeypatch.setattr(of_parts, "PART_CELLS", PART)


def layers_of(rng):
    found = {"homes": rng.integers(0, 9, GRID.shape).astype(np.float32)}
    found["flags"] = rng.integers(0, 16, GRID.shape).astype(np.uint8)
    for name in SERVICES:
        found |= {f"{name}/{kind}": array for kind, array in make_arrays(name, rng).items()}
    return found


def written(folder, layers, parts, only_in_memory=()):
    """Write layers as the parts of a map, or as one; return them open."""
    held = []
    options = {
        "services": SERVICES,
        "stations": dict.fromkeys(STATIONS, "x"),
        "only_in_memory": only_in_memory,
    }
    for part in parts:
        rasters = RasterSet(folder, GRID, part=part if len(parts) > 1 else None, **options)
        with rasters:
            for name, array in layers.items():
                rasters.write(name, part, array[(..., *part.window)])
        held.append(rasters.in_memory)
    return Coverage(folder, make_run(), held[0] if len(parts) == 1 else join_parts(folder, GRID, parts, held))


@pytest.fixture
def both(tmp_path, small_parts):
    layers = layers_of(np.random.default_rng(5))
    parts = parts_of(GRID)
    assert len(parts) == 6
    return written(tmp_path / "one", layers, [GRID.whole]), written(tmp_path / "parts", layers, parts)


def test_windows_across_the_edges_of_parts_read_as_of_one_file(both):
    one, several = both
    assert several.raster_names() == one.raster_names()
    for name in one.raster_names():
        for window in ACROSS:
            np.testing.assert_array_equal(several.read(name, window), one.read(name, window), err_msg=name)


def test_bands_tags_colours_and_units_are_those_of_one_file(both):
    one, several = both
    for name in one.raster_names():
        with rasterio.open(one.path(name)) as first, rasterio.open(several.path(name)) as second:
            assert second.shape == first.shape
            assert second.transform == first.transform
            assert second.crs == first.crs
            assert second.nodatavals == first.nodatavals or np.isnan(first.nodata)
            assert second.dtypes == first.dtypes
            assert second.descriptions == first.descriptions
            assert second.units == first.units
            apart = {"AREA_OR_POINT", "OVERVIEW_RESAMPLING_METHOD"}
            assert {k: v for k, v in second.tags().items() if k not in apart} == {
                k: v for k, v in first.tags().items() if k not in apart
            }
            if name.endswith("/tier"):
                assert second.colormap(1) == first.colormap(1)


def test_a_result_in_parts_can_be_moved_and_copied(both, tmp_path):
    one, several = both
    (tmp_path / "parts").rename(tmp_path / "moved")
    moved = Coverage(tmp_path / "moved", several.run)
    np.testing.assert_array_equal(moved.read("main/tier"), one.read("main/tier"))
    (tmp_path / "copy").mkdir()
    copied = copy_prediction(moved, tmp_path / "copy")
    np.testing.assert_array_equal(copied.read("main/tier"), one.read("main/tier"))
    assert set(copied.run["files"]) >= {"rasters/main/tier.vrt", "rasters/parts/001_002/main/tier.tif"}


def test_drawn_coarser_it_is_the_same_picture(both):
    one, several = both
    first, second = coarsened(one, 300), coarsened(several, 300)
    assert first.factor == 2
    for name in ("main/tier", "main/tier_chance", "homes"):
        np.testing.assert_array_equal(second.read(name), first.read(name), err_msg=name)


def test_a_layer_that_some_parts_lack_is_unknown_there(tmp_path, small_parts):
    parts = parts_of(GRID)
    for number, part in enumerate(parts):
        with RasterSet(tmp_path, GRID, part=part) as rasters:
            rasters.write("ground", part, np.full((part.rows, part.cols), 7.0, np.float32))
            if number == 1:
                rasters.write("field/alpha-1", part, np.full((part.rows, part.cols), 40.0, np.float32))
    join_parts(tmp_path, GRID, parts, [{} for _ in parts])
    coverage = Coverage(tmp_path, make_run())
    field = coverage.read("field/alpha-1")
    assert coverage.field_stations == ("alpha-1",)
    assert (field[parts[1].window] == 40.0).all()
    assert np.isnan(field).sum() == GRID.cells - parts[1].rows * parts[1].cols


def test_what_stands_in_memory_alone_is_joined_there(tmp_path, small_parts):
    layers = layers_of(np.random.default_rng(6))
    public = written(tmp_path, layers, parts_of(GRID), only_in_memory=("homes",))
    np.testing.assert_array_equal(public.read("homes", ACROSS[1]), layers["homes"][ACROSS[1].window])
    assert not list(tmp_path.rglob("homes*"))
    assert "homes" in public.raster_names()
    assert not any("parts" in name for name in public.raster_names())


def test_less_than_all_is_read_from_the_overviews_of_the_parts(tmp_path, monkeypatch):
    monkeypatch.setattr(of_parts, "PART_CELLS", 1024)
    grid = dataclasses.replace(GRID, rows=1100, cols=2100)
    parts = parts_of(grid)
    for number, part in enumerate(parts):
        with RasterSet(tmp_path, grid, part=part) as rasters:
            rasters.write("flags", part, np.full((part.rows, part.cols), number, np.uint8))
    join_parts(tmp_path, grid, parts, [{} for _ in parts])
    with rasterio.open(tmp_path / "rasters" / "flags.vrt") as dataset:
        assert dataset.overviews(1) == [2, 4]
        small = dataset.read(1, out_shape=(275, 525), resampling=Resampling.nearest)
    assert sorted(np.unique(small)) == list(range(6))
    assert [
        int(small[r, c]) for r, c in ((0, 0), (0, 300), (0, 524), (274, 0), (274, 300), (274, 524))
    ] == list(range(6))


def test_a_dead_zone_across_the_edges_of_parts_is_one(tmp_path, small_parts, monkeypatch):
    """Three parts of it: rows 12 to 17 and columns 14 to 33 of parts of 16 squares on a side."""
    monkeypatch.setattr("covermap.planning.patches.BLOCK_CELLS", PART)
    layers = layers_of(np.random.default_rng(7))
    dead = np.full(GRID.shape, 95, np.uint8)
    dead[12:18, 14:34] = 4
    layers["main/dead_zone_chance"] = dead
    layers["flags"][:] = 0  # all asked for
    zones = [
        find_dead_zones(written(tmp_path / name, layers, parts), "main")
        for name, parts in (("one", [GRID.whole]), ("parts", parts_of(GRID)))
    ]
    for found in zones:
        assert found["kind"].tolist() == ["dead"]
        assert found["area_km2"].tolist() == pytest.approx([1.2])  # 6 x 20 squares of 100 m
        west, south, east, north = found.total_bounds - np.array([GRID.x_min, GRID.y_max] * 2)
        assert (west, south, east, north) == pytest.approx((1400.0, -1800.0, 3400.0, -1200.0))
    assert zones[1]["homes"].tolist() == pytest.approx(zones[0]["homes"].tolist())
    assert zones[0]["homes"][0] > 0


def later_in(layers):
    """Return layers of a later map: a block across the edges of four parts is a class harder, some easier."""
    tier = layers["main/tier"].copy()
    block = tier[13:19, 14:18]
    block[block < 8] += 1
    easier = tier[2:4, 28:36]
    easier[(easier > 1) & (easier < 9)] -= 1
    return layers | {"main/tier": tier}


@pytest.mark.parametrize("before", ["one", "parts"])
@pytest.mark.parametrize("after", ["one", "parts"])
def test_changes_are_the_same_of_maps_in_parts_and_in_one(tmp_path, small_parts, monkeypatch, before, after):
    monkeypatch.setattr("covermap.planning.patches.BLOCK_CELLS", PART)
    layers = layers_of(np.random.default_rng(8))
    layers["flags"][:] = 0  # all asked for
    parts = {"one": [GRID.whole], "parts": parts_of(GRID)}
    first = written(tmp_path / "before", layers, parts[before])
    second = written(tmp_path / "after", later_in(layers), parts[after])
    found = compare(first, second)
    old, new = layers["main/tier"].astype(int), later_in(layers)["main/tier"].astype(int)
    counts = found.counts("main")
    assert counts.cells["harder"] == np.count_nonzero((new > old) & (new < 9)) > 15
    assert counts.cells["easier"] == np.count_nonzero(new < old) > 5
    assert counts.homes["harder"] == pytest.approx(layers["homes"][new > old].sum())
    patches = change_patches(found, "main")
    harder = patches[patches.change == "harder"]
    assert harder.area_km2.sum() == pytest.approx(0.01 * counts.cells["harder"])
    edge_x, edge_y = GRID.x_min + 1600.0, GRID.y_max - 1600.0
    bounds = harder.bounds
    assert ((bounds.minx < edge_x) & (bounds.maxx > edge_x)).any()
    assert ((bounds.miny < edge_y) & (bounds.maxy > edge_y)).any()
