"""A result drawn with larger cells."""

import numpy as np
import pytest
from small_coverage import GRID, write_small_coverage

from covermap.result.coarsened import coarsened


@pytest.fixture
def coverage(tmp_path):
    return write_small_coverage(tmp_path)


def test_a_small_result_is_drawn_as_it_is(coverage):
    assert coarsened(coverage) is coverage


def test_larger_cells_hold_a_value_of_one_of_their_cells_and_the_sum_of_homes(coverage):
    drawn = coarsened(coverage, GRID.cells // 5)  # 1200 cells to at most 240: factor 3
    assert drawn.grid.shape == (10, 13)
    assert drawn.grid.cell_m == 300.0
    for name in ("main/tier", "ground", "main/aim", "flags"):
        fine, coarse = coverage.read(name)[:30, :39], drawn.read(name)
        assert coarse.shape == (10, 13)
        inside = fine.reshape(10, 3, 13, 3).swapaxes(1, 2).reshape(10, 13, 9)
        fine_or_unknown, picked = np.nan_to_num(inside, nan=-9.0), np.nan_to_num(coarse, nan=-9.0)
        assert (fine_or_unknown == picked[..., None]).any(axis=-1).all(), name
    chances = drawn.read("main/tier_chance")
    assert chances.shape == (7, 10, 13)
    homes = coverage.read("homes")[:30, :39].reshape(10, 3, 13, 3)
    np.testing.assert_allclose(np.nan_to_num(drawn.read("homes")), np.nansum(homes, axis=(1, 3)), rtol=1e-6)
    window = drawn.read("main/tier", (slice(2, 5), slice(1, 4)))
    assert np.array_equal(window, drawn.read("main/tier")[2:5, 1:4])
