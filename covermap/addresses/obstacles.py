"""Why a station is weak at a point: the ridges in its way, and the greatest of the causes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from covermap.addresses.answer import as_obstructions
from covermap.addresses.paths import StationPath
from covermap.addresses.plans import Alone, Question, some_facts
from covermap.addresses.station_records import MastPath, RidgeAtSite, StationAtSite
from covermap.propagation import Profile, Ridge, knife_edge_loss, path_class, ridges
from covermap.propagation.path_geometry import median_radius_km
from covermap.reception import Tier, TierTable, causes
from covermap.reception.causes import CAUSES, noise_loss_db
from covermap.reception.channels import on_one_channel


@dataclass(frozen=True)
class Obstacles:
    """Class of a path and the ridges in its way at one frequency, from the point outwards."""

    path_class: str
    ridges: tuple[RidgeAtSite, ...]


def obstacles(path: StationPath, rx_height_m: float, dn: float, n0: float) -> Obstacles:
    """Return what stands in the way of a station's path to a mount; nothing where the path is not known."""
    # Within 250 m of the mast the field is that of free space: no profile is looked at, so nothing stands in
    # it.
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
        # ridges() goes from the mast outwards, a reader at the point looks the other way.
        tuple(_ridge(ridge, profile.length_km) for ridge in reversed(found)),
    )


def bare_profile(path: StationPath) -> Profile:
    """Return the ground of a path as the checked record of propagation."""
    return Profile(path.profile.distance_km, path.profile.ground_m)


def _ridge(ridge: Ridge, length_km: float) -> RidgeAtSite:
    return RidgeAtSite(
        distance_km=length_km - ridge.distance_km,
        ground_m=ridge.ground_m,
        height_above_line_m=ridge.height_above_line_m,
        loss_db=float(knife_edge_loss(ridge.nu)),
    )


def cause_of(asked: Question, index: int, tier: Tier, alone: Alone) -> str:
    """Return the greatest of what makes a station weak with an installation; "" where its path is unknown.

    index : of the place's paths. The rule and what it reads are reception's.
    """
    site, path = asked.place.site, asked.place.paths[index]
    if path.status not in ("ok", "near"):
        return ""
    noise_db = noise_loss_db(some_facts(site.facts, (index,)), TierTable((tier,)), asked.options)
    cause = causes.cause_of(
        np.array([index]),
        np.array([alone.interferer]),
        # NaN where not known: as if nothing disturbed, so that another cause can win.
        np.nan_to_num(np.array([alone.interference_db])),
        noise_db[0],
        as_obstructions(asked),
        on_one_channel(site.facts),
    )
    return CAUSES[int(cause[0])]


def mast_paths(
    stations: Sequence[StationAtSite], paths: dict[str, StationPath], rx_height_m: float, dn: float
) -> tuple[MastPath, ...]:
    """Return one path a mast, in the order of its first station; drawn for its first known station.

    paths : station id -> path
    """
    groups: dict[str, list[StationAtSite]] = {}
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
