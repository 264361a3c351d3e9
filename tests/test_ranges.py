"""Ranges of expected homes: they hold as often as they say in worlds whose truth is known."""

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from scipy.stats import multivariate_normal

from covermap.constants import BANDS
from covermap.planning.ranges import RangeTally, common_errors, deviation
from covermap.planning.shared_errors import ServicePaths, shared_errors, slopes, spread_of
from covermap.propagation.ridges import PATH_CLASSES

CLEAR, MANY = PATH_CLASSES.index("clear"), PATH_CLASSES.index("many_ridges")
LOCATION_DB = 2.86
# By path, with land cover: prediction; of it common to a site's cells, 4 dB and half of the added variance
# (docs/decisions/sigma_by_path.md); the rest a cell's own. By hand: 16 + (11.5^2 - 6^2) / 2 = 64.125
PARTS_DB = {CLEAR: (6.0, 4.0, 20.0**0.5), MANY: (11.5, 8.008, 8.254)}
BY_PATH = {band: {"clear": 6.0, "many_ridges": 11.5} for band in BANDS}
GROUPS = 3
GROUP_OF_SERVICE = np.array([0, 0, 1, 1, 2])


def record(home_correlation, by_path=BY_PATH):
    """Return what run.json says of the spread."""
    total_db = (36.0 + LOCATION_DB**2) ** 0.5
    sigma = {"total": total_db, "prediction": 6.0, "prediction_by_path": by_path}
    return {"sigma_db": {**sigma, "home_correlation": home_correlation}}


def total_db(path_class):
    prediction_db = np.where(path_class == MANY, 11.5, 6.0)
    return np.hypot(prediction_db, LOCATION_DB)


def world(rng, cells, middle_db):
    """Return margins (V, N), path classes (G, N), homes (N,) and areas (N,): a large one, two small."""
    margin_db = rng.normal(middle_db, 7.0, (5, cells)) + rng.normal(0.0, 4.0, cells)
    area = np.where(np.arange(cells) < 12, 1, np.where(np.arange(cells) < 40, 2, 0))
    path_class = np.where(rng.random((GROUPS, cells)) < 0.4, MANY, CLEAR)
    return margin_db, path_class, rng.integers(1, 25, cells), area


def chances(margin_db, path_class, all_needed, correlation):
    """Return the exact chance of a home: the services of one group together, groups by their correlation."""
    by_group = [margin_db[GROUP_OF_SERVICE == g] / total_db(path_class[g]) for g in range(GROUPS)]
    sign = 1.0 if all_needed else -1.0
    nearest = [(sign * one).min(axis=0) for one in by_group]
    points, weights = np.polynomial.hermite_e.hermegauss(40)
    whole = np.zeros(margin_db.shape[1])
    for point, weight in zip(points, weights / weights.sum(), strict=True):
        given = [(z + correlation**0.5 * point) / (1.0 - correlation) ** 0.5 for z in nearest]
        whole += weight * np.prod(ndtr(given), axis=0)
    return whole if all_needed else 1.0 - whole


def drawn(rng, shape, correlation):
    """Return normal deviations (GROUPS, ...) of which any two of a column are correlated."""
    own, together = rng.normal(size=(GROUPS, *shape)), rng.normal(size=(1, *shape))
    return correlation**0.5 * together + (1.0 - correlation) ** 0.5 * own


def true_count(rng, of_world, all_needed, correlation):
    """Draw a world's truth home by home; return how many homes fail in each area."""
    margin_db, path_class, homes, area = of_world
    cells = homes.size
    common_db, cell_db = (
        np.where(path_class == MANY, PARTS_DB[MANY][part], PARTS_DB[CLEAR][part]) for part in (1, 2)
    )
    shared = common_db * drawn(rng, (1,), correlation) + cell_db * drawn(rng, (cells,), correlation)
    home_cell = np.repeat(np.arange(cells), homes)
    error_db = shared[:, home_cell] + LOCATION_DB * drawn(rng, (home_cell.size,), correlation)
    works = margin_db[:, home_cell] + error_db[GROUP_OF_SERVICE] > 0.0
    failed = ~(works.all(axis=0) if all_needed else works.any(axis=0))
    return np.bincount(area[home_cell], failed, minlength=3)


def paths_of(path_class, group=GROUP_OF_SERVICE):
    """Return the paths of services by their group, all at UHF; path_class : (G, N)"""
    services = np.repeat(group[:, None], path_class.shape[1], axis=1)
    return ServicePaths(
        services, np.full(services.shape, BANDS.index("uhf")), path_class[group].astype(np.uint8)
    )


@pytest.mark.parametrize("correlation", [0.0, 0.25])
@pytest.mark.parametrize(("all_needed", "middle_db"), [(True, 14.0), (False, -6.0)])
def test_the_80_percent_range_covers_the_truth_74_to_86_percent_of_the_time(
    all_needed, middle_db, correlation
):
    rng = np.random.default_rng(3)
    inside = np.zeros(3)
    worlds, truths = 25, 40
    spread = spread_of(record(correlation))
    for _ in range(worlds):
        margin_db, path_class, homes, area = of_world = world(rng, 250, middle_db)
        exact = chances(margin_db, path_class, all_needed, correlation)
        percent = np.floor(100.0 * exact + 0.5)
        services = np.floor(100.0 * ndtr(margin_db / total_db(path_class[GROUP_OF_SERVICE])) + 0.5)
        tally = RangeTally(3, GROUPS, correlation)
        tally.add(
            area, np.arange(homes.size), homes.astype(float), deviation(percent),
            shared_errors(services, paths_of(path_class), GROUPS, spread, all_needed=all_needed),
        )  # fmt: skip
        low, high = tally.ranges(np.bincount(area, homes * (1.0 - exact), minlength=3))
        for _ in range(truths):
            count = true_count(rng, of_world, all_needed, correlation)
            inside += (low <= count) & (count <= high)
    covered = 100.0 * inside / (worlds * truths)
    assert np.all((covered >= 74.0) & (covered <= 86.0)), covered


def one_group(percent, path_class=CLEAR):
    """Return what cells that hang on one station share."""
    cells = len(percent)
    paths = paths_of(np.full((1, cells), path_class), np.zeros(1, dtype=int))
    return shared_errors(np.asarray(percent)[None], paths, 1, spread_of(record(0.25)), all_needed=True)


def test_the_mean_of_the_draws_is_the_expected_number():
    # 1000 homes in each of 200 cells with a chance of 60 %: 400 of 1000 fail (by hand 0.4 x 200 000)
    tally = RangeTally(1, 1, 0.25)
    cells = 200
    tally.add(
        np.zeros(cells, int), np.arange(cells), np.full(cells, 1000.0), deviation(np.full(cells, 60)),
        one_group(np.full(cells, 60.0)),
    )  # fmt: skip
    assert tally.mean.mean() == pytest.approx(80_000, rel=0.01)


@pytest.mark.parametrize("correlation", [0.0, 0.25])
def test_common_errors_have_their_spread_and_correlation_and_are_the_same_every_time(correlation):
    errors = common_errors(4, correlation)
    np.testing.assert_allclose(errors.std(axis=0), 1.0, atol=0.02)
    np.testing.assert_array_equal(errors, common_errors(4, correlation))
    apart = np.corrcoef(errors.T) - correlation - (1.0 - correlation) * np.eye(4)
    assert np.abs(apart).max() < 0.15  # of 400 draws: three standard errors


def test_tile_order_and_areas_do_not_move_a_range():
    rng = np.random.default_rng(5)
    percent, homes = rng.integers(20, 99, 60), rng.integers(1, 9, 60).astype(float)

    def ranges(order):
        tally = RangeTally(1, 1, 0.25)
        for part in order:
            shared = one_group(percent[part])
            tally.add(np.zeros(part.size, int), part, homes[part], deviation(percent[part]), shared)
        return tally.mean

    whole = ranges([np.arange(60)])
    parts = ranges([np.arange(40, 60), np.arange(0, 40)])
    np.testing.assert_allclose(whole, parts, rtol=1e-12)


def test_a_group_takes_the_part_its_level_has_in_the_chance():
    # two alike at 90 %, apart: P = 0.81, dP/dz = 0.9 x 0.17550, phi(Z) at Z = 0.8779 is 0.27136: 0.582 each
    # (normal table); of one the whole; beside a sure one the doubtful one takes nearly all
    at_90 = 1.28155
    np.testing.assert_allclose(slopes(np.array([[at_90], [at_90]]), 0.0), 0.582, atol=0.001)
    np.testing.assert_allclose(slopes(np.array([[at_90], [np.inf]]), 0.25)[:, 0], [1.0, 0.0], atol=0.002)
    assert slopes(np.array([[3.0], [0.25]]), 0.0)[1, 0] > 0.97


@pytest.mark.parametrize("correlation", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("at", [(1.2816, 1.2816), (1.2816, 0.0), (-0.5, 2.0)])
def test_slopes_of_two_are_those_of_the_bivariate_normal_distribution(at, correlation):
    # dP/dz1 = phi(z1) Phi((z2 - r z1) / sqrt(1 - r^2)) (textbook); P by SciPy
    chance = multivariate_normal.cdf(at, cov=[[1.0, correlation], [correlation, 1.0]])
    phi = multivariate_normal(0.0, 1.0).pdf
    whole = ndtri(chance)
    expected = [
        phi(z) * ndtr((other - correlation * z) / np.sqrt(1.0 - correlation**2)) / phi(whole)
        for z, other in (at, at[::-1])
    ]
    np.testing.assert_allclose(slopes(np.array(at)[:, None], correlation)[:, 0], expected, atol=0.01)


@pytest.mark.parametrize(
    ("path_class", "common", "cell", "per_db"),
    [  # by hand from PARTS_DB: over hypot(6, 2.86) = 6.647 and hypot(11.5, 2.86) = 11.850
        (CLEAR, 0.602, 0.673, 0.1505),
        (MANY, 0.676, 0.697, 0.0844),
        (255, 0.602, 0.673, 0.1505),  # not known: an open path
    ],
)
def test_what_cells_share_follows_the_path(path_class, common, cell, per_db):
    shared = one_group(np.full(1, 60.0), path_class)
    found = [shared.common[0, 0], shared.cell[0, 0], shared.per_db[0]]
    np.testing.assert_allclose(found, [common, cell, per_db], rtol=0.003)


def test_a_sure_cell_is_told_apart_by_its_chance_3_db_down():
    # 100 % that falls to 98 % 3 dB down lies 2.054 + 3/6.65 deviations from the edge (normal table)
    found = deviation(np.array([100, 100, 50]), np.array([98, 100, 30]), None, 1.0 / 6.65)
    assert found[0] == pytest.approx(2.054 + 3 / 6.65, abs=0.001)
    assert np.isinf(found[1])
    assert found[2] == pytest.approx(0.0, abs=1e-9)


def test_no_record_of_the_spread_gives_no_range_and_an_old_one_open_paths():
    assert spread_of({}) is None
    spread = spread_of({"sigma_db": {"total": 6.65, "prediction": 6.0}})
    # docs/decisions/sigma_by_path.md: an open path shares 4 dB; of 6 dB sqrt(6^2 - 4^2) = sqrt(20) are left
    assert np.all(spread.common_db == 4.0)
    np.testing.assert_allclose(spread.cell_db, 20.0**0.5)
    np.testing.assert_allclose(spread.total_db, 6.65)
