"""Heights at points and along radials: against a plane known by formula, and against each other."""

import math

import numpy as np
import pyproj
import pytest
from affine import Affine
from numpy.testing import assert_allclose
from reference import reference_path
from terrain_files import NORTH_M, UTM, WEST_M, land_cover_table, settings, write_raster

from covermap.terrain import Terrain, read_terrain
from covermap.terrain.layer import RasterLayer
from covermap.terrain.sampling import bilinear, segment_cubic

WGS84 = pyproj.CRS.from_epsg(4326).to_wkt()
GEOD = pyproj.Geod(ellps="WGS84")
STEP_M = 50.0


def along(longitude_deg, latitude_deg, azimuth_deg, distance_m):
    """Return longitude and latitude of points of geodesics, shape (azimuths, distances)."""
    azimuth, distance = np.meshgrid(azimuth_deg, distance_m, indexing="ij")
    start = np.full(azimuth.shape, longitude_deg), np.full(azimuth.shape, latitude_deg)
    longitude, latitude, _ = GEOD.fwd(*start, azimuth, distance)
    return np.asarray(longitude), np.asarray(latitude)


def profiles(terrain, longitude_deg, latitude_deg, azimuth_deg, points, steps_per_knot):
    """Return ground, clutter and zone of sample_profiles, and the points' own longitude and latitude."""
    knots = -(-(points - 1) // steps_per_knot) + 1
    knot_places = along(longitude_deg, latitude_deg, azimuth_deg, np.arange(knots) * steps_per_knot * STEP_M)
    shape = len(azimuth_deg), points
    out = np.empty(shape), np.empty(shape, dtype=np.float32), np.empty(shape, dtype=np.uint8)
    terrain.sample_profiles(*knot_places, steps_per_knot, *out)
    return out, along(longitude_deg, latitude_deg, azimuth_deg, np.arange(points) * STEP_M)


@pytest.mark.parametrize(
    ("x", "y", "mean"),
    [
        # centres at 0.5 and 1.5; a quarter of the way east, half way south: by hand 0.5 (12.5 + 35)
        (0.75, 1.0, 23.75),
        (0.0, 0.0, 10.0),  # outer half cell: the nearest centre
        (2.0, 2.0, 50.0),
        (2.01, 1.0, math.nan),
        (math.nan, 1.0, math.nan),
    ],
)
def test_bilinear_is_the_mean_weighted_by_distance(x, y, mean):
    cells = np.array([[10.0, 20.0], [30.0, 50.0]], dtype=np.float32)
    assert bilinear(cells, x, y) == pytest.approx(mean, nan_ok=True)


def test_only_a_void_corner_that_counts_makes_a_point_unknown():
    cells = np.array([[10.0, math.nan], [30.0, 50.0]], dtype=np.float32)
    assert bilinear(cells, 0.5, 0.5) == 10.0
    assert bilinear(cells, 1.0, 1.5) == 40.0  # along the lower row, the void has no weight
    assert math.isnan(bilinear(cells, 0.75, 1.0))


@pytest.mark.parametrize(("knots", "order"), [(2, 1), (3, 2), (4, 3), (7, 3)])
def test_positions_between_knots_are_exact_for_polynomials_of_their_order(knots, order):
    def line(u):
        return 3.0 + sum((0.7 - 0.2 * power) * u**power for power in range(1, order + 1))

    values = line(np.arange(knots, dtype=np.float64))
    for segment in range(knots - 1):
        c0, c1, c2, c3 = segment_cubic(values, segment)
        t = 0.3
        assert c0 + t * (c1 + t * (c2 + t * c3)) == pytest.approx(line(segment + t), rel=1e-12)


@pytest.mark.parametrize(("unit", "metres"), [(None, 1.0), ("ft", 0.3048)])
def test_profile_over_a_tilted_plane_in_utm_follows_the_plane(tmp_path, unit, metres):
    # h = 500 + 0.02 east - 0.01 north from the corner, at cell centres: bilinear keeps a plane exactly
    col, row = np.meshgrid(np.arange(400) + 0.5, np.arange(400) + 0.5)
    plane = (500.0 + 2.0 * col + 1.0 * row).astype("float32")
    terrain = read_terrain(settings(write_raster(tmp_path / "e.tif", plane, unit=unit)))
    start = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(
        WEST_M + 20_000.0, NORTH_M - 20_000.0
    )
    azimuths = np.arange(0.0, 360.0, 17.0)
    (ground, _, _), places = profiles(terrain, *start, azimuths, 391, 40)
    x, y = pyproj.Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(*places)
    expected = (500.0 + 0.02 * (x - WEST_M) + 0.01 * (NORTH_M - y)) * metres
    assert_allclose(ground, expected, atol=1e-3)  # float32 cells: 2^-24 of 1700 is 1e-4
    assert_allclose(terrain.elevation_m(*places), expected, atol=1e-3)


def test_profile_over_a_tilted_plane_in_degrees_follows_the_plane(tmp_path):
    # h = 100 + 1000 (longitude - 9) + 2000 (61 - latitude), far enough north for curved geodesics
    transform = Affine(0.002, 0.0, 9.0, 0.0, -0.001, 61.0)
    col, row = np.meshgrid(np.arange(500) + 0.5, np.arange(500) + 0.5)
    path = write_raster(
        tmp_path / "e.tif",
        (100.0 + 2.0 * col + 2.0 * row).astype("float32"),
        crs="EPSG:4326",
        transform=transform,
    )
    terrain = read_terrain(settings(path))
    (ground, _, _), (longitude, latitude) = profiles(
        terrain, 9.5, 60.75, np.arange(0.0, 360.0, 17.0), 501, 40
    )
    expected = 100.0 + 1000.0 * (longitude - 9.0) + 2000.0 * (61.0 - latitude)
    assert_allclose(ground, expected, atol=1e-3)


def test_profile_across_the_antimeridian_has_no_gap():
    transform = Affine(0.01, 0.0, 179.5, 0.0, -0.01, 0.5)
    layer = RasterLayer("pacific", np.full((100, 100), 7.0, dtype=np.float32), transform, WGS84)
    terrain = Terrain((layer,))
    (ground, _, _), _ = profiles(
        terrain, 179.9, 0.0, np.array([90.0]), 801, 40
    )  # 40 km east, ends at 179.7 W
    assert np.all(ground == 7.0)
    assert terrain.bounds_deg == pytest.approx((179.5, -0.5, -179.5, 0.5))
    assert float(terrain.elevation_m(-179.6, 0.1)) == 7.0


def test_clutter_along_a_profile_is_that_of_the_points(tmp_path):
    rng = np.random.default_rng(3)
    elevation = write_raster(tmp_path / "e.tif", rng.random((200, 200)).astype("float32"))
    cover = write_raster(tmp_path / "c.tif", rng.integers(2, 4, (150, 150), dtype="uint8"))
    terrain = read_terrain(settings(elevation, land_cover=cover), land_cover_table())
    west, south, east, north = terrain.bounds_deg
    (_, clutter, zone), places = profiles(
        terrain, (west + east) / 2, (south + north) / 2, np.arange(0.0, 360.0, 11.0), 180, 40
    )
    assert set(np.unique(clutter)) == {0.0, 15.0}
    # a point within a micrometre of a cell's edge may fall on either side
    assert np.mean(clutter == terrain.clutter_height_m(*places)) > 0.9999
    assert np.all(zone == 4)


def test_lines_that_end_before_the_last_step_are_refused():
    layer = RasterLayer("e", np.zeros((2, 2), dtype=np.float32), Affine.identity(), WGS84)
    out = np.empty((1, 12)), np.empty((1, 12), dtype=np.float32), np.empty((1, 12), dtype=np.uint8)
    with pytest.raises(ValueError, match="2 knots of 10 steps end before step 11"):
        Terrain((layer,)).sample_profiles(np.zeros((1, 2)), np.zeros((1, 2)), 10, *out)


@pytest.mark.parametrize("name", ["logan_ut/logan_dem_100m.tif", "jacksboro_tn/jacksboro_dem_3s.tif"])
def test_radials_over_real_ground_equal_the_points_one_by_one(name):
    terrain = read_terrain(settings(reference_path("terrain") / name))
    west, south, east, north = terrain.bounds_deg
    azimuths = np.arange(0.0, 360.0, 1.0)
    (ground, _, _), places = profiles(terrain, (west + east) / 2, (south + north) / 2, azimuths, 441, 40)
    exact = terrain.elevation_m(*places)
    assert np.array_equal(np.isnan(ground), np.isnan(exact))
    assert np.nanmax(np.abs(ground - exact)) < 1e-6  # knots every 2 km; measured 7e-9 m


def test_real_summit_and_town_stand_where_they_should():
    terrain = read_terrain(settings(reference_path("terrain/logan_ut/logan_dem_100m.tif")))
    # reference/terrain/README.md: Naomi Peak, 3042 m, at 41.9109 N 111.6758 W; 100 m cells flatten it
    assert float(terrain.elevation_m(-111.6758, 41.9109)) == pytest.approx(3026.0, abs=20.0)
    # the same: Franklin, Idaho, 1372 m at 42.0169 N 111.8050 W (position from memory)
    assert float(terrain.elevation_m(-111.8050, 42.0169)) == pytest.approx(1372.0, abs=15.0)
