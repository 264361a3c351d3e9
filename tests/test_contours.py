"""Contours around stations: on ground made by hand, the distance of the printed table all round."""

import dataclasses

import numpy as np
import pytest
from shapely.geometry import Point
from small_coverage import make_scenario, write_small_coverage

from covermap.grid.geodesy import WGS84
from covermap.grid.height_above_average import heights_above_average_m
from covermap.planning.contours import contours
from covermap.scenario.records import Pattern

LATITUDE_DEG, LONGITUDE_DEG = 44.0, -36.0


class Ground:
    """Ground that is a function of the place."""

    def __init__(self, height_m):
        self.height_m = height_m

    def ground_m(self, longitude_deg, latitude_deg):
        return self.height_m(*np.broadcast_arrays(np.asarray(longitude_deg), np.asarray(latitude_deg)))


def flat(longitude_deg, latitude_deg):
    return np.full(longitude_deg.shape, 100.0)


def known_only_east(longitude_deg, latitude_deg):
    return np.where(longitude_deg < LONGITUDE_DEG - 1e-9, np.nan, 100.0)


@pytest.fixture(scope="module")
def station(tmp_path_factory):
    made = make_scenario(write_small_coverage(tmp_path_factory.mktemp("contours") / "out"))
    return dataclasses.replace(
        made.stations[0],
        latitude_deg=LATITUDE_DEG,
        longitude_deg=LONGITUDE_DEG,
        band="uhf",
        frequency_mhz=615.0,
        erp_kw=1000.0,
        antenna_height_m=365.0,
        azimuth_pattern=None,
        system="atsc1_8vsb",
    )


def radii_km(line):
    """Distances of a contour's points from the mast, on the ellipsoid."""
    x, y = np.asarray(line.coords).T
    _, _, far_m = WGS84.inv(np.full(x.size, LONGITUDE_DEG), np.full(x.size, LATITUDE_DEG), x, y)
    return far_m / 1000.0


def test_the_contour_on_flat_ground_is_a_circle_of_the_printed_distance(station):
    frame, warnings = contours([station], Ground(flat), "EPSG:4326")
    assert list(frame.columns) == ["station_id", "field_dbuvm", "rule", "geometry"]
    assert warnings == ()
    (row,) = frame.itertuples()
    # 47 CFR 73.626(c): 1000 kW at 365 m, 41 dB(uV/m), F(50,90): 103 km, printed to whole km
    assert (row.station_id, row.field_dbuvm, row.rule) == (station.station_id, 41.0, "noise_limited")
    assert row.geometry.is_closed
    assert radii_km(row.geometry) == pytest.approx(103.0, abs=0.5)


def test_the_field_of_the_contour_falls_with_the_channel(station):
    # OET Bulletin 69: 41 - 20 log(615 / 473) = 38.72 dB(uV/m) on channel 14
    frame, _ = contours([dataclasses.replace(station, frequency_mhz=473.0)], Ground(flat), "EPSG:4326")
    assert frame["field_dbuvm"][0] == pytest.approx(38.72)


def test_each_radial_has_its_own_height_and_erp(station):
    def hill_in_the_north(longitude_deg, latitude_deg):
        return np.where(latitude_deg > LATITUDE_DEG + 0.01, 300.0, 100.0)

    degrees = np.arange(361.0)
    weak_in_the_east = Pattern("p", "azimuth", degrees, np.where(np.abs(degrees - 90.0) < 45.0, -20.0, 0.0))
    heights_m = heights_above_average_m(
        Ground(hill_in_the_north), LATITUDE_DEG, LONGITUDE_DEG, 365.0, np.array([0.0, 90.0, 180.0])
    )
    assert heights_m == pytest.approx([165.0, 365.0, 365.0])  # 465 m less the ground's 300, 100, 100
    station = dataclasses.replace(station, azimuth_pattern=weak_in_the_east)
    frame, _ = contours([station], Ground(hill_in_the_north), "EPSG:4326")
    far_km = radii_km(frame.geometry[0])
    north, east, south = far_km[0], far_km[30], far_km[60]
    assert south == pytest.approx(103.0, abs=0.5)
    assert north < south - 10.0
    assert east < south - 20.0
    assert Point(LONGITUDE_DEG, LATITUDE_DEG).within(frame.geometry[0].convex_hull)


def test_a_station_without_a_rule_or_without_ground_has_none(station):
    other = dataclasses.replace(station, station_id="other", system="dvbt2_256qam_2_3_16k")
    frame, warnings = contours([other], Ground(flat), "EPSG:4326")
    assert len(frame) == 0
    assert warnings == ()
    frame, warnings = contours([station], Ground(known_only_east), "EPSG:4326")
    assert len(frame) == 0
    assert station.station_id in warnings[0]
