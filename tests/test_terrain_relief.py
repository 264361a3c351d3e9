"""Relief: greys 176, 226 and 250 for shadow, level ground and full light."""

import numpy as np

from covermap.terrain import relief_grey


def slope(east_rise, north_rise, cell_m=100.0):
    """Return 5 x 5 heights that rise by so much a metre towards the east and the north."""
    col, row = np.meshgrid(np.arange(5), np.arange(5))
    return (east_rise * col - north_rise * row) * cell_m


def test_level_and_unknown_ground_are_drawn_flat():
    assert np.all(relief_grey(np.full((4, 6), 300.0), 100.0) == 226)
    assert np.all(relief_grey(np.full((4, 6), np.nan), 100.0) == 226)
    assert relief_grey([[5.0]], 100.0).tolist() == [[226]]


def test_slope_that_faces_the_light_is_lit_and_the_one_behind_is_in_shadow():
    # light from the north-west at 45 degrees meets a plane of 45 degrees that falls north-west squarely
    steep = np.sqrt(0.5)
    assert np.all(relief_grey(slope(steep, -steep), 100.0, exaggeration=1.0) == 250)
    # ... and the one that falls to the south-east at 45 degrees is grazed: cosine 0
    assert np.all(relief_grey(slope(-steep, steep), 100.0, exaggeration=1.0) == 176)


def test_greys_stay_within_their_limits_on_any_ground():
    rough = np.random.default_rng(5).normal(0.0, 500.0, (50, 50))
    grey = relief_grey(rough, 100.0)
    assert grey.dtype == np.uint8
    assert 176 <= grey.min() < 200 < grey.max() <= 250
