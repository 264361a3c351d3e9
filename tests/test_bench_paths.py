"""Paths from a log's stations to the bench: which station is meant, where it stands, what is in the way."""

import math

import numpy as np
import pyproj
import pytest
from affine import Affine
from small_inputs import CELL_M, CELLS, CRS, NORTH, WEST, write_inputs, write_raster

from covermap.addresses.bench_paths import bench_paths
from covermap.jobs.address_sheets import bench_site
from covermap.scenario import read_scenario

MAST = (44.10, -36.10)
GROUND_M, RIDGE_M, MAST_M, FIRST_KW = 20.0, 220.0, 120.0, 40.0
FAR_KM = 6.0
STATIONS = "".join(
    f"{key},{service},North Mast,{shown},on_air,{MAST[0]},{MAST[1]},{channel},{FIRST_KW:g},{MAST_M:g},H,"
    "atsc1_8vsb,wanted,2026-09-01\n"
    for key, service, shown, channel in (
        ("ONE", "First TV", "5.1", 21),
        ("TWO", "Second TV", "6.1", 24),
        ("THREE", "Third TV", "7.1", 30),
        ("FOUR", "Third TV", "8.1", 30),
    )
)
# log's name of a station -> centre of its channel [MHz], 47 CFR 73.603(a)
LOG = {"ONE": 515.0, "second tv": 533.0, "on 24": 533.0, "on 30": 569.0, "Third TV": 569.0, "nowhere": 695.0}
FREE_SPACE_DBUVM = 106.92  # of 1 kW of ERP at 1 km; ITU-R P.525 with a half-wave dipole's 2.15 dBi


def bench(bearing_from_mast_deg):
    """Return the bench's position and what pyproj gives for the way back to the mast."""
    geod = pyproj.Geod(ellps="WGS84")
    longitude, latitude, back_deg = geod.fwd(MAST[1], MAST[0], bearing_from_mast_deg, 1000.0 * FAR_KM)
    return (latitude, longitude), back_deg % 360.0


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    """Flat ground with a wall of a ridge that runs north to south, 3 km east of the mast."""
    from scenario_files import station_csv

    header = station_csv("x").splitlines()[0]
    path = write_inputs(tmp_path_factory.mktemp("bench"), stations=f"{header}\n{STATIONS}")
    ground = np.full((5 * CELLS, 5 * CELLS), GROUND_M, np.float32)
    x, _ = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(*MAST[::-1])
    middle = WEST + CELL_M / 5 * (np.arange(5 * CELLS) + 0.5)
    ground[:, np.abs(middle - (x + 3000.0)) < 150.0] = RIDGE_M
    transform = Affine(CELL_M / 5, 0, WEST, 0, -CELL_M / 5, NORTH)
    write_raster(path.parent / "elevation.tif", ground, transform=transform)
    return read_scenario(path)


def paths_to(scenario, bearing_from_mast_deg, height_m=6.0):
    place, back_deg = bench(bearing_from_mast_deg)
    return bench_paths(bench_site(scenario, *place), *place, height_m, LOG), back_deg


def test_a_station_is_known_by_id_by_service_and_by_a_channel_of_its_own(scenario):
    found, _ = paths_to(scenario, 270.0)
    assert set(found) == {"ONE", "second tv", "on 24"}  # two stations are on 30, and both are Third TV
    assert found["second tv"] == found["on 24"]
    assert {path.mast for path in found.values()} == {"North Mast"}


def test_nothing_is_found_of_stations_the_scenario_does_not_have(scenario):
    place, _ = bench(270.0)
    assert bench_paths(bench_site(scenario, *place), *place, 6.0, {"other": 695.0}) == {}


@pytest.mark.parametrize("bearing_from_mast_deg", [270.0, 10.0, 90.0])
def test_distance_and_bearing_are_those_of_the_ellipsoid(scenario, bearing_from_mast_deg):
    found, back_deg = paths_to(scenario, bearing_from_mast_deg)
    assert found["ONE"].distance_km == pytest.approx(FAR_KM, abs=0.02)
    assert (found["ONE"].bearing_deg - back_deg + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.1)


def test_in_sight_the_field_is_that_of_free_space(scenario):
    found, _ = paths_to(scenario, 270.0)
    expected = FREE_SPACE_DBUVM + 10.0 * math.log10(FIRST_KW) - 20.0 * math.log10(FAR_KM)
    assert found["ONE"].hills == 0
    assert math.isnan(found["ONE"].highest_m)
    assert found["ONE"].field_dbuvm == pytest.approx(expected, abs=1.0)


def test_a_prediction_spreads_more_behind_a_ridge(scenario):
    in_sight, behind = (paths_to(scenario, bearing)[0]["ONE"].spread_db for bearing in (270.0, 90.0))
    assert 6.0 <= in_sight < 10.0  # 6 dB of the mean of open paths (8 without land cover) and of places
    assert behind > in_sight + 1.0


def test_a_ridge_is_counted_with_its_height_over_the_line_of_sight(scenario):
    found, _ = paths_to(scenario, 90.0)
    # by hand: from 140 m at the mast to 30 m (10 m above ground, the lowest the map counts with) the line is
    # 85 m half way; the earth bulges 0.5 m there (3 km x 3 km over 2 x 8500 km); the ridge stands at 220 m
    assert found["ONE"].hills == 1
    assert found["ONE"].highest_m == pytest.approx(220.0 + 0.5 - 85.0, abs=3.0)
    in_sight, _ = paths_to(scenario, 270.0)
    # a knife edge 135 m over the line, 3 km from both ends, at 515 MHz (0.58 m): nu = 135 sqrt(2 x 6000 /
    # (0.58 x 3000 x 3000)) = 6.5, which takes 29 dB (ITU-R P.526); a flat-topped ridge a few dB more
    lost_db = in_sight["ONE"].field_dbuvm - found["ONE"].field_dbuvm
    assert 27.0 < lost_db < 40.0


def test_a_higher_pole_sees_more(scenario):
    low, _ = paths_to(scenario, 90.0, 6.0)
    high, _ = paths_to(scenario, 90.0, 60.0)
    assert high["ONE"].highest_m < low["ONE"].highest_m - 20.0  # 50 m more at one end: 25 m half way
    assert high["ONE"].field_dbuvm > low["ONE"].field_dbuvm
