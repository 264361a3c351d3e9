"""The field one station makes at one point, by the exact path, at any mount height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from covermap.grid.exact_path import SHORTEST_KM, PointProfile, point_profile, station_loss
from covermap.grid.fields import median_field, pattern_db
from covermap.propagation.free_space import free_space_loss_db
from covermap.propagation.terminal import low_mount_loss_db
from covermap.scenario.records import Scenario, Station
from covermap.terrain import Terrain

PATH_HEIGHT_M = 10.0  # lower mounts take the field at 10 m less the terminal loss


@dataclass(frozen=True, eq=False)
class PointField:
    """One station at one point, at 50 % of locations.

    field_dbuvm : ERP and pattern included, NaN unknown; path_loss_db : terminal loss included
    excess_db : loss of the path to 10 m or more above free space; near : within 250 m of the mast
    """

    field_dbuvm: float
    path_loss_db: float
    excess_db: float
    near: bool
    profile: PointProfile


def point_field(
    scenario: Scenario,
    terrain: Terrain,
    station: Station,
    latitude_deg: float,
    longitude_deg: float,
    height_m: float = PATH_HEIGHT_M,
    time_percent: float = 50.0,
) -> PointField:
    """Return the field of a station at a point; under 10 m the field at 10 m less ITU-R P.2108-1 section 3.1.

    time_percent : share of time for which the field is exceeded, 1 to 50. Calibration is not applied.
    """
    prediction = scenario.settings.prediction
    profile = point_profile(
        terrain,
        station.latitude_deg,
        station.longitude_deg,
        latitude_deg,
        longitude_deg,
        prediction.profile_step_m,
    )
    path_height_m = max(height_m, PATH_HEIGHT_M)
    loss = station_loss(prediction, station, profile, path_height_m, time_percent)
    lower_db = _low_mount_loss_db(terrain, station, latitude_deg, longitude_deg, height_m)
    gain_db = pattern_db(station, np.array([profile.azimuth_deg]), np.array([loss.departure_deg]))
    free_db = free_space_loss_db(
        max(profile.length_km, SHORTEST_KM),
        profile.ground_m[0] + station.antenna_height_m,
        profile.ground_m[-1] + path_height_m,
        station.frequency_mhz / 1000.0,
    )
    return PointField(
        field_dbuvm=float(median_field(station, np.array([loss.loss_db]), gain_db)[0]) - lower_db,
        path_loss_db=loss.loss_db + lower_db,
        # of the path alone: a low mount's terminal loss says nothing of hills
        excess_db=loss.loss_db - float(free_db),
        near=loss.near,
        profile=profile,
    )


def _low_mount_loss_db(
    terrain: Terrain, station: Station, latitude_deg: float, longitude_deg: float, height_m: float
) -> float:
    if height_m >= PATH_HEIGHT_M:
        return 0.0
    place = np.array([longitude_deg]), np.array([latitude_deg])
    clutter_m = float(terrain.clutter_height_m(*place)[0])
    open_land = bool(terrain.open_land(*place)[0])
    return float(low_mount_loss_db(station.frequency_mhz / 1000.0, height_m, clutter_m, open_land))
