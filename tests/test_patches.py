"""Connected patches found block by block are those of the whole map."""

import dataclasses

import numpy as np
import pytest
import shapely
from scipy import ndimage
from small_coverage import GRID

from covermap.planning import patches as of_patches
from covermap.planning.patches import Patches, Votes

RNG = np.random.default_rng(8)
ROWS, COLS = 61, 83
SPIRAL = np.zeros((ROWS, COLS), dtype=np.uint8)
SPIRAL[::4] = 1
SPIRAL[2::8, 0] = SPIRAL[1::8, 0] = SPIRAL[3::8, 0] = 1
SPIRAL[5::8, -1] = SPIRAL[6::8, -1] = SPIRAL[7::8, -1] = 1  # one patch that winds through every block
CASES = {
    "speckle of two kinds": RNG.choice([0, 0, 1, 2], (ROWS, COLS)).astype(np.uint8),
    "large patches of two kinds": (ndimage.gaussian_filter(RNG.normal(size=(ROWS, COLS)), 4) * 20)
    .astype(int)
    .clip(0, 2)
    .astype(np.uint8),
    "one that winds": SPIRAL,
    "everything": np.ones((ROWS, COLS), dtype=np.uint8),
    "nothing": np.zeros((ROWS, COLS), dtype=np.uint8),
}


def whole_map_labels(kinds):
    """Return the patches of a map by one call of scipy for each kind, 0 none."""
    labels, count = np.zeros(kinds.shape, dtype=int), 0
    for kind in (1, 2):
        found, patches = ndimage.label(kinds == kind)
        labels[found > 0] = found[found > 0] + count
        count += patches
    return labels, count


@pytest.fixture(params=CASES)
def kinds(request):
    return CASES[request.param]


@pytest.fixture(params=[16, 7, 200])
def found(request, kinds, monkeypatch):
    monkeypatch.setattr(of_patches, "BLOCK_CELLS", request.param)
    grid = dataclasses.replace(GRID, rows=ROWS, cols=COLS)
    return Patches(grid, lambda tile: kinds[tile.window].copy())


def labels_of(patches):
    labels = np.full((ROWS, COLS), -1)
    for part in patches.cells():
        block = labels[part.tile.window]
        block[np.unravel_index(part.cell, block.shape)] = part.patch
    return labels


def test_patches_across_blocks_are_those_of_the_whole_map(kinds, found):
    expected, count = whole_map_labels(kinds)
    labels = labels_of(found)
    assert found.count == count
    np.testing.assert_array_equal(labels >= 0, expected > 0)
    pairs = {
        (int(one), int(other)) for one, other in zip(expected[expected > 0], labels[labels >= 0], strict=True)
    }
    assert len(pairs) == count
    np.testing.assert_array_equal(found.kind[labels[labels >= 0]], kinds[labels >= 0])


def test_outlines_hold_the_cells_of_their_patches_and_no_others(kinds, found):
    outlines = found.outlines(np.arange(found.count), found.count)
    labels = labels_of(found)
    cell_m2 = found.grid.cell_m**2
    cells = np.bincount(labels[labels >= 0], minlength=found.count)
    assert [shapely.get_type_id(one) for one in outlines] == [3] * found.count  # each one polygon
    np.testing.assert_allclose([one.area for one in outlines], cells * cell_m2)
    if 0 < found.count < 40:
        x, y = found.grid.centres(found.grid.whole)
        for number, outline in enumerate(outlines):
            np.testing.assert_array_equal(shapely.contains_xy(outline, x, y), labels == number)


def test_patches_that_are_not_asked_for_have_no_outline(kinds, found):
    number = np.full(found.count, -1)
    assert found.outlines(number, 0).size == 0
    if not found.count:
        return
    number[found.count // 2] = 0
    (outline,) = found.outlines(number, 1)
    cells = (labels_of(found) == found.count // 2).sum()
    assert outline.area == pytest.approx(cells * found.grid.cell_m**2)


def test_the_choice_with_most_weight_wins_over_all_blocks():
    votes = Votes(4, 3)
    votes.add(np.array([0, 0, 1, 3]), np.array([2, 1, 0, 9]), np.array([1.0, 1.5, 2.0, 5.0]))
    votes.add(np.array([0, 1]), np.array([2, 2]), np.array([1.0, 2.0]))
    assert votes.most().tolist() == [2, 0, -1, -1]  # patch 1: the first of equal ones; 9 is no choice
    assert Votes(2, 3).most().tolist() == [-1, -1]
