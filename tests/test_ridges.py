"""Ridges counted on the taut string, and the class of a path."""

import itertools

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from covermap.errors import InputError
from covermap.propagation import Profile, path_class, ridges
from covermap.propagation.path_geometry import median_radius_km
from covermap.propagation.ridges import _upper_hull
from covermap.propagation.sight import earth_bulge_m

STEP_KM = 0.05
EARTH_KM = median_radius_km(45.0)


def ground(length_km, *points, level_m=0.0):
    """Flat ground with single high points (place km, ground m)."""
    distance_km = np.arange(round(length_km / STEP_KM) + 1) * STEP_KM
    ground_m = np.full(distance_km.size, level_m)
    for place_km, height_m in points:
        ground_m[round(place_km / STEP_KM)] = height_m
    return Profile(distance_km, ground_m)


def found(profile, tx_height_m, rx_height_m, frequency_mhz=600, **more):
    arguments = {
        "frequency_mhz": frequency_mhz,
        "tx_height_m": tx_height_m,
        "rx_height_m": rx_height_m,
    } | more
    return path_class(profile, **arguments), ridges(profile, **arguments)


def test_one_ridge_stands_where_it_was_put():
    # 60 m above the line between antennas at 100 m: 160 m less the bulge of 8.40 m (30 x 5/(2 x 8931))
    # nu 1.834 with a wavelength of 0.5 m (P.526-16 section 4.1; P.1812's 0.2998/f gives 1.835)
    top_m = 160.0 - earth_bulge_m(30.0, 5.0, EARTH_KM)
    kind, found_ridges = found(ground(35, (30, top_m)), 100, 100)
    assert kind == "one_ridge"
    (ridge,) = found_ridges
    assert ridge.distance_km == pytest.approx(30.0)
    assert ridge.height_above_line_m == pytest.approx(60.0)
    assert ridge.nu == pytest.approx(1.834, abs=0.002)
    assert ridge.ground_m == pytest.approx(top_m)
    assert (ridge.start_km, ridge.end_km) == pytest.approx((30.0, 30.0))


@pytest.mark.parametrize(
    ("length_km", "points", "heights_m", "frequency_mhz", "kind", "places_km"),
    [
        (42, [(30, 320), (36, 290)], (300, 110), 600, "two_ridges", [30.0, 36.0]),  # 6 km apart
        (42, [(20, 400), (30, 390), (36, 350)], (300, 110), 600, "many_ridges", [20.0, 30.0, 36.0]),
        (85, [(60, 80)], (200, 10), 600, "one_ridge", [60.0]),  # on the way to a bulge, and counted alone
        (250, [], (200, 10), 600, "scatter", None),
        # 0.6 of the first Fresnel zone half way along 10 km at 600 MHz: 0.6 x 35.5 = 21.3 m (P.526-16, 2)
        (10, [], (100, 100), 600, "clear", []),
        # there the bulge is 1.4 m, F1 35.5 m: 80 m stands 18.6 m under the line
        (10, [(5, 80)], (100, 100), 600, "grazing", []),
        # the first zone at 69 MHz is 2.95 times wider: 60 m grazes there, and is clear at 600 MHz
        (10, [(5, 60)], (100, 100), 600, "clear", None),
        (10, [(5, 60)], (100, 100), 69, "grazing", None),
    ],
)
def test_class_of_a_path_and_places_of_its_ridges(
    length_km, points, heights_m, frequency_mhz, kind, places_km
):
    told, found_ridges = found(ground(length_km, *points), *heights_m, frequency_mhz)
    assert told == kind
    if places_km is not None:
        assert [ridge.distance_km for ridge in found_ridges] == pytest.approx(places_km)


@pytest.mark.parametrize(
    ("dip_m", "count"),
    [
        # 5 km apart at 600 MHz: 0.6 F1 = 0.6 x 550 sqrt(2.5 x 2.5/(5 x 600)) = 15.06 m
        (14.0, 1),
        (15.02, 1),
        (15.2, 2),
    ],
)
def test_a_dip_parts_two_ridges_only_when_deep_enough(dip_m, count):
    profile = ground(40, (15, 300), (20, 300))
    ground_m = profile.ground_m.copy()
    between = (profile.distance_km > 15.01) & (profile.distance_km < 19.99)
    from_first_km = profile.distance_km[between] - 15.0
    # the string between the tops is straight in effective-earth heights, so the bulge under it is taken off
    bulge_m = earth_bulge_m(from_first_km, 5.0 - from_first_km, EARTH_KM)
    ground_m[between] = 300.0 - dip_m - bulge_m
    _, found_ridges = found(Profile(profile.distance_km, ground_m), 100, 100)
    assert len(found_ridges) == count


def test_a_flat_topped_ridge_is_one_ridge_and_no_bulge():
    profile = ground(40)
    ground_m = profile.ground_m.copy()
    ground_m[(profile.distance_km >= 18) & (profile.distance_km <= 22)] = 200.0
    kind, found_ridges = found(Profile(profile.distance_km, ground_m), 50, 50)
    assert kind == "one_ridge"
    (ridge,) = found_ridges
    assert (ridge.start_km, ridge.end_km) == pytest.approx((18.0, 22.0))


@pytest.mark.parametrize("step_km", [0.05, 1.0, 10.0])
def test_flat_ground_beyond_the_horizon_is_the_earths_bulge(step_km):
    # radio horizon of 200 and 10 m: 4.23 (14.14 + 3.16) = 73 km
    distance_km = np.arange(0, 80.0001, step_km)
    kind, found_ridges = found(Profile(distance_km, np.full(distance_km.size, 30.0)), 200, 10)
    assert kind == "earth_bulge"
    assert found_ridges == []


def test_ridges_seen_from_the_other_end_are_the_same():
    profile = ground(42, (20, 400), (30, 390), (36, 350))
    there = found(profile, 300, 110)[1]
    back = found(profile.reversed(), 110, 300)[1]
    assert [42 - ridge.distance_km for ridge in reversed(back)] == pytest.approx(
        [ridge.distance_km for ridge in there]
    )
    assert [ridge.nu for ridge in reversed(back)] == pytest.approx([ridge.nu for ridge in there])


def test_trees_do_not_count():
    profile = ground(35)
    trees = Profile(profile.distance_km, profile.ground_m, np.full(profile.distance_km.size, 40.0))
    assert found(trees, 200, 10) == found(profile, 200, 10)


def test_no_ridge_stands_below_the_line():
    random = np.random.default_rng(2)
    for _ in range(20):
        ground_m = 100 + np.cumsum(random.normal(0, 6, 400))
        profile = Profile(np.arange(400) * 0.1, ground_m)
        listed = found(profile, 30, 10)[1]
        assert all(ridge.height_above_line_m > 0 for ridge in listed)
        assert all(one.end_km < two.start_km for one, two in itertools.pairwise(listed))


def test_string_of_two_points_touches_nothing():
    assert found(Profile([0, 5], [0, 0]), 10, 10) == ("clear", [])


@pytest.mark.parametrize(
    ("change", "shown"),
    [
        ({"frequency_mhz": 0}, "frequency_mhz .* got 0"),
        ({"rx_height_m": -1}, "rx_height_m .* got -1"),
        ({"dn": 200}, "dn .* got 200"),
    ],
)
def test_bad_input_is_refused_with_its_value(change, shown):
    arguments = {"frequency_mhz": 600, "tx_height_m": 10, "rx_height_m": 10} | change
    with pytest.raises(InputError, match=shown):
        ridges(ground(5), **arguments)


def test_the_string_touches_the_upper_hull_of_the_ground_and_nothing_else():
    # scipy.spatial.ConvexHull (Qhull) is the judge
    rng = np.random.default_rng(8)
    for points in (3, 4, 50, 700):
        distance_km = np.cumsum(rng.choice([0.05, 0.1], points))
        height_m = 5.0 * np.cumsum(rng.normal(size=points))
        upper = [simplex for simplex, normal in _faces(distance_km, height_m) if normal > 0.0]
        assert _upper_hull(distance_km, height_m) == sorted({int(end) for pair in upper for end in pair})


def _faces(distance_km, height_m):
    """Yield the ends of each side of the convex hull, and the height component of its outward normal."""
    hull = ConvexHull(np.column_stack([distance_km, height_m]))
    yield from zip(hull.simplices, hull.equations[:, 1], strict=True)
