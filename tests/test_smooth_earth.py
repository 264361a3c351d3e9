"""Interferers whose path the elevation does not know: over smooth earth, and told."""

import dataclasses

import numpy as np
import pytest
from test_blocks import SIDE_M, UTM, X_MIN, Y_MAX, flat, hills, place, request

from covermap.grid.blocks import as_stored, compute_block
from covermap.grid.frame import Grid, Tile
from covermap.grid.geodesy import mast_geometry
from covermap.grid.smooth_earth import completed_by_smooth_earth, smooth_earth_block
from covermap.propagation import Profile, p1812_loss

NAMES = ("loss_db", "spread_db", "departure_deg", "path_class")


def test_it_is_the_path_on_its_own_over_flat_land():
    # the judge is the path kernel, held in tests/test_p1812.py against the published values of P.1812-8
    far = place(X_MIN + SIDE_M + 60_000.0, Y_MAX - 6000.0)
    asked = request(flat(), **far)
    tile = Tile(0, 0, 120, 120)
    block = smooth_earth_block(asked, tile)
    longitude_deg, latitude_deg = asked.grid.centres_lonlat(tile)
    geometry = mast_geometry(asked.latitude_deg, asked.longitude_deg, longitude_deg, latitude_deg)
    distance_km = geometry.distance_km.reshape(120, 120)
    assert block.smooth_earth.all()
    for row, col in ((0, 0), (60, 119), (119, 37)):
        length_km = distance_km[row, col]
        steps = round(length_km / 0.05)
        profile = Profile(np.linspace(0.0, length_km, steps + 1), np.zeros(steps + 1))
        loss_db = [
            p1812_loss(
                profile, frequency_mhz=600.0, tx_height_m=150.0, rx_height_m=10.0, polarization="vertical",
                latitude_deg=asked.latitude_deg, time_percent=percent,
            ).loss_db
            for percent in (50.0, 10.0)
        ]  # fmt: skip
        # half a step of the store, and 0.01 dB for the line between steps
        assert block.loss_db[1, 0, row, col] == pytest.approx(loss_db[0], abs=0.015)
        assert block.spread_db[1, 0, row, col] == pytest.approx(loss_db[0] - loss_db[1], abs=0.135)


def test_flat_ground_known_or_not_gives_the_same():
    terrain = flat()
    asked = request(terrain)
    known = as_stored(compute_block(asked, asked.grid.whole, terrain))
    smooth = smooth_earth_block(asked, asked.grid.whole)
    longitude_deg, latitude_deg = asked.grid.centres_lonlat(asked.grid.whole)
    geometry = mast_geometry(asked.latitude_deg, asked.longitude_deg, longitude_deg, latitude_deg)
    far = geometry.distance_km.reshape(120, 120) > 2.0
    # a cell of a map takes its step's terrain terms, 25 m away at most: 0.14 dB at 300 m from the mast
    difference_db = np.abs(known.loss_db - smooth.loss_db)
    assert difference_db[:, :, ~known.near].max() < 0.2
    assert difference_db[:, :, far].max() < 0.05
    assert (known.path_class == smooth.path_class)[far].mean() > 0.98


def test_only_unknown_cells_with_ground_of_their_own_are_filled():
    terrain = hills(void=(slice(70, 80), slice(100, 110)))
    asked = request(terrain)
    tile = asked.grid.whole
    block = as_stored(compute_block(asked, tile, terrain))
    longitude_deg, latitude_deg = asked.grid.centres_lonlat(tile)
    known_ground = ~np.isnan(terrain.ground_m(longitude_deg, latitude_deg))
    whole = completed_by_smooth_earth(block, asked, tile, known_ground, (False, True))
    unknown = np.isnan(block.departure_deg)
    assert np.array_equal(whole.smooth_earth, unknown & known_ground)
    assert 300 < whole.smooth_earth.sum() < 14_000
    assert np.array_equal(np.isnan(whole.loss_db[1, 0]), ~known_ground)
    assert np.array_equal(np.isnan(whole.loss_db[0, 0]), unknown)  # the frequency that was not asked for
    smooth = smooth_earth_block(asked, tile)
    for name in NAMES:
        found, before, instead = (getattr(each, name) for each in (whole, block, smooth))
        if found.ndim == 4:
            found, before, instead = found[1], before[1], instead[1]
        filled = whole.smooth_earth
        assert np.array_equal(found[..., filled], instead[..., filled]), name
        equal_nan = name != "path_class"
        assert np.array_equal(found[..., ~filled], before[..., ~filled], equal_nan=equal_nan), name


def test_a_mast_beyond_the_elevation_is_unknown_then_smooth():
    terrain = flat()
    asked = request(terrain, **place(X_MIN + 40_000.0, Y_MAX))
    tile = Tile(10, 10, 20, 20)
    block = compute_block(asked, tile, terrain)
    assert np.isnan(block.loss_db).all()
    assert (block.path_class == 255).all()
    whole = completed_by_smooth_earth(block, asked, tile, np.ones((20, 20), dtype=bool), (True, True))
    assert whole.smooth_earth.all()
    assert np.isfinite(whole.loss_db).all()


def test_tiles_give_the_same_and_beyond_reach_is_nothing():
    asked = request(flat(), reach_km=4.0, grid=Grid(UTM, 100.0, X_MIN, Y_MAX, 120, 120))
    whole, part = smooth_earth_block(asked, asked.grid.whole), smooth_earth_block(asked, Tile(40, 30, 9, 50))
    for name in (*NAMES, "smooth_earth"):
        equal_nan = name not in ("path_class", "smooth_earth")
        inner = getattr(whole, name)[..., 40:49, 30:80]
        assert np.array_equal(inner, getattr(part, name), equal_nan=equal_nan), name
    assert 0.2 < whole.smooth_earth.mean() < 0.5  # a circle of 4 km on a square of 12 km: 0.35
    assert np.array_equal(np.isnan(whole.departure_deg), ~whole.smooth_earth)


def test_free_space_stays_free_space():
    asked = dataclasses.replace(request(flat()), model="free_space")
    block = smooth_earth_block(asked, Tile(0, 0, 20, 20))
    assert np.nanmax(block.spread_db) == 0.0
    assert np.isfinite(block.loss_db).all()
