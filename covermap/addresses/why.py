"""Why a station is weak at a point: the ridges in its way, and the greatest of the causes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from covermap.addresses.paths import PATH_HEIGHT_M, StationPath
from covermap.addresses.plans import Place, some_facts
from covermap.addresses.report import MastPath, RidgeAtPlace, StationAtPlace
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.propagation import Profile, Ridge, knife_edge_loss, path_class, ridges
from covermap.propagation.path_geometry import median_radius_km
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception import Tier, causes
from covermap.reception.causes import CAUSES, Hindrances
from covermap.reception.channels import on_one_channel
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
    place: Place, index: int, found: Obstacles, tier: Tier, interferer: int, interference_db: float
) -> str:
    """Return the greatest of what makes a station weak with an installation, by the map's rule.

    index, interferer : of the place's paths, interferer -1 for none. Empty where the path is unknown.
    """
    path, options = place.paths[index], place.site.options
    if path.status not in ("ok", "near"):
        return ""
    chain = chain_of(tier, path.station.frequency_mhz, path.station.bandwidth_mhz, options)
    steep = path.departure_deg < STEEP_RAY_DEG
    hindrances = Hindrances(
        np.full((1, 1), path.obstacle_db[PATH_HEIGHT_M], np.float32),
        np.full((1, 1), PATH_CLASSES.index(found.path_class), np.uint8),
        np.full((1, 1), -path.pattern_db if steep else 0.0, np.float32),
        place.site.terrain.has_land_cover,
    )
    both = some_facts(place.site.facts, (index, interferer))
    cause = causes.cause_of(
        np.zeros(1, np.int64),
        np.ones(1, np.int64),
        np.nan_to_num(np.array([interference_db])),
        np.array([-10.0 * math.log10(max(1e-3, 1.0 - chain.external_noise_share))]),
        hindrances,
        on_one_channel(both),
    )
    return CAUSES[int(cause[0])]


def interference_cause_of(place: Place, index: int, interferer: int) -> str:
    """Return same_channel or next_channel, by where the channel of an interferer lies; indices of paths."""
    both = on_one_channel(some_facts(place.site.facts, (index, interferer)))
    cause = causes.interference_cause(np.zeros(1, np.int64), np.ones(1, np.int64), both)
    return CAUSES[int(cause[0])]


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
