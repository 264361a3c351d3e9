"""The answer at one address: paths, plans, reasons and aids put together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime

import numpy as np

from covermap.addresses.amplifier import amplifier_effect
from covermap.addresses.paths import PATH_HEIGHT_M, StationPath, mount_heights_m, station_paths
from covermap.addresses.plans import (
    Place,
    Question,
    aim_window,
    alone_at_plan,
    changes,
    heights_to_compute_m,
    question,
    tier_plans,
    without_each,
)
from covermap.addresses.report import AddressReport, CellValue, StationAtPlace, SunAt, TierPlan
from covermap.addresses.site import Site
from covermap.addresses.skyline import skyline
from covermap.addresses.why import Obstacles, cause_of, mast_paths, obstacles
from covermap.bearings import declination, sun_position
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.propagation.path_geometry import median_radius_km
from covermap.reception import AimPlan

WORTH_NAMING_PERCENT = 30.0  # chance from which a station that is not on the list is named
MOST_OTHERS = 8


@dataclass(frozen=True)
class Asked:
    """One address as asked: where, its names, the day, and the times at which the sun is wanted."""

    latitude_deg: float
    longitude_deg: float
    point_id: str = ""
    label: str = ""
    on: date | None = None
    sun_at: tuple[datetime, ...] = field(default=())


def reckon(
    site: Site, asked: Asked, cell: CellValue, basis: Sequence[str] = (), cautions: Sequence[str] = ()
) -> AddressReport:
    """Return the report of one address.

    cell : what the map's cell says. A point on unknown ground, or with a service of which no station's path
    is known, is unknown and says why; its stations are listed all the same.
    """
    scenario, place = site.scenario, _place(site, asked)
    ground_m = _ground_m(site, asked)
    reason = _unknown_reason(site, asked, place, ground_m)
    plain = question(place)
    plans: list[AimPlan] = [] if reason else plain.best_plans()
    tier, plan = plain.lowest(plans) if plans else (None, None)
    mount = site.tiers[min(tier, len(site.tiers))] if tier is not None else site.tiers[len(site.tiers)]
    kept = tier_plans(plain, plans) if plans else ()
    rx_height_m = max(PATH_HEIGHT_M, mount.height_m)
    stored = None if tier is None else kept[min(tier, len(kept)) - 1]
    stations = _stations(place, plain, plan, stored, rx_height_m, cell)
    by_id = {path.station.station_id: path for path in place.paths}
    prediction = scenario.settings.prediction
    radius_km = float(median_radius_km(prediction.dn))
    return AddressReport(
        point_id=asked.point_id,
        label=asked.label,
        latitude_deg=asked.latitude_deg,
        longitude_deg=asked.longitude_deg,
        ground_m=ground_m,
        scenario_name=scenario.name,
        list_name=site.wanted.name,
        services=site.wanted.services,
        needed=site.wanted.needed,
        confidence_percent=site.options.confidence_percent,
        stations_as_of=scenario.stations_as_of,
        status="unknown" if reason else "ok",
        reason=reason,
        tier=tier,
        chance_percent=None if stored is None else stored.chance_percent,
        aims_deg=() if stored is None else stored.aims_deg,
        aim_range_deg=None if plan is None else aim_window(plain, mount, plan),
        polarization="" if stored is None else stored.polarization,
        deciding_service=_weakest(kept[tier - 2]) if tier is not None and tier > 1 else None,
        limiting_service=None if stored is None else _weakest(stored),
        plans=kept,
        without=without_each(plain) if plans else (),
        stations=stations,
        masts=mast_paths(stations, by_id, rx_height_m, prediction.dn),
        amplifier=None
        if tier is None
        else amplifier_effect(
            site.tiers.tiers, tier, stations, {s.station_id: s for s in scenario.stations}, site.options
        ),
        changes=changes(plain) if plans else (),
        skyline=skyline(site.terrain, asked.latitude_deg, asked.longitude_deg, rx_height_m, radius_km),
        declination=declination(asked.latitude_deg, asked.longitude_deg, asked.on) if asked.on else None,
        sun=_sun(asked),
        cell=cell,
        notes=_notes(site, asked, place),
        basis=tuple(basis),
        cautions=tuple(cautions),
        tier_names=tuple(tier.name for tier in site.tiers),
    )


def _place(site: Site, asked: Asked) -> Place:
    where = np.array([asked.longitude_deg]), np.array([asked.latitude_deg])
    heights_m = mount_heights_m(heights_to_compute_m(site.tiers.tiers))
    return Place(
        site,
        station_paths(site, asked.latitude_deg, asked.longitude_deg, heights_m),
        float(site.terrain.clutter_height_m(*where)[0]),
        bool(site.terrain.open_land(*where)[0]),
    )


def _ground_m(site: Site, asked: Asked) -> float:
    return float(site.terrain.ground_m(np.array([asked.longitude_deg]), np.array([asked.latitude_deg]))[0])


def _unknown_reason(site: Site, asked: Asked, place: Place, ground_m: float) -> str:
    """Return why nothing can be said of a point; empty where something can."""
    if math.isnan(ground_m):
        inside = site.terrain.covers(np.array([asked.longitude_deg]), np.array([asked.latitude_deg]))[0]
        if inside:
            return "The elevation data has a gap at this point, so no path to it is known."
        return "The point lies outside the elevation data, so no path to it is known."
    missing = place.missing_services(site.wanted)
    if not missing:
        return ""
    carriers = {
        index
        for service, group in zip(site.wanted.services, site.wanted.transmitters, strict=True)
        if service in missing
        for index in group
    }
    if all(place.paths[index].status == "out_of_reach" for index in carriers):
        reach_km = site.scenario.settings.prediction.reach_km
        why = f"every station of it stands more than {reach_km:g} km away, the reach of this prediction"
    else:
        why = "the path from every station of it crosses a gap in the elevation data, or leaves it"
    return f"{' and '.join(missing)}: {why}."


def _stations(
    place: Place,
    plain: Question,
    plan: AimPlan | None,
    stored: TierPlan | None,
    rx_height_m: float,
    cell: CellValue,
) -> tuple[StationAtPlace, ...]:
    """Return the list's stations and the best of the others, grouped by mast, nearest the aim first."""
    site, prediction = place.site, place.site.scenario.settings.prediction
    tier = site.tiers[len(site.tiers) if stored is None else stored.tier]
    alone = {} if plan is None else alone_at_plan(plain, tier, plan)
    on_list = {index for group in site.wanted.transmitters for index in group}
    found = []
    for index, path in enumerate(place.paths):
        margin_db, chance = alone.get(index, (math.nan, math.nan))
        if index not in on_list and not (path.station.use == "wanted" and chance >= WORTH_NAMING_PERCENT):
            continue
        blocked = obstacles(path, rx_height_m, prediction.dn, prediction.n0)
        cause = cause_of(path, blocked, tier, site.options, chance)
        aims = () if stored is None else stored.aims_deg
        found.append(
            _station(path, index in on_list, margin_db, chance, aims, rx_height_m, blocked, cause, cell)
        )
    others = sorted((s for s in found if not s.on_list), key=lambda s: -s.chance_percent)[MOST_OTHERS:]
    return _lettered([station for station in found if station not in others])


def _station(
    path: StationPath,
    on_list: bool,
    margin_db: float,
    chance_percent: float,
    aims_deg: tuple[float, ...],
    rx_height_m: float,
    blocked: Obstacles,
    cause: str,
    cell: CellValue,
) -> StationAtPlace:
    station, azimuth_deg = path.station, path.profile.back_azimuth_deg
    return StationAtPlace(
        station_id=station.station_id,
        service=station.service,
        mast=station.mast,
        letter="",
        on_list=on_list,
        displayed_channel=station.displayed_channel,
        rf_channel=station.rf_channel,
        frequency_mhz=station.frequency_mhz,
        band=station.band,
        status=path.status,
        field_dbuvm=path.median_dbuvm[PATH_HEIGHT_M],
        adjustment_db=path.adjustment_db,
        cell_field_dbuvm=cell.field_dbuvm.get(station.station_id, math.nan),
        margin_db=margin_db,
        chance_percent=chance_percent,
        azimuth_deg=azimuth_deg,
        distance_km=path.profile.length_km,
        off_aim_deg=_nearest_deg(azimuth_deg, aims_deg),
        obstacle_db=max(0.0, path.obstacle_db[rx_height_m]),
        path_class=blocked.path_class,
        ridges=blocked.ridges,
        cause=cause,
    )


def _nearest_deg(azimuth_deg: float, aims_deg: tuple[float, ...]) -> float:
    """Return the angle to the nearest aim, 0 to 180; NaN without one."""
    return min((abs((azimuth_deg - aim + 180.0) % 360.0 - 180.0) for aim in aims_deg), default=math.nan)


def _lettered(stations: list[StationAtPlace]) -> tuple[StationAtPlace, ...]:
    """Return the stations mast by mast with letters: those of the list, then nearest the aim."""
    masts: dict[str, list[StationAtPlace]] = {}
    for station in stations:
        masts.setdefault(station.mast, []).append(station)

    def rank(mast: str) -> tuple[bool, float, float]:
        members = masts[mast]
        off_aim = members[0].off_aim_deg
        return (
            not any(s.on_list for s in members),
            1e9 if math.isnan(off_aim) else round(off_aim),
            members[0].distance_km,
        )

    ordered = [
        station
        for mast in sorted(masts, key=rank)
        for station in sorted(masts[mast], key=lambda s: not s.on_list)
    ]
    return tuple(replace(station, letter=_letter(order)) for order, station in enumerate(ordered))


def _letter(order: int) -> str:
    head, last = divmod(order, 26)
    return (_letter(head - 1) if head else "") + chr(ord("A") + last)


def _weakest(plan: TierPlan) -> str:
    return min(plan.service_chance_percent, key=lambda service: plan.service_chance_percent[service])


def _sun(asked: Asked) -> tuple[SunAt, ...]:
    """Return the sun at the times asked for, those at which it stands above the horizon."""
    found = [
        SunAt(moment, sun_position(asked.latitude_deg, asked.longitude_deg, moment))
        for moment in asked.sun_at
    ]
    return tuple(sun for sun in found if sun.position.elevation_deg > 0.0)


def _notes(site: Site, asked: Asked, place: Place) -> tuple[str, ...]:
    """Return what is worth knowing of this very place."""
    notes = []
    where = np.array([asked.longitude_deg]), np.array([asked.latitude_deg])
    if bool(site.terrain.water(*where)[0]):
        notes.append("This point lies on water. Check latitude and longitude.")
    listed = [place.paths[index] for group in site.wanted.transmitters for index in group]
    if any(path.status == "near" for path in listed):
        notes.append(
            "Within 250 m of a mast: free space and antenna patterns only, hills and houses left out."
        )
    steep = [
        path.station.service
        for path in listed
        if path.departure_deg < STEEP_RAY_DEG and path.station.elevation_pattern is None
    ]
    if steep:
        notes.append(
            f"{', '.join(dict.fromkeys(steep))}: the signal leaves its mast more than 3° below level and the "
            "mast's pattern in height is not known: the real signal may be weaker."
        )
    if any(path.adjustment_db for path in listed):
        notes.append("Margins here are adjusted by readings taken nearby; the fields shown are not.")
    return tuple(notes)
