"""Loss blocks: what a cell gets must not depend on tiles, workers or where radials happen to run."""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pyproj
import pytest
from affine import Affine

from covermap.errors import InputError
from covermap.grid import blocks as blocks_module
from covermap.grid.blocks import BlockRequest, as_stored, compute_block, compute_blocks
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Grid, Tile, to_wgs84
from covermap.grid.geodesy import mast_geometry
from covermap.grid.make_grid import make_grid
from covermap.grid.march import sample_radials
from covermap.grid.radials import make_radials
from covermap.propagation import Profile, itm_loss, p1812_loss
from covermap.propagation.itm.path import ItmGround
from covermap.terrain.layer import RasterLayer
from covermap.terrain.terrain import Terrain

UTM = pyproj.CRS.from_epsg(32631).to_wkt()
X_MIN, Y_MAX = 500_000.0, 5_500_000.0  # on the zone's meridian, about 49.65 N 3 E
SIDE_M = 12_000.0


def terrain_of(heights_m, cell_m=100.0, margin_m=2000.0):
    transform = Affine(cell_m, 0.0, X_MIN - margin_m, 0.0, -cell_m, Y_MAX + margin_m)
    return Terrain((RasterLayer("made up", np.asarray(heights_m, dtype=np.float32), transform, UTM),))


def flat(height_m=50.0):
    return terrain_of(np.full((160, 160), height_m))


def hills(void=None):
    """Return rolling ground of 0 to 400 m; void is a (row, col) window of 100 m cells without data."""
    row, col = np.mgrid[0:160, 0:160] * 0.1
    heights_m = 200.0 + 120.0 * np.sin(1.3 * col + 0.4 * row) + 80.0 * np.cos(0.9 * row - 0.5 * col)
    if void is not None:
        heights_m[void] = np.nan
    return terrain_of(heights_m)


def place(x, y):
    longitude_deg, latitude_deg = to_wgs84(UTM).transform(x, y)
    return {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}


def request(terrain, **changes):
    settings = {
        **place(X_MIN + 5030.0, Y_MAX - 6110.0),
        "tx_height_m": 150.0,
        "heights_m": (10.0, 15.0),
        "frequencies": ((195.0, False), (600.0, True)),
        "time_percents": (50.0, 10.0),
        "dn": 45.0,
        "n0": 325.0,
        "model": "p1812",
        "profile_step_m": 50.0,
        "reach_km": 250.0,
        "grid": Grid(UTM, 100.0, X_MIN, Y_MAX, 120, 120),
        "terrain_digest": terrain.digest,
    }
    return BlockRequest(**{**settings, **changes})


def distance_km(asked, tile):
    longitude_deg, latitude_deg = asked.grid.centres_lonlat(tile)
    return mast_geometry(asked.latitude_deg, asked.longitude_deg, longitude_deg, latitude_deg).distance_km


def assert_same(one, other):
    for name in ("loss_db", "spread_db", "departure_deg", "near", "path_class"):
        equal_nan = name not in ("near", "path_class")
        assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=equal_nan), name


def window(block, inner):
    return dataclasses.replace(
        block,
        loss_db=block.loss_db[:, :, *inner],
        spread_db=block.spread_db[:, :, *inner],
        departure_deg=block.departure_deg[inner],
        near=block.near[inner],
        path_class=block.path_class[inner],
    )


def test_flat_ground_gives_circles_without_spokes_or_seams():
    terrain = flat()
    asked = request(terrain)
    block = compute_block(asked, asked.grid.whole, terrain)
    distance = distance_km(asked, asked.grid.whole)
    step = np.rint(distance / 0.05).astype(int)
    for loss_db in (block.loss_db[0, 0], block.loss_db[1, 1]):
        beyond_free_space = loss_db - 20.0 * np.log10(distance)
        for ring in (7, 20, 61, 100, 119):
            values = beyond_free_space[(step == ring) & ~block.near]
            assert values.size >= 4
            # The mid-path latitude differs by 0.05 degrees around the ring: under 0.01 dB.
            assert np.ptp(values) < 0.01


def test_flat_ground_agrees_with_the_path_on_its_own():
    terrain = flat()
    asked = request(terrain)
    tile = Tile(60, 55, 1, 65)
    block = compute_block(asked, tile, terrain)
    distance = distance_km(asked, tile)[0]
    for col in (10, 30, 64):
        steps = round(distance[col] / 0.05)
        profile = Profile(np.linspace(0.0, distance[col], steps + 1), np.full(steps + 1, 50.0))
        exact = p1812_loss(
            profile,
            frequency_mhz=600.0,
            tx_height_m=150.0,
            rx_height_m=10.0,
            polarization="vertical",
            latitude_deg=asked.latitude_deg,
        )
        # The path over its own distance, which differs from the step's by at most 25 m.
        assert block.loss_db[1, 0, 0, col] == pytest.approx(exact.loss_db, abs=0.05)


@pytest.mark.parametrize("tile_cells", [32, 50])
def test_tiles_of_any_size_give_the_same_cells(tile_cells):
    terrain = hills()
    asked = request(terrain)
    whole = as_stored(compute_block(asked, asked.grid.whole, terrain))
    tiles = list(asked.grid.tiles(tile_cells))
    together = compute_blocks(asked, tiles, terrain)
    for tile, block in zip(tiles, together, strict=True):
        assert_same(as_stored(block), window(whole, tile.window))
    assert_same(as_stored(compute_block(asked, tiles[1], terrain)), window(whole, tiles[1].window))


def test_one_and_two_workers_give_the_same_blocks():
    terrain = hills()
    asked = request(terrain)
    groups = [[tile] for tile in asked.grid.tiles(60)]

    def compute(group):
        return compute_blocks(asked, group, terrain)[0]

    for one, two in zip(run_tasks(compute, groups, 1), run_tasks(compute, groups, 2), strict=True):
        assert_same(one, two)


def test_a_cell_closer_than_100_metres_is_free_space_over_the_slant():
    terrain = flat()
    # The mast stands 60 m west of the centre of the cell in row 60, column 50.
    asked = request(terrain, **place(X_MIN + 4990.0, Y_MAX - 6050.0))
    block = compute_block(asked, Tile(60, 50, 1, 3), terrain)
    assert block.near.tolist() == [[True, True, False]]  # 60, 160 and 260 m
    # ITU-R P.1812-8 equation (8), antennas 140 m apart in height:
    # 92.4 + 20 log 0.6 + 20 log hypot(0.06, 0.14) = 92.4 - 4.437 - 16.345 = 71.618 dB.
    # The UTM scale on its meridian is 0.9996: 60 m on the grid are 60.02 m.
    assert block.loss_db[1, 0, 0, 0] == pytest.approx(71.618, abs=0.003)
    assert block.spread_db[1, 0, 0, 0] == 0.0
    assert block.departure_deg[0, 0] == pytest.approx(math.degrees(math.atan2(-140.0, 60.02)), abs=0.005)


def test_the_mast_on_a_cell_centre_has_a_finite_loss_straight_below():
    terrain = flat()
    asked = request(terrain, **place(X_MIN + 5050.0, Y_MAX - 6050.0))
    block = compute_block(asked, Tile(60, 50, 1, 1), terrain)
    assert block.near.all()
    # Equation (8) over 140 m of height: 92.4 + 20 log 0.195 + 20 log 0.14 = 61.12 dB.
    assert block.loss_db[0, 0, 0, 0] == pytest.approx(61.12, abs=0.01)
    assert block.departure_deg[0, 0] == pytest.approx(-90.0, abs=0.5)


def test_an_antenna_at_the_mast_gets_a_finite_loss():
    terrain = flat()
    asked = request(terrain, **place(X_MIN + 5050.0, Y_MAX - 6050.0), tx_height_m=10.0)
    assert np.isfinite(compute_block(asked, Tile(60, 50, 1, 1), terrain).loss_db).all()


def test_a_mast_outside_the_grid_and_a_grid_of_one_cell():
    terrain = hills()
    one_cell = Grid(UTM, 100.0, X_MIN + 9000.0, Y_MAX - 3000.0, 1, 1)
    asked = request(terrain, grid=one_cell)
    alone = compute_block(asked, one_cell.whole, terrain)
    assert alone.loss_db.shape == (2, 2, 1, 1)
    assert np.isfinite(alone.loss_db).all()
    inside = compute_block(request(terrain), Tile(30, 90, 1, 1), terrain)
    # The same cell in a larger grid has other radials: alike within what half a cell moves it.
    assert np.max(np.abs(alone.loss_db - inside.loss_db)) < 3.0


def test_a_void_is_unknown_with_all_behind_it_and_nothing_else():
    # Void cells in rows 70 to 79 and columns 100 to 109 of the terrain, whose corner lies 20 cells
    # north-west of the grid's: rows 50 to 59 and columns 80 to 89 of the grid. The mast stands in
    # column 50, row 61.
    terrain = hills(void=(slice(70, 80), slice(100, 110)))
    asked = request(terrain)
    block = compute_block(asked, asked.grid.whole, terrain)
    unknown = np.isnan(block.loss_db[0, 0])
    row, col = np.mgrid[0:120, 0:120]
    # Rows that a straight line from the mast to the cell has at columns 79 to 90, in cells.
    slope = (row - 60.6) / np.where(col == 50, np.nan, col - 49.8)
    rises = [60.6 + slope * (edge - 49.8) for edge in np.linspace(79.0, 90.0, 23)]
    hits = np.any([(rise > 50.5) & (rise < 58.5) for rise in rises[3:-3]], axis=0) & (col > 91)
    passes = np.all([(rise < 47.0) | (rise > 62.0) for rise in rises], axis=0) | (col < 78)
    assert hits.sum() > 300
    assert unknown[hits].all()
    assert unknown[52:58, 82:88].all()
    assert passes.sum() > 5000
    assert not unknown[passes].any()
    assert np.array_equal(np.isnan(block.departure_deg), unknown)
    assert np.array_equal(np.isnan(block.spread_db[0, 0]), unknown)


def test_beyond_the_elevation_and_beyond_the_reach_is_unknown():
    terrain = flat()
    asked = request(terrain, reach_km=3.0)
    block = compute_block(asked, asked.grid.whole, terrain)
    assert np.array_equal(np.isnan(block.loss_db[0, 0]), distance_km(asked, asked.grid.whole) > 3.0)
    wide = request(terrain, grid=Grid(UTM, 500.0, X_MIN - 5000.0, Y_MAX, 24, 24))
    loss_db = compute_block(wide, wide.grid.whole, terrain).loss_db
    assert np.isnan(loss_db[:, :, :, :5]).all()  # the elevation begins 2000 m west of X_MIN: column 6
    assert np.isfinite(loss_db[:, :, :, 7:]).all()


def test_free_space_model_needs_only_the_ends():
    terrain = hills(void=(slice(70, 80), slice(100, 110)))
    asked = request(terrain, model="free_space")
    block = compute_block(asked, asked.grid.whole, terrain)
    assert np.isnan(block.loss_db[0, 0, 52:58, 82:88]).all()
    assert np.isfinite(block.loss_db[:, :, :, 92:]).all()
    assert np.nanmax(block.spread_db) == 0.0
    # ITU-R P.1812-8 equation (8) at the horizontal distance; the slant over 6 km adds under 0.02 dB.
    plain_db = 92.4 + 20.0 * math.log10(0.195) + 20.0 * np.log10(distance_km(asked, asked.grid.whole))
    far = distance_km(asked, asked.grid.whole) > 6.0
    assert np.nanmax(np.abs(block.loss_db[0, 0] - plain_db)[far]) < 0.02


@pytest.mark.parametrize("cell", [(20, 90), (100, 30), (119, 119)])
def test_the_irregular_terrain_model_answers_along_the_radial_as_by_itself(cell):
    # judge: itm_loss, held against the agency's own runs in tests/test_itm.py
    terrain = hills()
    asked = request(terrain, model="itm", itm=ItmGround(5, 15.0, 0.005), n0=301.0)
    block = compute_block(asked, Tile(*cell, 1, 1), terrain)
    place, length_km = asked.grid, distance_km(asked, Tile(*cell, 1, 1))[0, 0]
    radials = make_radials(asked.latitude_deg, asked.longitude_deg, place, 250.0, 0.05)
    longitude_deg, latitude_deg = place.centres_lonlat(Tile(*cell, 1, 1))
    geometry = mast_geometry(asked.latitude_deg, asked.longitude_deg, longitude_deg, latitude_deg)
    radial, step = (int(found[0, 0]) for found in radials.nearest(geometry))
    mast_m = terrain.ground_m(asked.longitude_deg, asked.latitude_deg)
    profiles = sample_radials(radials, np.array([radial]), step, terrain, float(mast_m))
    ground_m = profiles.ground_m[0, : step + 1].copy()
    ground_m[-1] = terrain.ground_m(longitude_deg, latitude_deg)[0, 0]
    profile = Profile(0.05 * np.arange(step + 1), ground_m)
    for frequency, (frequency_mhz, vertical) in enumerate(asked.frequencies):
        for height, height_m in enumerate(asked.heights_m):
            common = {
                "frequency_mhz": frequency_mhz, "tx_height_m": 150.0, "rx_height_m": height_m, "n0": 301.0,
                "variability_mode": 3, "climate": 5, "permittivity": 15.0, "conductivity_s_m": 0.005,
                "polarization": "vertical" if vertical else "horizontal",
            }  # fmt: skip
            median_db = itm_loss(profile, **common).loss_db
            tenth_db = itm_loss(profile, time_percent=10, **common).loss_db
            to_cell_db = 20.0 * math.log10(length_km / (0.05 * step))  # the cell stands a little off its step
            assert block.loss_db[frequency, height, 0, 0] == pytest.approx(median_db + to_cell_db, abs=1e-4)
            assert block.spread_db[frequency, height, 0, 0] == pytest.approx(median_db - tenth_db, abs=1e-4)


def test_the_irregular_terrain_model_knows_no_path_over_unknown_ground():
    terrain = hills(void=(slice(70, 80), slice(100, 110)))
    asked = request(terrain, model="itm", itm=ItmGround(5, 15.0, 0.005))
    by_itm = compute_block(asked, asked.grid.whole, terrain)
    by_p1812 = compute_block(request(terrain), asked.grid.whole, terrain)
    assert np.array_equal(np.isnan(by_itm.loss_db), np.isnan(by_p1812.loss_db))
    assert np.array_equal(by_itm.path_class, by_p1812.path_class)
    far = ~by_itm.near  # within 250 m of the mast the irregular terrain model does not begin yet
    assert np.array_equal(by_itm.departure_deg[far], by_p1812.departure_deg[far], equal_nan=True)


def test_spread_is_never_negative():
    terrain = hills()
    asked = request(terrain, time_percents=(50.0, 1.0))
    block = compute_block(asked, asked.grid.whole, terrain)
    assert np.nanmin(block.spread_db) >= 0.0
    assert np.nanmax(block.spread_db) > 0.0


def test_the_digest_changes_with_everything_it_depends_on(monkeypatch):
    terrain = flat()
    asked, tile = request(terrain), Tile(0, 0, 32, 32)
    changes = {
        "latitude_deg": 49.0,
        "longitude_deg": 3.5,
        "tx_height_m": 151.0,
        "heights_m": (10.0, 20.0),
        "frequencies": ((195.0, True), (600.0, True)),
        "time_percents": (50.0, 1.0),
        "dn": 50.0,
        "n0": 330.0,
        "model": "free_space",
        "profile_step_m": 40.0,
        "reach_km": 100.0,
        "grid": Grid(UTM, 100.0, X_MIN, Y_MAX, 120, 121),
        "terrain_digest": "other",
        "itm": ItmGround(4, 15.0, 0.005),
    }
    assert set(changes) == {field.name for field in dataclasses.fields(BlockRequest)}
    digests = [dataclasses.replace(asked, **{name: value}).digest(tile) for name, value in changes.items()]
    digests += [asked.digest(tile), asked.digest(Tile(0, 32, 32, 32))]
    monkeypatch.setattr(blocks_module, "PHYSICS_VERSION", blocks_module.PHYSICS_VERSION + 1)
    digests.append(asked.digest(tile))
    assert len(set(digests)) == len(changes) + 3
    assert request(terrain).digest(tile) == digests[-1]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"model": "itn"}, "itn"),
        ({"profile_step_m": 500.0}, "500"),
        ({"time_percents": (10.0, 50.0)}, "50"),
    ],
)
def test_what_blocks_cannot_have_is_refused(changes, words):
    terrain = flat()
    with pytest.raises(InputError, match=words):
        compute_block(request(terrain, **changes), Tile(0, 0, 1, 1), terrain)


def degrees_terrain(west_deg):
    """Return hills in degrees, 0.2 degrees wide from a western edge, 3 arc-seconds a cell."""
    row, col = np.mgrid[0:120, 0:240] * 0.05
    heights_m = (150.0 + 100.0 * np.sin(2.0 * col + row)).astype(np.float32)
    transform = Affine(1.0 / 1200.0, 0.0, west_deg, 0.0, -1.0 / 1200.0, 50.05)
    return Terrain((RasterLayer("degrees", heights_m, transform, pyproj.CRS.from_epsg(4326).to_wkt()),))


def test_the_antimeridian_makes_no_difference():
    found = []
    for west_deg, mast_deg in ((-0.1, 0.03), (179.9, -179.97)):
        terrain = degrees_terrain(west_deg)
        east_deg = west_deg + 0.2 if west_deg < 0.0 else -179.9
        area = SimpleNamespace(
            cell_m=200.0, crs="auto", area=None, west=west_deg, south=49.95, east=east_deg, north=50.05
        )
        grid = make_grid(area, None, terrain.bounds_deg)
        asked = request(terrain, latitude_deg=50.01, longitude_deg=mast_deg, grid=grid)
        found.append(as_stored(compute_block(asked, grid.whole, terrain)))
    here, there = found
    assert here.loss_db.shape == there.loss_db.shape
    assert np.isfinite(here.loss_db).mean() > 0.9
    assert np.array_equal(np.isnan(here.loss_db), np.isnan(there.loss_db))
    # Half a turn changes longitudes by the rounding of 180 in a double, so one step of the store at most.
    assert np.nanmax(np.abs(here.loss_db - there.loss_db)) < 0.011
