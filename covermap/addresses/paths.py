"""The exact path from every station to one point, at every mount height that is a path of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from covermap.addresses.site import Site
from covermap.grid.exact_path import ExactLoss, PointProfile, point_profile, station_loss
from covermap.grid.fields import TIME_RULES, excess_loss_db, median_field, pattern_db, wanted_field
from covermap.scenario.records import Station

PATH_HEIGHT_M = 10.0  # lower mounts take the field at 10 m less the terminal loss
OUT_OF_REACH = "out_of_reach"
UNKNOWN = "unknown"


@dataclass(frozen=True, eq=False)
class StationPath:
    """One station at one point, at 50 % of locations; heights are those asked for.

    status : ok, near, unknown or out_of_reach
    median_dbuvm, wanted_dbuvm : height in m -> field half of the time and at the time rule's wanted
        percentage, ERP and pattern included, calibration only in wanted_dbuvm; NaN unknown
    adjustment_db : of calibration
    obstacle_db : height -> loss above free space, half of the time
    without_clutter_db : the same at 10 m on bare ground
    pattern_db : transmitting antenna's gain towards the point re its greatest
    departure_deg : elevation of the ray at the mast
    """

    station: Station
    profile: PointProfile
    status: str
    median_dbuvm: dict[float, float]
    wanted_dbuvm: dict[float, float]
    adjustment_db: float
    obstacle_db: dict[float, float]
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
        return _unreached(station, profile, heights_m)
    other_percent = TIME_RULES[prediction.time_rule][0]
    losses = {height: _loss(site, station, profile, height, 50.0) for height in heights_m}
    at_ten = losses[PATH_HEIGHT_M]
    place = np.array([longitude_deg]), np.array([latitude_deg])
    gain_db = pattern_db(station, np.array([profile.azimuth_deg]), np.array([at_ten.departure_deg]))
    adjustment_db = 0.0
    if site.calibration is not None:
        excess_db = _excess_db(station, profile, at_ten.loss_db)
        adjustment_db = float(site.calibration.adjustment_db(station, *place, np.array([excess_db]))[0])
    median_dbuvm, wanted_dbuvm = {}, {}
    for height, loss in losses.items():
        median = median_field(station, np.array([loss.loss_db]), gain_db)
        spread_db = 0.0
        if not loss.near:
            spread_db = max(0.0, loss.loss_db - _loss(site, station, profile, height, other_percent).loss_db)
        median_dbuvm[height] = float(median[0])
        wanted = wanted_field(
            median + np.float32(adjustment_db), np.array([spread_db], np.float32), prediction.time_rule
        )
        wanted_dbuvm[height] = float(wanted[0])
    bare = _loss(site, station, _without_clutter(profile), PATH_HEIGHT_M, 50.0)
    return StationPath(
        station=station,
        profile=profile,
        status=UNKNOWN if math.isnan(at_ten.loss_db) else "near" if at_ten.near else "ok",
        median_dbuvm=median_dbuvm,
        wanted_dbuvm=wanted_dbuvm,
        adjustment_db=adjustment_db,
        obstacle_db={height: _excess_db(station, profile, loss.loss_db) for height, loss in losses.items()},
        without_clutter_db=_excess_db(station, profile, bare.loss_db),
        pattern_db=float(gain_db[0]),
        departure_deg=at_ten.departure_deg,
    )


def _loss(
    site: Site, station: Station, profile: PointProfile, height_m: float, time_percent: float
) -> ExactLoss:
    prediction = site.scenario.settings.prediction
    return station_loss(prediction, station, profile, height_m, time_percent)


def _excess_db(station: Station, profile: PointProfile, loss_db: float) -> float:
    loss = np.array([loss_db], np.float32)
    return float(excess_loss_db(loss, np.array([profile.length_km]), station.frequency_mhz)[0])


def _without_clutter(profile: PointProfile) -> PointProfile:
    return PointProfile(
        profile.distance_km,
        profile.ground_m,
        np.zeros_like(profile.clutter_m),
        profile.zone,
        profile.mid_latitude_deg,
        profile.azimuth_deg,
        profile.back_azimuth_deg,
    )


def _unreached(station: Station, profile: PointProfile, heights_m: Sequence[float]) -> StationPath:
    nothing = dict.fromkeys(heights_m, math.nan)
    return StationPath(
        station, profile, OUT_OF_REACH, nothing, nothing, 0.0, nothing, math.nan, math.nan, math.nan
    )
