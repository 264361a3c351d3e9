"""Distances, bearings and radial points against published and exact geodesics."""

import numpy as np
import pyproj
import pytest

from covermap.grid.frame import Grid
from covermap.grid.geodesy import mast_geometry, points_along
from covermap.grid.radials import STEPS_PER_KNOT, make_radials

EXACT = pyproj.Geod(ellps="WGS84")  # PROJ's geodesic routines, good to nanometres


def degrees_apart(one, other):
    return np.abs((np.asarray(one) - other + 180.0) % 360.0 - 180.0)


def test_worked_example_of_a_geodesic():
    # WGS 84 geodesic (40 N, 75 W) -> (40.5 N, 74 W): 56.55 degrees true, 101.593 km, back 237.20;
    # 236.55, the forward bearing turned round, would be wrong. Computed outside this code.
    geometry = mast_geometry(40.0, -75.0, [-74.0], [40.5])
    assert geometry.azimuth_deg[0] == pytest.approx(56.55, abs=0.005)
    assert geometry.distance_km[0] == pytest.approx(101.593, abs=0.0005)
    assert geometry.back_azimuth_deg[0] == pytest.approx(237.20, abs=0.005)


@pytest.mark.parametrize(
    ("reach_km", "distance_m", "bearing_deg"),
    [(1.0, 1e-5, 1e-5), (250.0, 0.001, 1e-5), (500.0, 0.1, 1e-4), (1000.0, 1.0, 1e-3)],
)
@pytest.mark.parametrize(
    ("latitude", "longitude"), [(0.0, 0.0), (52.0, 179.9), (-45.0, -180.0), (75.0, 20.0)]
)
def test_geometry_matches_exact_geodesics(latitude, longitude, reach_km, distance_m, bearing_deg):
    random = np.random.default_rng(4)
    azimuth = random.uniform(0.0, 360.0, 2000)
    length = random.uniform(0.001, reach_km, 2000)
    start = np.full(2000, longitude), np.full(2000, latitude)
    lon, lat, back = EXACT.fwd(*start, azimuth, 1000.0 * length)
    geometry = mast_geometry(latitude, longitude, lon, lat)
    assert np.max(np.abs(geometry.distance_km - length)) < distance_m / 1000.0
    # At 1 m, 1e-5 degrees are 0.2 micrometres: the rounding of the coordinates themselves.
    far = length > 0.1
    assert np.max(degrees_apart(geometry.azimuth_deg, azimuth)[far]) < bearing_deg
    assert np.max(degrees_apart(geometry.back_azimuth_deg, back)[far]) < bearing_deg


def test_the_mast_itself_has_no_distance_and_unknown_stays_unknown():
    geometry = mast_geometry(60.0, 10.0, [10.0, np.nan], [60.0, 60.0])
    assert geometry.distance_km[0] == geometry.azimuth_deg[0] == geometry.back_azimuth_deg[0] == 0.0
    assert np.isnan([geometry.distance_km[1], geometry.azimuth_deg[1], geometry.back_azimuth_deg[1]]).all()


def test_bearings_stay_below_360():
    longitude = 10.0 - np.logspace(-17, -9, 200)
    azimuth = mast_geometry(0.0, 10.0, longitude, np.full(200, 0.5)).azimuth_deg
    assert np.all((azimuth >= 0.0) & (azimuth < 360.0))


def test_points_along_run_on_past_the_antimeridian():
    longitude, latitude = points_along(52.0, 179.9, [90.0, 270.0], [0.0, 50.0, 100.0])
    assert np.all(np.abs(np.diff(longitude, axis=1)) < 1.0)
    assert longitude[0, 2] > 180.0
    exact_lon, exact_lat, _ = EXACT.fwd(179.9, 52.0, 90.0, 100_000.0)
    assert longitude[0, 2] - 360.0 == pytest.approx(exact_lon, abs=1e-9)
    assert latitude[0, 2] == pytest.approx(exact_lat, abs=1e-9)


def test_radials_are_at_most_a_cell_apart_at_the_rim_and_end_at_the_farthest_corner():
    grid = Grid(pyproj.CRS.from_epsg(32631).to_wkt(), 100.0, 500_000.0, 5_500_000.0, 200, 100)
    radials = make_radials(49.5, 3.0, grid, 250.0, 0.05)
    # Hand calculation: the grid is 20 km by 10 km, so no corner is beyond hypot(20, 10) = 22.4 km.
    assert radials.reach_km < 22.4
    assert radials.count % 4 == 0
    assert 2.0 * np.pi * radials.reach_km * 1000.0 / radials.count <= 100.0
    assert radials.steps * 0.05 >= radials.reach_km
    assert make_radials(49.5, 3.0, grid, 5.0, 0.05).reach_km == 5.0


def test_radials_over_coarse_cells_stay_at_most_100_m_apart():
    grid = Grid(pyproj.CRS.from_epsg(32631).to_wkt(), 1000.0, 500_000.0, 5_500_000.0, 20, 10)
    radials = make_radials(49.5, 3.0, grid, 250.0, 0.05)
    assert 90.0 < 2.0 * np.pi * radials.reach_km * 1000.0 / radials.count <= 100.0


def test_knots_stand_on_the_geodesic_and_do_not_move_with_the_length():
    grid = Grid(pyproj.CRS.from_epsg(32631).to_wkt(), 100.0, 500_000.0, 5_500_000.0, 200, 100)
    radials = make_radials(49.5, 3.0, grid, 250.0, 0.05)
    radial = np.arange(0, radials.count, 7)
    short_lon, short_lat = radials.knots(radial, 100)
    long_lon, long_lat = radials.knots(radial, radials.steps)
    assert np.array_equal(short_lon, long_lon[:, : short_lon.shape[1]])
    assert np.array_equal(short_lat, long_lat[:, : short_lat.shape[1]])
    exact = EXACT.fwd(3.0, 49.5, radials.azimuth_deg(radial)[5], 2 * STEPS_PER_KNOT * 50.0)
    assert (long_lon[5, 2], long_lat[5, 2]) == pytest.approx(exact[:2], abs=1e-9)


def test_middle_latitude_is_half_way_on_the_sphere():
    grid = Grid(pyproj.CRS.from_epsg(32631).to_wkt(), 100.0, 500_000.0, 5_500_000.0, 200, 100)
    radials = make_radials(49.5, 3.0, grid, 250.0, 0.05)
    quarter = radials.count // 4
    middle = radials.mid_latitude_deg(np.array([0, quarter, 2 * quarter]), 400)
    # 400 steps of 50 m are 20 km; half is 10 km, and a degree of a 6371 km sphere is 111.195 km.
    assert middle[0, 400] - 49.5 == pytest.approx(10.0 / 111.195, abs=1e-4)
    assert middle[1, 400] == pytest.approx(49.5, abs=1e-3)
    assert middle[2, 400] - 49.5 == pytest.approx(-10.0 / 111.195, abs=1e-4)
    assert middle[0, 0] == pytest.approx(49.5)
