"""The class of every path of a radial against the class of each path on its own."""

import numpy as np
import pytest
from fractal_terrain import fractal_radial

from covermap.propagation import Profile, path_class
from covermap.propagation.ridges import PATH_CLASSES
from covermap.propagation.sight import fresnel_radius_m
from covermap.propagation.sweep.radial_sweep import RadialSweep

# The judge is covermap.propagation.ridges, a plain scan of one path, held in tests/test_ridges.py against
# profiles whose ridges were put there by hand. It is asked at 600 MHz, whatever is swept.


def swept(ground_m, clutter_m, zone, step_km, tx_height_m, item_step, end_m, frequencies_mhz=(634.0,)):
    sweep = RadialSweep(
        ground_m.size - 1, item_step.size, (10.0, 15.0), frequencies_mhz, [False] * len(frequencies_mhz),
        (50.0, 10.0),
    )  # fmt: skip
    sweep.run(
        ground_m, clutter_m, zone, step_km, np.full(ground_m.size, 50.0), tx_height_m, item_step, end_m, 45.0,
        325.0,
    )  # fmt: skip
    return sweep.path_class.copy()


def alone(ground_m, step_km, tx_height_m, step, end_m):
    """Return the class of one path, over bare ground, to 10 m above its own end."""
    profile_m = np.append(ground_m[:step], end_m)
    name = path_class(
        Profile(np.arange(step + 1) * step_km, profile_m),
        frequency_mhz=600.0,
        tx_height_m=tx_height_m,
        rx_height_m=10.0,
    )
    return PATH_CLASSES.index(name)


@pytest.mark.parametrize("frequencies_mhz", [(634.0,), (98.0, 195.0), (3000.0,)])
@pytest.mark.parametrize("step_km", [0.05, 0.5])
def test_classes_are_those_of_each_path_on_its_own(step_km, frequencies_mhz):
    seen = np.zeros(len(PATH_CLASSES), dtype=int)
    for seed, (spread_m, tx_height_m) in enumerate(
        [(2.0, 8.0), (2.0, 200.0), (20.0, 60.0), (60.0, 200.0), (300.0, 60.0), (300.0, 300.0)]
    ):
        ground_m, clutter_m, zone = fractal_radial(300, spread_m, seed, seed % 2 == 0, 0.3)
        rng = np.random.default_rng(seed)
        steps = np.sort(rng.choice(np.arange(2, 301), 30)).astype(np.int32)
        end_m = ground_m[steps] + rng.uniform(-5.0, 5.0, steps.size)
        found = swept(ground_m, clutter_m, zone, step_km, tx_height_m, steps, end_m, frequencies_mhz)
        expected = [
            alone(ground_m, step_km, tx_height_m, step, end)
            for step, end in zip(steps, end_m, strict=True)
        ]  # fmt: skip
        np.testing.assert_array_equal(found, expected)
        seen += np.bincount(found, minlength=seen.size)
    # scatter needs paths of tens of kilometres; the rest must all have been met
    assert (seen[:-1] > 0).sum() >= 5
    assert step_km < 0.1 or seen[-1] > 0


def test_a_class_does_not_depend_on_who_else_is_asked():
    ground_m, clutter_m, zone = fractal_radial(300, 60.0, 3, True, 0.3)
    steps = np.arange(2, 301, dtype=np.int32)
    end_m = ground_m[steps] + 2.0
    every = swept(ground_m, clutter_m, zone, 0.2, 60.0, steps, end_m)
    for some in (slice(0, None, 7), slice(200, 201)):
        found = swept(ground_m, clutter_m, zone, 0.2, 60.0, steps[some], end_m[some])
        np.testing.assert_array_equal(found, every[some])


def test_unknown_ground_has_no_class():
    ground_m, clutter_m, zone = fractal_radial(60, 60.0, 3, True, 0.3)
    steps = np.array([10, 30, 50], dtype=np.int32)
    end_m = np.array([ground_m[10], np.nan, ground_m[50]])
    ground_m[40] = np.nan
    found = swept(ground_m, clutter_m, zone, 0.2, 60.0, steps, end_m)
    assert found[0] < len(PATH_CLASSES)
    assert found[1:].tolist() == [255, 255]


@pytest.mark.parametrize(("top_m", "name"), [(70.0, "clear"), (80.0, "grazing"), (102.0, "one_ridge")])
def test_a_ridge_between_grazes_then_blocks(top_m, name):
    # Half way along 10 km at 600 MHz the first Fresnel zone has 35.5 m (P.526-16 section 2) and the bulge
    # is 1.4 m: 0.6 of it is 21.3 m, so a top 18 m under the line of 100 m grazes, and 2 m over it blocks.
    assert fresnel_radius_m(5.0, 5.0, 600.0) == pytest.approx(35.5, abs=0.05)
    ground_m = np.zeros(101)
    ground_m[50] = top_m
    found = swept(
        ground_m, np.zeros(101), np.full(101, 4), 0.1, 100.0, np.array([100], dtype=np.int32),
        np.array([90.0]),
    )  # fmt: skip
    assert PATH_CLASSES[found[0]] == name
