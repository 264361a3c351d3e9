"""Dead zones: patches that hold every dead cell, with homes that add up."""

import numpy as np
import pytest
import shapely
from scipy import ndimage
from small_coverage import GRID, WHOLE, write_small_coverage

from covermap.planning.dead_zones import NamedPlace, find_dead_zones, zone_kinds
from covermap.result.coverage import Coverage
from covermap.result.rasters import RasterSet


def with_chance(tmp_path, chance):
    """Return the small result with another dead-zone chance."""
    coverage = write_small_coverage(tmp_path)
    with RasterSet(tmp_path / "other", GRID, services={"main": coverage.services("main")}) as rasters:
        for name in ("main/tier", "main/tier_chance", "main/deciding_service", "main/aim", "homes", "flags"):
            rasters.write(name, WHOLE, coverage.read(name))
        rasters.write("main/service_chance", WHOLE, coverage.read("main/service_chance"))
        rasters.write("main/dead_zone_chance", WHOLE, chance)
    return Coverage(tmp_path / "other", coverage.run)


def test_kinds_follow_the_limits_and_unknown_is_no_zone():
    assert zone_kinds(np.array([0, 9, 10, 49, 50, 100, 255], np.uint8)).tolist() == [1, 1, 2, 2, 0, 0, 0]


def test_zones_are_connected_patches_with_kind_homes_and_the_nearest_place(tmp_path):
    chance = np.full(GRID.shape, 95, np.uint8)
    chance[10:14, 10:15] = 4  # 20 dead cells
    chance[10:14, 15:17] = 30  # 8 doubtful cells beside them
    chance[25, 35] = 4  # one dead cell
    coverage = with_chance(tmp_path, chance)
    places = [
        NamedPlace("Tarn", GRID.x_min + 1200, GRID.y_max - 1200),
        NamedPlace("Ness", GRID.x_min + 3900, GRID.y_max - 2900),
    ]
    zones = find_dead_zones(coverage, "main", places).set_index("kind")
    homes = coverage.read("homes")
    large = zones.loc["dead"] if zones.index.tolist().count("dead") == 1 else zones.loc["dead"].iloc[0]
    assert large.area_km2 == pytest.approx(0.2)  # 20 cells of 100 m
    assert large.homes == pytest.approx(homes[10:14, 10:15].sum() * 0.96, abs=0.01)
    assert large.homes_low <= large.homes <= large.homes_high
    assert large.near_name == "Tarn"
    assert large.deciding_service in coverage.services("main")
    doubtful = zones.loc["doubtful"]
    assert doubtful.homes == pytest.approx(homes[10:14, 15:17].sum() * 0.70, abs=0.01)
    one = [zone for zone in find_dead_zones(coverage, "main", places).itertuples() if zone.area_km2 < 0.02]
    assert len(one) == (1 if homes[25, 35] > 0 else 0)


def test_every_dead_cell_of_a_large_enough_patch_is_in_a_zone(tmp_path):
    coverage = write_small_coverage(tmp_path)
    kinds = zone_kinds(coverage.read("main/dead_zone_chance"))
    zones = find_dead_zones(coverage, "main")
    assert zones.zone_id.is_unique
    x, y = GRID.centres(WHOLE)
    homes = coverage.read("homes")
    for number, kind in ((1, "dead"), (2, "doubtful")):
        labels, count = ndimage.label(kinds == number)
        size = np.bincount(labels.ravel(), minlength=count + 1)
        lived = np.bincount(labels.ravel(), homes.ravel(), minlength=count + 1)
        kept = (labels > 0) & ((size >= 3) | (lived > 0))[labels]
        whole = shapely.union_all(zones.geometry[zones.kind == kind].tolist())
        np.testing.assert_array_equal(shapely.contains_xy(whole, x, y), kept)


def test_homes_in_all_zones_are_part_of_the_homes_without(tmp_path):
    coverage = write_small_coverage(tmp_path)
    zones = find_dead_zones(coverage, "main")
    chance = coverage.read("main/dead_zone_chance")
    homes = coverage.read("homes")
    expected = (homes * (1 - chance / 100.0))[chance < 50].sum()
    assert zones.homes.sum() == pytest.approx(expected, abs=0.5)


def test_zones_across_the_edges_of_blocks_are_those_of_the_whole_map(tmp_path, monkeypatch):
    smooth = ndimage.gaussian_filter(np.random.default_rng(3).normal(size=GRID.shape), 2.0)
    coverage = with_chance(tmp_path, np.clip(50.0 + 300.0 * smooth, 0, 100).astype(np.uint8))
    places = [NamedPlace("Tarn", GRID.x_min + 1200, GRID.y_max - 1200)]
    whole = find_dead_zones(coverage, "main", places)
    monkeypatch.setattr("covermap.planning.patches.BLOCK_CELLS", 8)
    monkeypatch.setattr("covermap.planning.dead_zones.ZONES_AT_ONCE", 3)
    blocks = find_dead_zones(coverage, "main", places)
    assert len(blocks) == len(whole) > 3
    order = ["kind", "area_km2", "homes"]
    whole, blocks = (zones.sort_values(order, ignore_index=True) for zones in (whole, blocks))
    for column in ("kind", "deciding_service", "near_name"):
        assert blocks[column].tolist() == whole[column].tolist()
    for column in ("area_km2", "homes"):
        assert blocks[column].tolist() == pytest.approx(whole[column].tolist(), abs=0.002)
    for column in ("homes_low", "homes_high"):  # draws of a zone's homes differ with its place among others
        assert blocks[column].tolist() == pytest.approx(whole[column].tolist(), rel=0.1, abs=2.0)
    assert blocks.geometry.area.tolist() == pytest.approx(whole.geometry.area.tolist())
