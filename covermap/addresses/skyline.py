"""The skyline: how high the horizon stands all around a point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.station_records import Skyline
from covermap.grid.exact_path import GEODESIC
from covermap.terrain import Terrain

STEP_DEG = 2.0
NEAREST_KM = 0.05  # nearer, one elevation cell would make a cliff of its own
FARTHEST_KM = 40.0
SHORTEST_STEP_KM = 0.025
GROWTH = 0.01  # steps grow with distance: a hundredth of it


def skyline(
    terrain: Terrain,
    latitude_deg: float,
    longitude_deg: float,
    eye_height_m: float,
    effective_radius_km: float,
) -> Skyline:
    """Return the horizon seen from eye_height_m above the ground, every 2 degrees.

    Heights are bilinear at the data's own resolution, without clutter on top. A line ends where the elevation
    ends or has a void: what stands behind is not known. A point on unknown ground has no horizon (NaN).

    Source: geometry over an earth of effective_radius_km.
    Accuracy: of the elevation; nearer than 50 m nothing is seen.
    """
    azimuth_deg = np.arange(0.0, 360.0, STEP_DEG)
    along_km = _distances_km()
    places = np.broadcast_to(azimuth_deg[:, None], (azimuth_deg.size, along_km.size))
    longitudes, latitudes, _ = (
        np.asarray(values).reshape(places.shape)
        for values in GEODESIC.fwd(
            np.full(places.size, longitude_deg),
            np.full(places.size, latitude_deg),
            places.ravel(),
            np.broadcast_to(1000.0 * along_km, places.shape).ravel(),
        )
    )
    eye_m = float(terrain.ground_m(np.array([longitude_deg]), np.array([latitude_deg]))[0]) + eye_height_m
    ground_m = terrain.elevation_m(longitudes, latitudes)
    # accumulate: once a line has met a void everything behind it is unknown, even where elevation goes on,
    # since the void may hide the higher horizon.
    known = np.logical_and.accumulate(~np.isnan(ground_m), axis=1)
    # d^2 / 2a, the fall of the earth's surface below the tangent, for d small against a
    drop_m = 1000.0 * along_km**2 / (2.0 * effective_radius_km)
    angle_deg = np.degrees(np.arctan2(ground_m - drop_m - eye_m, 1000.0 * along_km))
    # -inf and not NaN, which would spread over the whole line; a line without a known step becomes NaN below.
    highest = np.where(known, angle_deg, -np.inf).max(axis=1)
    reach_km = np.where(known, along_km, 0.0).max(axis=1)
    return Skyline(azimuth_deg, np.where(np.isfinite(highest), highest, np.nan), reach_km)


def _distances_km() -> NDArray[np.float64]:
    distances = [NEAREST_KM]
    while distances[-1] < FARTHEST_KM:
        distances.append(distances[-1] + max(SHORTEST_STEP_KM, GROWTH * distances[-1]))
    return np.array(distances)
