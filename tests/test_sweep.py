"""The sweep along a radial against the path kernel, over invented terrain."""

import math

import numpy as np
import pytest
from fractal_terrain import COAST, SEA, fractal_radial

from covermap.errors import InputError
from covermap.propagation.p1812 import p1812_path
from covermap.propagation.sweep.radial_sweep import RadialSweep
from covermap.propagation.terms import TERM_COUNT, THETA_T
from covermap.propagation.vector_math import exp2, log2_positive, third_sine, vector_kernel

HEIGHTS_M = (1.5, 10.0, 30.0)
FREQUENCIES_MHZ = (30.0, 98.0, 634.0, 6000.0)
VERTICAL = (True, False, True, False)
TIME_PERCENTS = (50.0, 10.0, 1.0)


def coast_distances_km(zone, step, step_km):
    """Return the distances from both ends of a path to the sea, by its definition."""
    at_sea = np.flatnonzero(zone[: step + 1] == SEA)
    if at_sea.size == 0:
        return 500.0, 500.0
    return at_sea[0] * step_km, (step - at_sea[-1]) * step_km


class Radial:
    """One invented radial with its sweep and, by the path kernel, the answer for one item."""

    def __init__(self, seed, steps=160, spread_m=50.0, step_km=0.1, clutter=True, sea=0.35, tx_height_m=60.0):
        rng = np.random.default_rng(seed)
        self.ground_m, self.clutter_m, self.zone = fractal_radial(steps, spread_m, seed, clutter, sea)
        self.step_km, self.tx_height_m = step_km, tx_height_m
        self.dn, self.n0 = float(rng.choice([30.0, 45.0, 70.0])), float(rng.choice([301.0, 325.0]))
        self.mid_latitude_deg = (
            np.linspace(69.5, 70.5, steps + 1) if seed % 2 else np.linspace(-51, -50, steps + 1)
        )
        chosen = rng.choice(np.arange(2, steps + 1), 20)  # with doubles
        self.item_step = np.sort(np.concatenate([[2, 2, 3, 4, steps, steps], chosen])).astype(np.int32)
        self.item_ground_m = self.ground_m[self.item_step] + rng.uniform(-5.0, 5.0, self.item_step.size)
        self.sweep = RadialSweep(steps, 40, HEIGHTS_M, FREQUENCIES_MHZ, VERTICAL, TIME_PERCENTS)

    def run(self, items=slice(None)):
        self.sweep.run(
            self.ground_m, self.clutter_m, self.zone, self.step_km, self.mid_latitude_deg, self.tx_height_m,
            self.item_step[items], self.item_ground_m[items], self.dn, self.n0,
        )  # fmt: skip
        return self.sweep.loss_db.copy(), self.sweep.departure_mrad.copy()

    def path_loss_db(self, item, height, frequency, time):
        """Return (loss in dB, theta_t in mrad) by the path kernel."""
        step = self.item_step[item]
        ground_m = self.ground_m[: step + 1].copy()
        ground_m[step] = self.item_ground_m[item]
        clutter_m = self.clutter_m[: step + 1].astype(np.float64)
        tx_coast_km, rx_coast_km = coast_distances_km(self.zone, step, self.step_km)
        terms = np.zeros(TERM_COUNT)
        loss_db = p1812_path(
            np.arange(step + 1) * self.step_km, ground_m, clutter_m, self.zone[: step + 1], self.tx_height_m,
            HEIGHTS_M[height], FREQUENCIES_MHZ[frequency] / 1000.0, TIME_PERCENTS[time], VERTICAL[frequency],
            self.dn, self.n0, self.mid_latitude_deg[step], tx_coast_km, rx_coast_km, terms,
        )  # fmt: skip
        return loss_db, terms[THETA_T]

    def largest_difference(self):
        """Return the largest difference between sweep and path kernel in (loss dB, departure mrad)."""
        loss_db, departure_mrad = self.run()
        expected_db = np.empty(loss_db.shape)
        expected_mrad = np.empty(departure_mrad.shape)
        for frequency, time, height, item in np.ndindex(*loss_db.shape):
            expected_db[frequency, time, height, item], expected_mrad[height, item] = self.path_loss_db(
                item, height, frequency, time
            )
        np.testing.assert_array_equal(np.isnan(loss_db), np.isnan(expected_db))
        return np.nanmax(np.abs(loss_db - expected_db)), np.nanmax(np.abs(departure_mrad - expected_mrad))


# The judge is the path kernel, which tests/test_p1812.py holds against the published values of ITU-R
# P.1812-8. Both compute the same formulas in float64; 1e-6 dB is far above rounding and far below any use.
@pytest.mark.parametrize("step_km", [0.03, 0.25, 0.7])
@pytest.mark.parametrize(("clutter", "sea"), [(False, 0.0), (True, 0.0), (True, 0.35), (False, 0.93)])
@pytest.mark.parametrize("spread_m", [0.5, 20.0, 300.0])
def test_sweep_equals_the_path_kernel(spread_m, clutter, sea, step_km):
    for tx_height_m in (8.0, 60.0, 300.0):
        seed = int(spread_m * 10 + tx_height_m + step_km * 100 + sea * 10)
        radial = Radial(seed, 160, spread_m, step_km, clutter, sea, tx_height_m)
        loss_difference_db, angle_difference_mrad = radial.largest_difference()
        assert loss_difference_db < 1e-6
        assert angle_difference_mrad < 1e-9


@pytest.mark.parametrize("land_points", [1, 3, 12])
def test_coast_near_either_end_counts_as_in_the_path_kernel(land_points):
    # a low mast on a low shore, then only water: equation (49) of ITU-R P.1812-8 lowers the ducting loss
    radial = Radial(4, 160, 0.5, 0.25, clutter=False, sea=0.0, tx_height_m=8.0)
    radial.ground_m -= 45.0
    radial.item_ground_m -= 45.0
    radial.zone[:] = SEA
    radial.zone[:land_points] = COAST
    radial.zone[-land_points:] = COAST
    assert radial.largest_difference()[0] < 1e-6
    near_db, _ = radial.run()
    radial.zone[:30] = COAST  # with the coast farther than 5 km it does not count
    radial.zone[-5:] = SEA
    far_db, _ = radial.run()
    assert not np.array_equal(near_db, far_db)


def test_unknown_ground_blanks_the_items_behind_it_and_no_other():
    radial = Radial(8)
    known_db, known_mrad = radial.run()
    gap = 60
    radial.ground_m[gap] = np.nan
    loss_db, departure_mrad = radial.run()
    behind = radial.item_step > gap
    assert behind.any()
    assert not behind.all()
    assert np.isnan(loss_db[..., behind]).all()
    assert np.isnan(departure_mrad[:, behind]).all()
    np.testing.assert_array_equal(loss_db[..., ~behind], known_db[..., ~behind])
    np.testing.assert_array_equal(departure_mrad[:, ~behind], known_mrad[:, ~behind])


def test_item_with_its_own_unknown_ground_is_the_only_one_without_answer():
    radial = Radial(9)
    known_db, _ = radial.run()
    radial.item_ground_m[7] = np.nan
    loss_db, departure_mrad = radial.run()
    others = np.arange(radial.item_step.size) != 7
    assert np.isnan(loss_db[..., 7]).all()
    assert np.isnan(departure_mrad[:, 7]).all()
    np.testing.assert_array_equal(loss_db[..., others], known_db[..., others])


@pytest.mark.parametrize("where", ["ground", "clutter"])
def test_unknown_points_agree_with_the_path_kernel(where):
    radial = Radial(10)
    step = radial.item_step[
        12
    ]  # an item that ends at the unknown point keeps its answer: its own end is known
    (radial.ground_m if where == "ground" else radial.clutter_m)[step] = np.nan
    assert radial.largest_difference()[0] < 1e-6  # which also compares where NaN stands
    assert not np.isnan(radial.run()[0][..., 12]).any()


def test_mast_without_ground_has_no_answer():
    radial = Radial(11)
    radial.ground_m[0] = np.nan
    assert np.isnan(radial.run()[0]).all()


@pytest.mark.parametrize("items", [slice(0, 5), slice(10, 11), slice(3, None, 4)])
def test_subset_of_items_has_the_same_answers(items):
    # the march does not depend on who asks, so tiles may share radials or not: bit for bit
    radial = Radial(12)
    all_db, all_mrad = radial.run()
    some_db, some_mrad = radial.run(items)
    np.testing.assert_array_equal(some_db, all_db[..., items])
    np.testing.assert_array_equal(some_mrad, all_mrad[:, items])


def test_fifty_percent_alone_is_the_same_as_among_others():
    # ITU-R P.1812-8 section 4.3: Fi is 0 at 50 %, so the second Earth radius cannot matter
    radial = Radial(13)
    among_db, _ = radial.run()
    radial.sweep = RadialSweep(160, 40, HEIGHTS_M, FREQUENCIES_MHZ, VERTICAL, (50.0,))
    alone_db, _ = radial.run()
    np.testing.assert_allclose(alone_db[:, 0], among_db[:, 0], rtol=0, atol=1e-10)


def test_flat_ground_falls_off_with_distance():
    # flat earth without curvature effects near the mast: never less loss farther out
    radial = Radial(14, sea=0.0, clutter=False)
    radial.ground_m[:] = 20.0
    radial.item_step = np.arange(2, 42, dtype=np.int32)
    radial.item_ground_m = np.full(40, 20.0)
    loss_db, departure_mrad = radial.run()
    assert (np.diff(loss_db, axis=-1) > 0).all()
    assert (departure_mrad < 0).all()  # the mast's antenna stands above all others


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"item_step": [3, 2]}, "item_step is 2 at index 1"),
        ({"item_step": [1, 2]}, "item_step is 1 at index 0"),
        ({"item_step": [2, 21]}, "item_step is 21 at index 1"),
        ({"item_ground_m": [1.0]}, "2 and 1 values"),
        ({"zone": np.ones(20)}, r"\(20,\)"),
    ],
)
def test_wrong_arrays_are_named(change, told):
    arguments = {
        "ground_m": np.zeros(21), "clutter_m": np.zeros(21), "zone": np.ones(21), "step_km": 0.1,
        "mid_latitude_deg": np.zeros(21), "tx_height_m": 30.0, "item_step": [2, 3],
        "item_ground_m": [0.0, 0.0], "dn": 45.0, "n0": 325.0,
    }  # fmt: skip
    sweep = RadialSweep(20, 2, HEIGHTS_M, FREQUENCIES_MHZ, VERTICAL, TIME_PERCENTS)
    with pytest.raises(InputError, match=told):
        sweep.run(**(arguments | change))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"time_percents": (60.0,)}, "time_percents must be from 1 to 50, got 60"),
        ({"frequencies_mhz": (20.0,)}, "frequencies_mhz must be from 30 to 6000, got 20"),
        ({"heights_m": ()}, "heights_m is empty"),
        ({"polarization_vertical": (True, False)}, "has 2 values"),
        ({"steps": 1}, "steps must be 2 or more, got 1"),
    ],
)
def test_wrong_settings_are_named(change, told):
    arguments = {
        "steps": 10, "items": 5, "heights_m": (10.0,), "frequencies_mhz": (500.0,),
        "polarization_vertical": (True,), "time_percents": (50.0,),
    }  # fmt: skip
    with pytest.raises(InputError, match=told):
        RadialSweep(**(arguments | change))


def test_more_items_than_room_is_an_error():
    sweep = RadialSweep(20, 1, (10.0,), (500.0,), (False,), (50.0,))
    flat = np.zeros(21)
    with pytest.raises(InputError, match="made for 20 and 1"):
        sweep.run(flat, flat, np.ones(21), 0.1, flat, 30.0, [2, 3], [0.0, 0.0], 45.0, 325.0)


@vector_kernel
def fill_functions(x, y, q, out):
    """Write log2, exp2 and the third of a sine as the sweep uses them: in a loop that vectorises."""
    for i in range(x.shape[0]):
        out[0, i] = log2_positive(x[i])
    for i in range(y.shape[0]):
        out[1, i] = exp2(y[i])
    for i in range(q.shape[0]):
        out[2, i] = third_sine(q[i])


def test_vector_functions_are_as_exact_as_they_say():
    rng = np.random.default_rng(1)
    x = np.concatenate([np.exp(rng.uniform(-700, 700, 5000)), np.linspace(0.4, 3.0, 5000), [1.0, 2.0, 0.25]])
    y = np.concatenate([rng.uniform(-999, 999, x.size - 3), [0.0, 0.5, -0.5]])
    q = np.concatenate([np.linspace(-1.0, 1.0, x.size - 2), [0.5, -0.5]])
    out = np.empty((3, x.size))
    fill_functions(x, y, q, out)
    # the values of the C library, which is within one unit in the last place
    np.testing.assert_allclose(out[0], [math.log2(v) for v in x], rtol=2e-15, atol=0)
    np.testing.assert_allclose(out[1], [math.pow(2.0, v) for v in y], rtol=4e-14)
    np.testing.assert_allclose(out[2], [math.sin(math.asin(v) / 3.0) for v in q], rtol=0, atol=2e-15)


def test_power_of_two_stays_within_its_limits():
    assert exp2(5000.0) == pytest.approx(2.0**1000, rel=4e-14)
    assert exp2(-5000.0) == pytest.approx(2.0**-1000, rel=4e-14, abs=0)
