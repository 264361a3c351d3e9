"""The exact path's profile: its steps, and which of its points stand in clutter."""

import numpy as np
import pytest

from covermap.grid.exact_path import GEODESIC, point_profile

MAST = (44.0, -36.0)


class WoodedPlain:
    """Flat ground at 10 m, under 15 m of clutter everywhere."""

    def elevation_m(self, longitude_deg, latitude_deg):
        return np.full(np.shape(longitude_deg), 10.0)

    ground_m = path_ground_m = elevation_m

    def path_clutter_m(self, longitude_deg, latitude_deg):
        return np.full(np.shape(longitude_deg), 15.0, dtype=np.float32)

    def zone(self, longitude_deg, latitude_deg):
        return np.full(np.shape(longitude_deg), 4, dtype=np.uint8)


def profile_of_length(length_m):
    longitude, latitude, _ = GEODESIC.fwd(MAST[1], MAST[0], 30.0, length_m)
    return point_profile(WoodedPlain(), *MAST, latitude, longitude)


@pytest.mark.parametrize("length_m", [300.0, 1024.0, 1026.0, 1049.0, 1050.1, 4223.2, 20010.0, 20040.0])
def test_clutter_counts_at_every_inner_point_whatever_the_length(length_m):
    """As on the radials of the sweep: clutter starts 50 m from both ends, and no step is shorter."""
    profile = profile_of_length(length_m)
    assert profile.length_km == pytest.approx(length_m / 1000.0, abs=1e-6)
    assert np.diff(profile.distance_km).min() >= 0.05 - 1e-9
    assert np.diff(profile.distance_km).max() < 0.06
    assert (profile.clutter_m[1:-1] == 15.0).all()
    assert profile.clutter_m[0] == profile.clutter_m[-1] == 0.0


def test_the_bearings_at_both_ends_are_those_of_the_geodesic():
    profile = profile_of_length(50_000.0)
    # common practice: the azimuth asked for comes back, and the way back points the other way
    assert profile.azimuth_deg == pytest.approx(30.0, abs=1e-6)
    assert profile.back_azimuth_deg == pytest.approx(210.0, abs=0.5)
