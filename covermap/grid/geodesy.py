"""Distances and bearings between a mast and many cells, on the WGS 84 ellipsoid."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray

from covermap.propagation.compiling import kernel

# The exact geodesic, for profiles and single points. For every cell of every mast the closed form below
# stands in for it, as near as mast_geometry says.
WGS84 = pyproj.Geod(ellps="WGS84")
SEMI_MAJOR_M = 6378137.0  # WGS 84, defining constant
FLATTENING = 1.0 / 298.257223563  # WGS 84, defining constant
ECCENTRICITY_2 = FLATTENING * (2.0 - FLATTENING)
SECOND_ECCENTRICITY_2 = ECCENTRICITY_2 / (1.0 - ECCENTRICITY_2)


@dataclass(frozen=True, eq=False)
class MastGeometry:
    """How cells lie from a mast; arrays of one shape, float64.

    distance_km : length of the geodesic
    azimuth_deg : at the mast towards the cell, clockwise from true north, 0 up to 360
    back_azimuth_deg : at the cell towards the mast, the same way
    """

    distance_km: NDArray[np.float64]
    azimuth_deg: NDArray[np.float64]
    back_azimuth_deg: NDArray[np.float64]


def mast_geometry(
    mast_latitude_deg: float, mast_longitude_deg: float, longitude_deg: ArrayLike, latitude_deg: ArrayLike
) -> MastGeometry:
    """Return distances and bearings between a mast and points, each [deg] on WGS 84.

    longitude_deg, latitude_deg : points of any one shape; longitudes may run past 180
    Each point is worked out alone, so its answer does not depend on the tile it stands in.
    A point at the mast itself has distance 0 and both bearings 0. NaN gives NaN.

    Accuracy against the exact geodesic: distance 0.1 m and bearing 0.0001 degrees to 500 km; 1 m and
    0.001 degrees to 1000 km (tests/test_grid_geodesy.py).
    """
    longitude_deg = np.ascontiguousarray(longitude_deg, dtype=np.float64)
    latitude_deg = np.ascontiguousarray(latitude_deg, dtype=np.float64)
    out = np.empty((3, longitude_deg.size))
    fill_mast_geometry(
        math.radians(mast_latitude_deg),
        math.radians(mast_longitude_deg),
        np.radians(longitude_deg.ravel()),
        np.radians(latitude_deg.ravel()),
        out,
    )
    distance_km, azimuth_deg, back_azimuth_deg = out.reshape((3, *longitude_deg.shape))
    return MastGeometry(distance_km, azimuth_deg, back_azimuth_deg)


@kernel
def fill_mast_geometry(mast_latitude, mast_longitude, longitude, latitude, out):
    """Write distance [km], azimuth and back azimuth [deg] of each point into out, shape (3, points).

    Angles in radians. The straight chord between the two points gives the normal sections at both ends;
    see geodesic_length_m and geodesic_azimuth_deg for the step from there to the geodesic.
    """
    sin_1, cos_1 = math.sin(mast_latitude), math.cos(mast_latitude)
    normal_1 = prime_vertical_radius_m(sin_1)
    x_1 = normal_1 * cos_1
    z_1 = normal_1 * (1.0 - ECCENTRICITY_2) * sin_1
    for point in range(longitude.size):
        sin_2, cos_2 = math.sin(latitude[point]), math.cos(latitude[point])
        turn = longitude[point] - mast_longitude
        sin_turn, cos_turn = math.sin(turn), math.cos(turn)
        normal_2 = prime_vertical_radius_m(sin_2)
        d_x = normal_2 * cos_2 * cos_turn - x_1
        d_y = normal_2 * cos_2 * sin_turn
        d_z = normal_2 * (1.0 - ECCENTRICITY_2) * sin_2 - z_1
        chord_m = math.sqrt(d_x * d_x + d_y * d_y + d_z * d_z)
        east_1, north_1 = d_y, cos_1 * d_z - sin_1 * d_x
        east_2 = sin_turn * d_x - cos_turn * d_y
        north_2 = sin_2 * (cos_turn * d_x + sin_turn * d_y) - cos_2 * d_z
        # The mean of both ends' curvature: with one end's alone the arc would be off by the change along the
        # path.
        curvature = 0.5 * (
            normal_curvature(cos_1, normal_1, east_1, north_1)
            + normal_curvature(cos_2, normal_2, east_2, north_2)
        )
        length_m = geodesic_length_m(chord_m, curvature)
        out[0, point] = 1e-3 * length_m
        out[1, point] = geodesic_azimuth_deg(east_1, north_1, length_m, cos_1, normal_1)
        out[2, point] = geodesic_azimuth_deg(east_2, north_2, length_m, cos_2, normal_2)


@kernel
def prime_vertical_radius_m(sin_latitude):
    """Return the radius of curvature of the ellipsoid across the meridian, in m."""
    return SEMI_MAJOR_M / math.sqrt(1.0 - ECCENTRICITY_2 * sin_latitude * sin_latitude)


@kernel
def normal_curvature(cos_latitude, normal_m, east_m, north_m):
    """Return the curvature of the ellipsoid in the direction (east, north), in 1/m.

    normal_m : radius of curvature across the meridian. No direction (0, 0) gives that radius's curvature.
    Source: Euler's theorem on normal sections.
    """
    squared = east_m * east_m + north_m * north_m
    along_2 = north_m * north_m / squared if squared > 0.0 else 0.0
    return (1.0 + SECOND_ECCENTRICITY_2 * cos_latitude * cos_latitude * along_2) / normal_m


@kernel
def geodesic_length_m(chord_m, curvature):
    """Return the length of the geodesic over a chord, in m; curvature in 1/m is the mean of both ends.

    The arc over a chord of a circle, 2 asin(c/2), as a series; the next term is 0.03 m at 1000 km.
    """
    half_2 = 0.25 * chord_m * chord_m * curvature * curvature
    return chord_m * (1.0 + half_2 * (1.0 / 6.0 + half_2 * (3.0 / 40.0 + half_2 * 5.0 / 112.0)))


@kernel
def geodesic_azimuth_deg(east_m, north_m, length_m, cos_latitude, normal_m):
    """Return the azimuth of the geodesic from the horizontal direction of the chord, 0 below 360 degrees.

    No direction (0, 0) gives 0.
    Source: the leading term of the classical reduction of a normal section to the geodesic,
    e'^2 (s/N)^2 cos^2(lat) sin(2 azimuth) / 12; the rest is below 0.0001 degrees to 1000 km.
    """
    squared = east_m * east_m + north_m * north_m
    if squared == 0.0:
        return 0.0
    arc = length_m * cos_latitude / normal_m
    sin_twice = 2.0 * east_m * north_m / squared
    azimuth = math.atan2(east_m, north_m) - SECOND_ECCENTRICITY_2 * arc * arc * sin_twice / 12.0
    degrees = math.degrees(azimuth)
    if degrees < 0.0:
        degrees += 360.0
    if degrees >= 360.0:  # -1e-17 + 360 rounds to 360
        degrees = 0.0
    return degrees


def points_along(
    latitude_deg: float, longitude_deg: float, azimuth_deg: ArrayLike, distance_km: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude [deg] of points at geodesic distances along azimuths from one place.

    azimuth_deg : shape (R,); distance_km : shape (K,)
    The two arrays have shape (R, K). Longitudes run on past 180 instead of jumping, so that neighbours
    may be joined by straight lines.
    """
    azimuth, distance_m = np.broadcast_arrays(
        np.asarray(azimuth_deg, dtype=np.float64)[:, np.newaxis],
        1000.0 * np.asarray(distance_km, dtype=np.float64)[np.newaxis, :],
    )
    start = (
        np.broadcast_to(np.float64(longitude_deg), azimuth.shape),
        np.broadcast_to(np.float64(latitude_deg), azimuth.shape),
    )
    longitude, latitude, _ = WGS84.fwd(*start, azimuth, distance_m)
    turn = np.mod(np.asarray(longitude) - longitude_deg + 180.0, 360.0) - 180.0
    return longitude_deg + turn, np.asarray(latitude)
