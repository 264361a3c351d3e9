"""The answer at one address: paths, plans, reasons and aids put together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from covermap.addresses.amplifier import amplifier_effect, ports
from covermap.addresses.at_place import stations_at_place
from covermap.addresses.changes import SHIFT_DB, changes, heights_to_compute_m, without_each
from covermap.addresses.high_vhf import high_vhf_of
from covermap.addresses.paths import PATH_HEIGHT_M, mount_heights_m, station_paths
from covermap.addresses.plans import (
    Lowest,
    Place,
    Question,
    aim_windows,
    as_aimed,
    night_of,
    question,
    some_facts,
    tier_plans,
)
from covermap.addresses.report import AddressReport, CellValue, SunAt, TierPlan
from covermap.addresses.site import Site
from covermap.addresses.skyline import skyline
from covermap.addresses.why import cause_of, interference_cause_of, mast_paths, obstacles
from covermap.bearings import declination, sun_position
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.inputs.stations_that_count import heard
from covermap.propagation.path_geometry import median_radius_km
from covermap.reception import AimPlan
from covermap.scenario.letters import station_letters


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
    place = _heard(_place(site, asked))
    site, scenario = place.site, place.site.scenario
    ground_m = _ground_m(site, asked)
    reason = _unknown_reason(site, asked, place, ground_m)
    prediction = scenario.settings.prediction
    answer = _Answer(question(place), not reason)
    rx_height_m = max(PATH_HEIGHT_M, answer.mount.height_m)
    stations = stations_at_place(answer.asked, answer.mount, answer.plan, answer.stored, cell)
    by_id = {path.station.station_id: path for path in place.paths}
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
        **answer.fields(),
        stations=stations,
        masts=mast_paths(stations, by_id, rx_height_m, prediction.dn),
        skyline=skyline(site.terrain, asked.latitude_deg, asked.longitude_deg, rx_height_m, radius_km),
        declination=declination(asked.latitude_deg, asked.longitude_deg, asked.on) if asked.on else None,
        sun=_sun(asked),
        cell=cell,
        notes=_notes(site, asked, place),
        basis=tuple(basis),
        cautions=tuple(cautions),
        tier_names=tuple(tier.name for tier in site.tiers),
        letters=station_letters(scenario),
        display=scenario.settings.display,
    )


class _Answer:
    """The plans of a place and what follows from them; nothing where they are not known."""

    def __init__(self, asked: Question, known: bool) -> None:
        self.asked = asked
        self.plans = asked.best_plans() if known else []
        self.lowest: Lowest | None = asked.lowest(self.plans) if known else None
        self.kept = tier_plans(asked, self.plans) if known else ()
        self.mount = asked.tiers[-1 if self.lowest is None else min(self.lowest.tier, len(asked.tiers)) - 1]
        self.plan: AimPlan | None = None if self.lowest is None else self.lowest.plan
        self.stored: TierPlan | None = None if self.lowest is None else self.kept[self.mount.tier - 1]

    def fields(self) -> dict[str, Any]:
        """Return the fields of the report that follow from the plans."""
        asked, lowest, stored = self.asked, self.lowest, self.stored
        if lowest is None or stored is None:
            return dict(_NOTHING)
        lower = self.kept[lowest.tier - 2] if lowest.tier > 1 else None
        confidence = asked.options.confidence_percent
        return {
            "tier": lowest.tier,
            "chance_percent": stored.chance_percent,
            "aims_deg": stored.aims_deg,
            "joined": stored.joined,
            "needs_filter": lowest.needs_filter,
            "may_overload": stored.may_overload,
            "aim_ranges_deg": aim_windows(asked, self.mount, lowest.plan),
            "polarization": stored.polarization,
            "night": night_of(self.kept, lowest, confidence),
            "main_cause": self._main_cause(),
            "deciding_service": None if lower is None else _weakest(lower),
            "limiting_service": _weakest(stored),
            "plans": self.kept,
            "kept_one_lower": () if lower is None else _kept(asked, lower),
            "without": without_each(asked),
            "high_vhf": high_vhf_of(asked, lowest),
            "ports": ports(asked, self.mount, lowest.plan),
            "amplifier": amplifier_effect(asked, self.plans, lowest),
            "changes": changes(asked),
        }

    def _main_cause(self) -> str:
        """Return why no lower tier will do, by the map's rule: overload, what disturbs, or the cause of the
        deciding service's station one tier lower."""
        asked, lowest = self.asked, self.lowest
        if lowest is None or lowest.tier < 2:
            return ""
        if lowest.needs_filter:
            return "overload"
        tier, plan = asked.tiers[lowest.tier - 2], self.plans[lowest.tier - 2]
        worst = int(np.argmin(plan.chances))
        order = [*asked.order(asked.labels()), -1]  # an interferer of -1 stays one
        index, interferer = order[int(plan.station[worst])], order[int(plan.interferer[worst])]
        undisturbed = replace(asked, undisturbed=True).signals(tier)
        if interferer >= 0 and asked.reaches(as_aimed(undisturbed, tier, plan)):
            return interference_cause_of(asked.place, index, interferer)
        prediction = asked.place.site.scenario.settings.prediction
        blocked = obstacles(asked.place.paths[index], PATH_HEIGHT_M, prediction.dn, prediction.n0)
        return cause_of(asked.place, index, blocked, tier, interferer, float(plan.interference_db[worst]))


_NOTHING: dict[str, Any] = {
    "tier": None, "chance_percent": None, "aims_deg": (), "joined": "", "needs_filter": False,
    "may_overload": False, "aim_ranges_deg": (), "polarization": "", "night": None, "main_cause": "",
    "deciding_service": None, "limiting_service": None, "plans": (), "kept_one_lower": (), "without": (),
    "high_vhf": None, "ports": None, "amplifier": None, "changes": (),
}  # fmt: skip


def _place(site: Site, asked: Asked) -> Place:
    where = np.array([asked.longitude_deg]), np.array([asked.latitude_deg])
    heights_m = mount_heights_m(heights_to_compute_m(site.tiers.tiers))
    return Place(
        site,
        station_paths(site, asked.latitude_deg, asked.longitude_deg, heights_m),
        float(site.terrain.clutter_height_m(*where)[0]),
        bool(site.terrain.open_land(*where)[0]),
    )


def _heard(place: Place) -> Place:
    """Return the place with the stations whose fields there can matter: few, where many are in reach."""
    fields = [(*path.unwanted_dbuvm.values(), *path.by_day_dbuvm.values()) for path in place.paths]
    greatest_dbuvm = np.max(np.array(fields), axis=1) + SHIFT_DB
    site = place.site
    scenario = heard(site.scenario, greatest_dbuvm, site.tiers, site.options)
    number = {station.station_id: index for index, station in enumerate(site.scenario.stations)}
    stays = [number[station.station_id] for station in scenario.stations]
    wanted = next(wanted for wanted in scenario.wanted if wanted.name == site.wanted.name)
    heard_site = replace(site, scenario=scenario, facts=some_facts(site.facts, stays), wanted=wanted)
    return replace(place, site=heard_site, paths=tuple(place.paths[index] for index in stays))


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


def _kept(asked: Question, plan: TierPlan) -> tuple[str, ...]:
    """Return the services of the list that a plan surely brings, each alone, in the list's order."""
    return tuple(service for service in asked.wanted.services if service not in plan.lost)


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
            "Within 250 m of a mast: closer than the calculation is made for; the real signal may differ."
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
    if any(path.status == "smooth_earth" for path in place.paths):
        notes.append(
            "The ground towards a station that may disturb is not known; its signal is reckoned over flat "
            "land."
        )
    if any(path.adjustment_db for path in listed):
        notes.append("Margins here are adjusted by readings taken nearby; the fields shown are not.")
    return tuple(notes)
