"""Ranges of expected homes: they hold as often as they say in worlds whose truth is known."""

import numpy as np
import pytest
from scipy.special import ndtr

from covermap.planning.ranges import (
    RangeTally,
    Spread,
    common_errors_db,
    deviation,
    mast_shares,
    spread_of,
)

COMMON_DB, CELL_DB, LOCATION_DB = 4.0, 20.0**0.5, 2.86  # prediction 6 dB = root of 4 squared and 20
TOTAL_DB = (36.0 + LOCATION_DB**2) ** 0.5
SPREAD = Spread(TOTAL_DB, COMMON_DB, CELL_DB)
MASTS = 3
MAST_OF_SERVICE = np.array([0, 0, 1, 1, 2])


def world(rng, cells, middle_db):
    """Return margins (V, N), homes (N,) and areas (N,): one large, two small ones."""
    margin_db = rng.normal(middle_db, 7.0, (5, cells)) + rng.normal(0.0, 4.0, cells)
    area = np.where(np.arange(cells) < 12, 1, np.where(np.arange(cells) < 40, 2, 0))
    return margin_db, rng.integers(1, 25, cells), area


def chances(margin_db, all_needed):
    """Return the exact chance of a home: masts err apart, the services of one mast together."""
    by_mast = [margin_db[MAST_OF_SERVICE == m] for m in range(MASTS)]
    if all_needed:
        return np.prod([ndtr(m.min(axis=0) / TOTAL_DB) for m in by_mast], axis=0)
    return 1.0 - np.prod([1.0 - ndtr(m.max(axis=0) / TOTAL_DB) for m in by_mast], axis=0)


def true_count(rng, margin_db, homes, area, all_needed):
    """Draw a world's truth home by home; return how many homes fail in each area."""
    cells = homes.size
    shared = rng.normal(0.0, COMMON_DB, (MASTS, 1)) + rng.normal(0.0, CELL_DB, (MASTS, cells))
    home_cell = np.repeat(np.arange(cells), homes)
    own = rng.normal(0.0, LOCATION_DB, (MASTS, home_cell.size))
    error_db = shared[:, home_cell] + own
    works = margin_db[:, home_cell] + error_db[MAST_OF_SERVICE] > 0.0
    failed = ~(works.all(axis=0) if all_needed else works.any(axis=0))
    return np.bincount(area[home_cell], failed, minlength=3)


@pytest.mark.parametrize(("all_needed", "middle_db"), [(True, 14.0), (False, -6.0)])
def test_the_80_percent_range_covers_the_truth_74_to_86_percent_of_the_time(all_needed, middle_db):
    rng = np.random.default_rng(3)
    inside = np.zeros(3)
    worlds, truths = 25, 40
    for _ in range(worlds):
        margin_db, homes, area = world(rng, 250, middle_db)
        exact = chances(margin_db, all_needed)
        percent = np.floor(100.0 * exact + 0.5)
        services = np.floor(100.0 * ndtr(margin_db / TOTAL_DB) + 0.5)
        mast = np.repeat(MAST_OF_SERVICE[:, None], homes.size, axis=1)
        tally = RangeTally(3, MASTS, SPREAD)
        tally.add(
            area, np.arange(homes.size), homes.astype(float), deviation(percent),
            mast_shares(services, mast, MASTS, all_needed=all_needed),
        )  # fmt: skip
        low, high = tally.ranges(np.bincount(area, homes * (1.0 - exact), minlength=3))
        for _ in range(truths):
            count = true_count(rng, margin_db, homes, area, all_needed)
            inside += (low <= count) & (count <= high)
    covered = 100.0 * inside / (worlds * truths)
    assert np.all((covered >= 74.0) & (covered <= 86.0)), covered


def test_the_mean_of_the_draws_is_the_expected_number():
    # 1000 homes in each of 200 cells with a chance of 60 %: 400 of 1000 fail (by hand 0.4 x 200 000)
    tally = RangeTally(1, 1, SPREAD)
    cells = 200
    mast = np.zeros((1, cells), dtype=int)
    shares = mast_shares(np.full((1, cells), 60.0), mast, 1, all_needed=True)
    tally.add(
        np.zeros(cells, int), np.arange(cells), np.full(cells, 1000.0), deviation(np.full(cells, 60)), shares
    )
    assert tally.mean.mean() == pytest.approx(80_000, rel=0.01)


def test_common_errors_have_their_spread_and_are_the_same_every_time():
    errors = common_errors_db(4, 4.0)
    np.testing.assert_allclose(errors.std(axis=0), 4.0, atol=0.05)
    np.testing.assert_array_equal(errors, common_errors_db(4, 4.0))
    assert np.abs(np.corrcoef(errors.T) - np.eye(4)).max() < 0.2


def test_tile_order_and_areas_do_not_move_a_range():
    rng = np.random.default_rng(5)
    percent, homes = rng.integers(20, 99, 60), rng.integers(1, 9, 60).astype(float)
    mast = np.zeros((1, 60), dtype=int)

    def ranges(order):
        tally = RangeTally(1, 1, SPREAD)
        for part in order:
            shares = mast_shares(percent[None, part], mast[:, part], 1, all_needed=True)
            tally.add(np.zeros(part.size, int), part, homes[part], deviation(percent[part]), shares)
        return tally.mean

    whole = ranges([np.arange(60)])
    parts = ranges([np.arange(40, 60), np.arange(0, 40)])
    np.testing.assert_allclose(whole, parts, rtol=1e-12)


def test_a_mast_takes_the_part_its_level_has_in_the_chance():
    # two masts alike at 90 %: P = 0.81, dP/dz = 0.9 x 0.17550, phi(Z) at Z = 0.8779 is 0.27136: 0.582 each
    # (normal table); of one mast the whole; beside a sure one the doubtful mast takes nearly all
    shares = mast_shares(np.array([[90, 99.9], [90, 60]]), np.array([[0, 0], [1, 1]]), 2, all_needed=True)
    np.testing.assert_allclose(shares.share[:, 0], [0.582, 0.582, 0.0], atol=0.001)
    assert shares.mast[0, 1] == 1
    assert shares.share[0, 1] > 0.97
    alone = mast_shares(np.array([[90]]), np.array([[0]]), 1, all_needed=False)
    np.testing.assert_allclose(alone.share[:, 0], [1.0, 0.0, 0.0])


def test_a_sure_cell_is_told_apart_by_its_chance_3_db_down():
    # 100 % that falls to 98 % 3 dB down lies 2.054 + 3/6.65 deviations from the edge (normal table)
    found = deviation(np.array([100, 100, 50]), np.array([98, 100, 30]), None, 6.65)
    assert found[0] == pytest.approx(2.054 + 3 / 6.65, abs=0.001)
    assert np.isinf(found[1])
    assert found[2] == pytest.approx(0.0, abs=1e-9)


def test_no_record_of_the_spread_gives_no_range():
    assert spread_of({}) is None
    spread = spread_of({"sigma_db": {"total": 6.65, "prediction": 6.0}})
    assert spread.cell_db == pytest.approx(CELL_DB)
