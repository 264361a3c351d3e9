"""Geometry of a path, by hand."""

import numpy as np
import pytest

from covermap.propagation.path_geometry import (
    diffraction_surface_ends_m,
    fitted_surface_ends_m,
    horizon,
    horizons,
    roughness_m,
)

RADIUS_KM = 8931.0
WAVELENGTH_M = 0.5


def test_line_fitted_to_a_slope_is_the_slope():
    # P.1812-8 section 5.6.1: a least-squares line goes through ground that is one, uneven spacing or not
    distance_km = np.array([0.0, 1.0, 5.0, 7.5, 20.0])
    assert fitted_surface_ends_m(distance_km, 100.0 - 3.0 * distance_km) == pytest.approx((100.0, 40.0))


def test_line_fitted_to_a_symmetric_hill_is_its_mean():
    # a triangle of 100 m over its base has mean 50 m and no slope
    ends_m = fitted_surface_ends_m(np.array([0.0, 10.0, 20.0]), np.array([0.0, 100.0, 0.0]))
    assert ends_m == pytest.approx((50.0, 50.0))


def test_surface_for_diffraction_is_lowered_by_the_obstacle():
    # P.1812-8 section 5.6.2 by hand: 80 m above the line at 15 of 20 km, slopes 80/15 and 80/5 m a km,
    # shares 1/4 and 3/4: -30 - 20 and -20 - 60 m
    distance_km = np.array([0.0, 15.0, 20.0])
    ground_m = np.array([0.0, 100.0, 0.0])
    ends_m = diffraction_surface_ends_m(distance_km, ground_m, 20.0, 20.0, -30.0, -20.0)
    assert ends_m == pytest.approx((-50.0, -80.0))


def test_surface_for_diffraction_stays_under_the_ground_at_the_ends():
    distance_km = np.array([0.0, 10.0, 20.0])
    ends_m = diffraction_surface_ends_m(distance_km, np.array([5.0, 0.0, 7.0]), 30.0, 30.0, 50.0, 50.0)
    assert ends_m == (5.0, 7.0)


def test_roughness_is_the_highest_ground_above_the_surface():
    # surface from 0 to 20 m: 55 - 10 at half way is 45 m, the 90 m near the end is outside the horizons
    distance_km = np.array([0.0, 5.0, 10.0, 15.0, 20.0])
    ground_m = np.array([0.0, 20.0, 55.0, 90.0, 20.0])
    assert roughness_m(distance_km, ground_m, 0.0, 20.0, 1, 2) == pytest.approx(45.0)


def test_horizon_angle_by_hand():
    # 100 m higher at 10 km: 100/10000 - 10/(2 x 8931) = 9.4401 mrad (atan of it 9.4399)
    distance_km = np.array([0.0, 10.0, 12.0, 30.0])
    ground_m = np.array([0.0, 120.0, 120.0, 0.0])
    angle_mrad, point = horizon(distance_km, ground_m, 20.0, True, RADIUS_KM)
    assert (angle_mrad, point) == (pytest.approx(9.4399, abs=0.0002), 1)
    # from the receiver the nearer point at 18 km stands higher: 100/18000 - 18/17862 = 4.548 mrad
    angle_mrad, point = horizon(distance_km, ground_m, 20.0, False, RADIUS_KM)
    assert (angle_mrad, point) == (pytest.approx(4.548, abs=0.001), 2)


def test_in_line_of_sight_both_angles_look_at_the_other_end():
    # level antennas 20 km apart: -20/(2 x 8931) = -1.1197 mrad at both ends
    distance_km = np.array([0.0, 5.0, 12.0, 20.0])
    ground_m = np.array([0.0, 10.0, 40.0, 0.0])
    tx_mrad, rx_mrad, tx_point, rx_point = horizons(
        distance_km, ground_m, 100.0, 100.0, RADIUS_KM, WAVELENGTH_M
    )
    assert (tx_mrad, rx_mrad) == pytest.approx((-1.1197, -1.1197), abs=0.0001)
    assert (tx_point, rx_point) == (2, 2)  # the point that comes nearest to the line
