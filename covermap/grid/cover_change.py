"""What the paths to a home would lose or gain if its surroundings stood one class higher or lower."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.constants import NEAR_MAST_KM
from covermap.grid.cover_kernels import fill_changes
from covermap.grid.exact_path import GEODESIC
from covermap.grid.radials import STEPS_PER_KNOT
from covermap.scenario.records import Station
from covermap.scenario.settings import PredictionSettings
from covermap.terrain import Terrain

AT_ONCE = 128  # paths sampled together: 2 MB
CLASS_HEIGHTS_M = (
    0.0,
    10.0,
    15.0,
    20.0,
)  # ITU-R P.1812-8 Table 2: open, suburban, urban or trees, dense urban
DENSER, MORE_OPEN = "denser", "more_open"


def one_class(clutter_m: NDArray[np.float32], way: str) -> NDArray[np.float32]:
    """Return heights one class up (denser) or down (more_open), NaN where there is no such class. [m]

    Classes are those of ITU-R P.1812-8 Table 2; a height between two is of neither, and moves to the next.
    """
    classes_m = np.array(CLASS_HEIGHTS_M, dtype=np.float32)
    if way == DENSER:
        place = np.searchsorted(classes_m, clutter_m, side="right")
        return np.append(classes_m, np.float32(np.nan))[place]
    place = np.searchsorted(classes_m, clutter_m, side="left") - 1
    return np.where(place < 0, np.float32(np.nan), classes_m[np.maximum(place, 0)])


def cover_change_db(
    terrain: Terrain,
    prediction: PredictionSettings,
    stations: Sequence[Station],
    heights_m: Sequence[float],
    latitude_deg: NDArray[np.float64],
    longitude_deg: NDArray[np.float64],
    tops_m: NDArray[np.float32],
) -> NDArray[np.float64]:
    """Return by how much paths' losses grow when what stands at their homes has other heights.

    Parameters
    ----------
    terrain, prediction
        As of the map; other models than p1812 know no clutter, and nothing changes.
    stations : sequence of Station, S of one position and antenna height
    heights_m : sequence of float, H
        Mounts above ground that are paths. [m]
    latitude_deg, longitude_deg : ndarray, shape (N,)
        The homes, WGS 84.
    tops_m : ndarray, shape (T, N)
        What would stand on the last 500 m of the path to each home, in place of what does: denser where that
        is less, more open where it is more than the height here; the sea stays bare. NaN: no such class. [m]

    Returns
    -------
    ndarray of float64, shape (T, S, H, N)
        Loss with those tops less the loss as it is, at half of the time. 0 within 250 m of the mast and where
        the path is not known; NaN where tops_m is. [dB]

    The whole path is computed again, by ITU-R P.1812-8, its last 500 m changed: what a height there does
    depends on the horizon of the rest.
    """
    tops_m = np.asarray(tops_m, dtype=np.float64)
    shape = tops_m.shape[0], len(stations), len(heights_m), latitude_deg.size
    change_db = np.zeros(shape)
    change_db[np.broadcast_to(np.isnan(tops_m)[:, None, None], shape)] = np.nan
    if prediction.model != "p1812":
        return change_db
    mast, same = stations[0], np.ones(latitude_deg.size)
    azimuth_deg, _, length_m = (
        np.asarray(values)
        for values in GEODESIC.inv(
            mast.longitude_deg * same, mast.latitude_deg * same, longitude_deg, latitude_deg
        )
    )
    looked_at = (length_m >= 1000.0 * NEAR_MAST_KM) & (length_m <= 1000.0 * prediction.reach_km)
    # Paths of like length together: the arrays of a batch are as long as its longest path.
    by_length = np.flatnonzero(looked_at)[np.argsort(length_m[looked_at], kind="stable")]
    here_m = terrain.clutter_height_m(longitude_deg, latitude_deg).astype(np.float64)
    for first in range(0, by_length.size, AT_ONCE):
        some = by_length[first : first + AT_ONCE]
        paths = _sampled(terrain, mast, azimuth_deg[some], length_m[some], prediction.profile_step_m)
        found = np.ascontiguousarray(change_db[..., some])
        fill_changes(
            *paths,
            length_m[some] / 1000.0,
            here_m[some],
            np.ascontiguousarray(tops_m[:, some]),
            mast.antenna_height_m,
            np.asarray(heights_m, dtype=np.float64),
            np.array([station.frequency_mhz / 1000.0 for station in stations]),
            np.array([station.polarization == "vertical" for station in stations]),
            prediction.dn,
            prediction.n0,
            # good enough for beta0, which is all the model takes it for, and the same in both runs
            0.5 * (mast.latitude_deg + latitude_deg[some]),
            found,
        )
        # found is a copy (some is a list of places), so it is put back.
        change_db[..., some] = found
    return change_db


Profiles = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float32], NDArray[np.uint8]]


def _sampled(
    terrain: Terrain,
    mast: Station,
    azimuth_deg: NDArray[np.float64],
    length_m: NDArray[np.float64],
    step_m: float,
) -> Profiles:
    """Return the steps of each path, shape (n,), and ground, clutter and zone along it, (n, points)."""
    steps = np.maximum(2, np.floor(length_m / step_m)).astype(np.int64)
    most = int(steps.max())
    knots = max(4, -(-most // STEPS_PER_KNOT) + 2)
    along_m = np.arange(knots) * (STEPS_PER_KNOT * length_m / steps)[:, None]
    longitudes, latitudes, _ = GEODESIC.fwd(
        np.full(along_m.size, mast.longitude_deg),
        np.full(along_m.size, mast.latitude_deg),
        np.repeat(azimuth_deg, knots),
        along_m.ravel(),
    )
    shape = length_m.size, most + 1
    ground_m, clutter_m, zone = np.empty(shape), np.empty(shape, np.float32), np.empty(shape, np.uint8)
    terrain.sample_profiles(
        np.asarray(longitudes).reshape(along_m.shape),
        np.asarray(latitudes).reshape(along_m.shape),
        STEPS_PER_KNOT,
        ground_m,
        clutter_m,
        zone,
    )
    return steps, ground_m, clutter_m, zone
