"""Masts beyond the elevation, and the elevation in words."""

import numpy as np
import pyproj
import pytest
from affine import Affine

from covermap.errors import InputError
from covermap.terrain import Terrain, check_area, check_masts
from covermap.terrain.layer import RasterLayer

WGS84 = pyproj.CRS.from_epsg(4326).to_wkt()


def level_terrain(heights=None):
    """Return one degree of level ground, 44 to 45 N and 36 to 35 W, in cells of 0.01 degrees."""
    heights = np.full((100, 100), 12.0, dtype=np.float32) if heights is None else heights
    return Terrain((RasterLayer("elevation.tif", heights, Affine(0.01, 0, -36.0, 0, -0.01, 45.0), WGS84),))


def test_masts_inside_raise_no_word():
    assert check_masts(level_terrain(), [("Hill", 44.5, -35.5, True), ("Isle", 44.9, -35.9, False)]) == ()


def test_wanted_mast_outside_says_how_far_and_which_degrees():
    with pytest.raises(InputError) as caught:
        check_masts(level_terrain(), [("Coast TV", 44.212, -36.103, True), ("Far TV", 44.5, -37.5, True)])
    # 0.103 degrees of longitude at 44.212 N: 0.103 x 111.32 km x cos(44.212) = 8.2 km
    assert "elevation.tif does not reach Coast TV (44.212 N, 36.103 W): it ends 8.2 km short." in str(
        caught.value
    )
    assert "Add tiles covering 44.0-45.0 N, 37.0-36.0 W" in str(caught.value)
    assert "The same holds for Far TV." in str(caught.value)


def test_mast_degrees_away_needs_every_degree_between():
    with pytest.raises(InputError, match=r"covering 45\.0-48\.0 N, 36\.0-35\.0 W"):
        check_masts(level_terrain(), [("North TV", 47.3, -35.5, True)])


def test_interferer_outside_is_only_a_warning():
    (sentence,) = check_masts(level_terrain(), [("Abroad", 44.5, -36.5, False)])
    assert "does not reach Abroad (44.500 N, 36.500 W)" in sentence
    assert "over smooth earth" in sentence


def test_mast_in_a_void_is_told_as_a_gap():
    heights = np.full((100, 100), 12.0, dtype=np.float32)
    heights[45:55, 45:55] = np.nan
    with pytest.raises(InputError, match=r"gap \(void cells\) at Hill"):
        check_masts(level_terrain(heights), [("Hill", 44.5, -35.5, True)])


def test_summary_tells_range_gaps_and_what_is_to_spare():
    heights = np.full((100, 100), 12.0, dtype=np.float32)
    heights[0, 0] = 842.4
    terrain = level_terrain(heights)
    assert terrain.summary() == "12 to 842 m, no gaps"
    # 0.06 degrees of latitude from the northern edge: 0.06 x 111.1 km = 6.7 km
    assert terrain.summary([(44.94, -35.5), (44.5, -35.5)]) == (
        "12 to 842 m, no gaps, reaches every mast with 6 km to spare"
    )
    heights[1:51] = np.nan
    assert terrain.summary([(46.0, -35.5)]) == "12 to 842 m, 50.0 % gaps, does not reach 1 of 1 masts"
    known, mixed = np.array([44.1, 44.2]), np.array([44.1, 44.2, 44.4, 44.8, 46.0])  # 46 N is no gap: beyond
    assert terrain.summary(read_deg=(np.full(2, -35.5), known)) == "12 to 842 m, no gaps"
    assert terrain.summary(read_deg=(np.full(5, -35.5), mixed)) == "12 to 842 m, 25.0 % gaps"


def test_area_beyond_the_elevation_is_refused():
    with pytest.raises(InputError, match=r"middle 44\.500 N, 10\.500 E.* nowhere on known ground"):
        check_area(level_terrain(), np.array([10.0, 11.0]), np.array([44.5, 44.5]))


def test_area_mostly_beyond_the_elevation_is_told():
    longitude_deg = np.array([-35.5, -34.0, -33.0, -32.0])  # the first of four lies on the degree of ground
    (sentence,) = check_area(level_terrain(), longitude_deg, np.full(4, 44.5))
    assert sentence.startswith("About 75 % of the squares")


def test_area_on_the_elevation_raises_no_word():
    assert check_area(level_terrain(), np.array([-35.5, -35.1]), np.array([44.5, 44.1])) == ()
    assert check_area(level_terrain(), np.array([]), np.array([])) == ()
