"""Why a station is weak at a point: the ridges in its way, and the greatest of the causes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from covermap.addresses.paths import PATH_HEIGHT_M, StationPath
from covermap.addresses.report import MastPath, RidgeAtPlace, StationAtPlace
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.propagation import Profile, Ridge, knife_edge_loss, path_class, ridges
from covermap.propagation.path_geometry import median_radius_km
from covermap.reception import Tier
from covermap.reception.causes import CLASS_CAUSE, LEAST_CAUSE_DB
from covermap.reception.options import ReceptionOptions
from covermap.reception.required_field import chain_of


@dataclass(frozen=True)
class Obstacles:
    """Class of a path and the ridges in its way at one frequency, from the point outwards."""

    path_class: str
    ridges: tuple[RidgeAtPlace, ...]


def obstacles(path: StationPath, rx_height_m: float, dn: float, n0: float) -> Obstacles:
    """Return what stands in the way of a station's path to a mount; nothing where the path is not known."""
    if path.status == "near":
        return Obstacles("clear", ())
    if path.status != "ok":
        return Obstacles("", ())
    profile = bare_profile(path)
    common = {
        "frequency_mhz": path.station.frequency_mhz,
        "tx_height_m": path.station.antenna_height_m,
        "rx_height_m": rx_height_m,
        "dn": dn,
    }
    found = ridges(profile, **common)
    return Obstacles(
        path_class(profile, **common, n0=n0),
        tuple(_ridge(ridge, profile.length_km) for ridge in reversed(found)),
    )


def bare_profile(path: StationPath) -> Profile:
    """Return the ground of a path as the checked record of propagation."""
    return Profile(path.profile.distance_km, path.profile.ground_m)


def _ridge(ridge: Ridge, length_km: float) -> RidgeAtPlace:
    return RidgeAtPlace(
        distance_km=length_km - ridge.distance_km,
        ground_m=ridge.ground_m,
        height_above_line_m=ridge.height_above_line_m,
        loss_db=float(knife_edge_loss(ridge.nu)),
    )


def cause_of(
    path: StationPath, found: Obstacles, tier: Tier, options: ReceptionOptions, interference_db: float
) -> str:
    """Return the greatest of what makes a station weak with an installation; empty where its path is unknown.

    ridges, earth_bulge or distance (bare ground), clutter (what trees and houses add), noise (what comes in
    from outside adds to the receiver's own), same_channel (what other stations on the channel or beside it
    take), pattern_null (a steep ray under the mast); the greatest loss in dB names the cause, distance where
    none is over 6 dB (judgement).
    """
    if path.status not in ("ok", "near"):
        return ""
    chain = chain_of(tier, path.station.frequency_mhz, path.station.bandwidth_mhz, options)
    steep = path.departure_deg < STEEP_RAY_DEG
    losses_db = {
        CLASS_CAUSE.get(found.path_class, "distance"): path.without_clutter_db,
        "clutter": path.obstacle_db[PATH_HEIGHT_M] - path.without_clutter_db,
        "noise": -10.0 * math.log10(max(1e-3, 1.0 - chain.external_noise_share)),
        "same_channel": 0.0 if math.isnan(interference_db) else interference_db,
        "pattern_null": -path.pattern_db if steep else 0.0,
    }
    cause = max(losses_db, key=lambda name: losses_db[name])
    return cause if losses_db[cause] >= LEAST_CAUSE_DB else "distance"


def mast_paths(
    stations: Sequence[StationAtPlace], paths: dict[str, StationPath], rx_height_m: float, dn: float
) -> tuple[MastPath, ...]:
    """Return one path a mast, in the order of its first station; drawn for its first known station.

    paths : station id -> path
    """
    groups: dict[str, list[StationAtPlace]] = {}
    for station in stations:
        if station.status in ("ok", "near"):
            groups.setdefault(station.mast, []).append(station)
    found = []
    for mast, members in groups.items():
        path = paths[members[0].station_id]
        found.append(
            MastPath(
                mast=mast,
                path_class=members[0].path_class,
                profile=path.profile,
                tx_height_m=path.station.antenna_height_m,
                rx_height_m=rx_height_m,
                effective_radius_km=float(median_radius_km(dn)),
                stations=tuple(members),
            )
        )
    return tuple(found)
