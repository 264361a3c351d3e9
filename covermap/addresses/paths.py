"""The exact path from every station to one point, at every mount height that is a path of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.site import Site
from covermap.constants import NEAR_MAST_KM, SILENT_DBUVM, UNKNOWN_UINT8
from covermap.grid.exact_path import ExactLoss, PointProfile, point_profile, station_loss
from covermap.grid.fields import (
    TIME_RULES,
    excess_loss_db,
    median_field,
    pattern_db,
    unwanted_field,
    wanted_field,
)
from covermap.inputs.stations_that_count import is_silent_beyond_reach
from covermap.propagation import Profile, path_class
from covermap.propagation.path_geometry import INLAND_ZONE
from covermap.propagation.ridges import PATH_CLASSES
from covermap.propagation.sweep.taut_string import CLASS_MHZ
from covermap.scenario.records import Station

PATH_HEIGHT_M = 10.0  # lower mounts take the field at 10 m less the terminal loss
OUT_OF_REACH = "out_of_reach"
UNKNOWN = "unknown"


@dataclass(frozen=True, eq=False)
class StationPath:
    """One station at one point, at 50 % of locations; heights are those asked for.

    status : ok, near, unknown, out_of_reach or smooth_earth (the ground between is not known, so the loss is
        that over flat land: only of stations that interfere, or stand beyond the elevation)
    median_dbuvm : height in m -> field half of the time, ERP and pattern included; NaN unknown
    wanted_dbuvm, unwanted_dbuvm, by_day_dbuvm : the same with calibration, at the time rule's wanted and
        unwanted percentages and half of the time
    adjustment_db : of calibration
    obstacle_db : height -> loss above free space, half of the time
    path_class : index into PATH_CLASSES as in the map's blocks, 255 unknown or near
    without_clutter_db : the same at 10 m on bare ground
    pattern_db : transmitting antenna's gain towards the point re its greatest
    departure_deg : elevation of the ray at the mast
    """

    station: Station
    profile: PointProfile
    status: str
    median_dbuvm: dict[float, float]
    wanted_dbuvm: dict[float, float]
    unwanted_dbuvm: dict[float, float]
    by_day_dbuvm: dict[float, float]
    adjustment_db: float
    obstacle_db: dict[float, float]
    path_class: int
    without_clutter_db: float
    pattern_db: float
    departure_deg: float


def mount_heights_m(heights_m: Sequence[float]) -> tuple[float, ...]:
    """Return the heights that are paths: 10 m and every greater one, increasing."""
    return tuple(sorted({PATH_HEIGHT_M} | {height for height in heights_m if height > PATH_HEIGHT_M}))


def station_paths(
    site: Site, latitude_deg: float, longitude_deg: float, heights_m: Sequence[float]
) -> tuple[StationPath, ...]:
    """Return the path of every station of the scenario to a point, in file order.

    heights_m : of mount_heights_m. Stations of one place share a profile.
    """
    profiles: dict[tuple[float, float], PointProfile] = {}
    step_m = site.scenario.settings.prediction.profile_step_m
    paths = []
    for station in site.scenario.stations:
        key = (station.latitude_deg, station.longitude_deg)
        # The ground between is read once a mast: the dearest part of a point, and stations of a mast differ
        # only in frequency and height.
        if key not in profiles:
            profiles[key] = point_profile(
                site.terrain,
                *key,
                latitude_deg,
                longitude_deg,
                step_m,
            )
        paths.append(_station_path(site, station, profiles[key], latitude_deg, longitude_deg, heights_m))
    return tuple(paths)


def _station_path(
    site: Site,
    station: Station,
    profile: PointProfile,
    latitude_deg: float,
    longitude_deg: float,
    heights_m: Sequence[float],
) -> StationPath:
    prediction = site.scenario.settings.prediction
    if profile.length_km > prediction.reach_km:
        # In a list that names its services one out of reach makes the place unknown; in a list of everything,
        # or of networks, it is not there.
        silent = is_silent_beyond_reach(site.scenario, site.wanted)
        return _unreached(station, profile, heights_m, SILENT_DBUVM if silent else math.nan)
    smooth = _by_smooth_earth(station, profile)
    along = _flat(profile) if smooth else profile
    other_percent = TIME_RULES[prediction.time_rule][0]
    losses = {height: _loss(site, station, along, height, 50.0) for height in heights_m}
    # Angle at the mast, class of path and calibration go by the path to 10 m, as in the map's blocks.
    at_ten = losses[PATH_HEIGHT_M]
    gain_db = pattern_db(station, np.array([profile.azimuth_deg]), np.array([at_ten.departure_deg]))
    place = np.array([longitude_deg]), np.array([latitude_deg])
    of_path = _path_class(site, station, along, at_ten.loss_db)
    adjustment_db = _adjustment_db(site, station, along, at_ten.loss_db, of_path, place)
    fields: dict[str, dict[float, float]] = {name: {} for name in ("median", "wanted", "unwanted", "by_day")}
    for height, loss in losses.items():
        median = median_field(station, np.array([loss.loss_db]), gain_db)
        spread_db = 0.0
        # Free space does not vary in time.
        if not loss.near:
            # Never below 0: at a percentage below 50 % the loss is less, bar rounding.
            spread_db = max(0.0, loss.loss_db - _loss(site, station, along, height, other_percent).loss_db)
        spread, adjusted = np.array([spread_db], np.float32), median + np.float32(adjustment_db)
        fields["median"][height] = float(median[0])
        fields["by_day"][height] = float(adjusted[0])
        fields["wanted"][height] = float(wanted_field(adjusted, spread, prediction.time_rule)[0])
        fields["unwanted"][height] = float(unwanted_field(adjusted, spread)[0])
    # What clutter takes is not a term of the model to be read off: the path is computed without it once more.
    bare = _loss(site, station, _without_clutter(along), PATH_HEIGHT_M, 50.0)
    known = "smooth_earth" if smooth else "near" if at_ten.near else "ok"
    return StationPath(
        station=station,
        profile=profile,
        status=UNKNOWN if math.isnan(at_ten.loss_db) else known,
        median_dbuvm=fields["median"],
        wanted_dbuvm=fields["wanted"],
        unwanted_dbuvm=fields["unwanted"],
        by_day_dbuvm=fields["by_day"],
        adjustment_db=adjustment_db,
        obstacle_db={height: _excess_db(station, profile, loss.loss_db) for height, loss in losses.items()},
        path_class=of_path,
        without_clutter_db=_excess_db(station, profile, bare.loss_db),
        pattern_db=float(gain_db[0]),
        departure_deg=at_ten.departure_deg,
    )


def _by_smooth_earth(station: Station, profile: PointProfile) -> bool:
    """Return whether flat land stands in for ground that is not known, as on the map: never at the point."""
    # A wanted station inside the elevation with a hole on its way stays unknown: flat land would promise it.
    may = station.use == "interferer" or math.isnan(profile.ground_m[0])
    return may and bool(np.isnan(profile.ground_m).any()) and not math.isnan(profile.ground_m[-1])


def _flat(profile: PointProfile) -> PointProfile:
    """Return the same way over flat inland ground without clutter."""
    nothing = np.zeros_like(profile.ground_m)
    zone = np.full(nothing.size, INLAND_ZONE, dtype=np.uint8)
    return replace(profile, ground_m=nothing, clutter_m=nothing, zone=zone)


def _adjustment_db(
    site: Site,
    station: Station,
    profile: PointProfile,
    loss_db: float,
    path_class: int,
    place: tuple[NDArray, NDArray],
) -> float:
    """Return what calibration adds to a station's field at the point."""
    if site.calibration is None:
        return 0.0
    excess_db = np.array([_excess_db(station, profile, loss_db)])
    of_path = np.array([path_class], dtype=np.uint8)
    return float(site.calibration.adjustment_db(station, *place, excess_db, of_path)[0])


def _path_class(site: Site, station: Station, profile: PointProfile, loss_db: float) -> int:
    if math.isnan(loss_db) or profile.length_km < NEAR_MAST_KM:
        return UNKNOWN_UINT8
    prediction = site.scenario.settings.prediction
    found = path_class(
        Profile(profile.distance_km, profile.ground_m),
        frequency_mhz=CLASS_MHZ,  # as the map's blocks
        tx_height_m=station.antenna_height_m,
        rx_height_m=PATH_HEIGHT_M,
        dn=prediction.dn,
        n0=prediction.n0,
    )
    return PATH_CLASSES.index(found)


def _loss(
    site: Site, station: Station, profile: PointProfile, height_m: float, time_percent: float
) -> ExactLoss:
    prediction = site.scenario.settings.prediction
    return station_loss(prediction, station, profile, height_m, time_percent)


def _excess_db(station: Station, profile: PointProfile, loss_db: float) -> float:
    loss = np.array([loss_db], np.float32)
    return float(excess_loss_db(loss, np.array([profile.length_km]), station.frequency_mhz)[0])


def _without_clutter(profile: PointProfile) -> PointProfile:
    return replace(profile, clutter_m=np.zeros_like(profile.clutter_m))


def _unreached(
    station: Station, profile: PointProfile, heights_m: Sequence[float], arriving_dbuvm: float
) -> StationPath:
    nothing, arriving = dict.fromkeys(heights_m, math.nan), dict.fromkeys(heights_m, arriving_dbuvm)
    return StationPath(
        station,
        profile,
        OUT_OF_REACH,
        median_dbuvm=nothing,
        wanted_dbuvm=arriving,
        unwanted_dbuvm=arriving,
        by_day_dbuvm=arriving,
        adjustment_db=0.0,
        obstacle_db=nothing,
        path_class=UNKNOWN_UINT8,
        without_clutter_db=math.nan,
        pattern_db=math.nan,
        departure_deg=math.nan,
    )
