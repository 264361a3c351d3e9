"""The answer at one address: paths, plans, reasons and aids put together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from covermap.addresses.amplifier import amplifier_effect, ports
from covermap.addresses.answer import Answer, answer_of, night_of, services_at
from covermap.addresses.changes import SHIFT_DB, changes, heights_to_compute_m, without_each
from covermap.addresses.high_vhf import high_vhf_of
from covermap.addresses.house import house_report
from covermap.addresses.installed import Shop, installations_at, recommended
from covermap.addresses.obstacles import mast_paths
from covermap.addresses.paths import PATH_HEIGHT_M, mount_heights_m, station_paths
from covermap.addresses.plans import Place, Question, question, some_facts, tier_plans
from covermap.addresses.report import AddressReport, CellValue, Note, SunAt, TierPlan
from covermap.addresses.site import Site
from covermap.addresses.skyline import skyline
from covermap.addresses.stations import interferer_of, stations_at_site
from covermap.addresses.wiring import Wiring
from covermap.bearings import declination, sun_position
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.inputs.stations_that_count import heard
from covermap.propagation.path_geometry import median_radius_km
from covermap.reception.services import tier_of_most
from covermap.scenario.coordinates import HIGHEST_LATITUDE_DEG
from covermap.scenario.letters import station_letters
from covermap.terrain import Terrain


@dataclass(frozen=True)
class Asked:
    """One address as asked: where, its names, the day, and the times at which the sun is wanted."""

    latitude_deg: float
    longitude_deg: float
    point_id: str = ""
    label: str = ""
    on: date | None = None
    sun_at: tuple[datetime, ...] = field(default=())


def compute_report(
    site: Site,
    asked: Asked,
    cell: CellValue,
    basis: Sequence[str] = (),
    cautions: Sequence[str] = (),
    home: Wiring | None = None,
    shop: Shop | None = None,
) -> AddressReport:
    """Return the report of one address.

    home : the wiring of several outlets, shop : antennas of a catalogue, where they are asked for

    cell : what the map's cell says. A point on unknown ground, or with a service of which no station's path
    is known, is unknown and says why; its stations are listed all the same.
    """
    plain, answer, reason = answer_at(site, asked, () if shop is None else shop.heights_m)
    place = plain.place
    # From here on the site of the place: with the stations that are heard there, numbered anew.
    site, scenario = place.site, place.site.scenario
    ground_m = _ground_m(site, asked)
    prediction = scenario.settings.prediction
    by_class = () if math.isnan(ground_m) else services_at(plain)
    kept = () if answer is None else tier_plans(plain, answer.plans)
    rx_height_m = max(PATH_HEIGHT_M, (plain.tiers[-1] if answer is None else answer.installation).height_m)
    stations = stations_at_site(plain, answer, kept, cell)
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
        status="ok" if reason is None else "unknown",
        reason=reason,
        **(dict(_NOTHING) if answer is None else _of_answer(plain, answer, kept)),
        stations=stations,
        masts=mast_paths(stations, by_id, rx_height_m, prediction.dn),
        skyline=skyline(site.terrain, asked.latitude_deg, asked.longitude_deg, rx_height_m, radius_km),
        declination=declination(asked.latitude_deg, asked.longitude_deg, asked.on) if asked.on else None,
        sun=_sun(asked),
        services_by_class=by_class,
        little_gained_after=tier_of_most([len(one.services) for one in by_class]),
        cell=cell,
        notes=_notes(site, asked, place),
        basis=tuple(basis),
        cautions=tuple(cautions),
        tier_names=tuple(tier.name for tier in site.tiers),
        letters=station_letters(scenario),
        display=scenario.settings.display,
        house=None if home is None or answer is None else house_report(plain, answer, home),
        installations=() if shop is None or answer is None else installations_at(plain, shop.put_up),
        recommended=() if shop is None or answer is None else recommended(plain, shop, answer),
    )


def answer_at(
    site: Site, asked: Asked, heights_m: Sequence[float] = ()
) -> tuple[Question, Answer | None, Note | None]:
    """Return what is asked of a place, its answer, and why there is none; None where there is one.

    heights_m : of mounts beside those of the tiers
    """
    place = _heard(_place(site, asked, heights_m))
    plain = question(place)
    reason = _unknown_reason(place.site, asked, place, _ground_m(site, asked))
    return plain, answer_of(plain) if reason is None else None, reason


def _of_answer(asked: Question, answer: Answer, kept: tuple[TierPlan, ...]) -> dict[str, Any]:
    """Return the fields of the report that follow from the answer."""
    record, stored = answer.record, kept[answer.installation.tier - 1]
    return {
        "record": record,
        "tier": record.tier,
        "chance_percent": stored.chance_percent,
        "aims_deg": stored.aims_deg,
        "joined": record.joined,
        "needs_filter": answer.needs_filter,
        "may_overload": "may_overload" in record.remarks,
        "aim_ranges_deg": record.aim_ranges_deg,
        "polarization": stored.polarization,
        "night": night_of(asked, answer, kept),
        "main_cause": record.main_cause,
        "main_interferer": interferer_of(asked.place.paths[record.main_interferer])
        if record.main_interferer >= 0
        else None,
        "deciding_service": record.deciding_service,
        "limiting_service": record.limiting_service,
        "plans": kept,
        "kept_one_lower": record.kept_one_lower,
        "without": without_each(asked, answer),
        "high_vhf": high_vhf_of(asked, answer),
        "ports": ports(asked, answer.installation, answer.plan),
        "amplifier": amplifier_effect(asked, answer),
        "changes": changes(asked, answer),
    }


# The same fields as of _of_answer(), empty: a new one must be put into both.
_NOTHING: dict[str, Any] = {
    "record": None, "tier": None, "chance_percent": None, "aims_deg": (), "joined": "", "needs_filter": False,
    "may_overload": False, "aim_ranges_deg": (), "polarization": "", "night": None, "main_cause": "",
    "main_interferer": None, "deciding_service": None, "limiting_service": None, "plans": (),
    "kept_one_lower": (), "without": (), "high_vhf": None, "ports": None, "amplifier": None, "changes": (),
}  # fmt: skip


def _place(site: Site, asked: Asked, more_heights_m: Sequence[float] = ()) -> Place:
    where = np.array([asked.longitude_deg]), np.array([asked.latitude_deg])
    heights_m = mount_heights_m([*heights_to_compute_m(site.tiers.tiers), *more_heights_m])
    return Place(
        site,
        station_paths(site, asked.latitude_deg, asked.longitude_deg, heights_m),
        float(site.terrain.clutter_height_m(*where)[0]),
        bool(site.terrain.open_land(*where)[0]),
        asked.latitude_deg,
        asked.longitude_deg,
    )


def _heard(place: Place) -> Place:
    """Return the place with the stations whose fields there can matter: few, where many are in reach."""
    fields = [(*path.unwanted_dbuvm.values(), *path.by_day_dbuvm.values()) for path in place.paths]
    # A station may only go if it is too weak at every height and time, also 3 dB stronger, as changes() asks
    # later.
    greatest_dbuvm = np.max(np.array(fields), axis=1) + SHIFT_DB
    site = place.site
    scenario = heard(site.scenario, greatest_dbuvm, site.tiers, site.options)
    number = {station.station_id: index for index, station in enumerate(site.scenario.stations)}
    stays = [number[station.station_id] for station in scenario.stations]
    # The list's indices moved with the stations: it must be taken from the smaller scenario, by its name.
    wanted = next(wanted for wanted in scenario.wanted if wanted.name == site.wanted.name)
    heard_site = replace(site, scenario=scenario, facts=some_facts(site.facts, stays), wanted=wanted)
    return replace(place, site=heard_site, paths=tuple(place.paths[index] for index in stays))


def _ground_m(site: Site, asked: Asked) -> float:
    return float(site.terrain.ground_m(np.array([asked.longitude_deg]), np.array([asked.latitude_deg]))[0])


def _outside(terrain: Terrain, latitude_deg: float, longitude_deg: float) -> str:
    """Return the note of a point without ground: a gap, or beyond the data, perhaps by a slip of the pen."""
    longitude = np.array([longitude_deg, -longitude_deg, longitude_deg, latitude_deg])
    latitude = np.array([latitude_deg, latitude_deg, -latitude_deg, longitude_deg])
    codes = ("no_ground", "outside_sign", "outside_sign", "outside_order")
    covered = terrain.covers(longitude, np.clip(latitude, -HIGHEST_LATITUDE_DEG, HIGHEST_LATITUDE_DEG))
    return next((code for code, inside in zip(codes, covered, strict=True) if inside), "outside")


def _unknown_reason(site: Site, asked: Asked, place: Place, ground_m: float) -> Note | None:
    """Return why nothing can be said of a point; None where something can."""
    # Before the paths: where there is no ground none of them is known, and that would be the lesser reason.
    if math.isnan(ground_m):
        return Note(_outside(site.terrain, asked.latitude_deg, asked.longitude_deg))
    missing = place.missing_services(site.wanted)
    if not missing:
        return None
    carriers = {
        index
        for service, group in zip(site.wanted.services, site.wanted.transmitters, strict=True)
        if service in missing
        for index in group
    }
    # Out of reach only where all are: one whose path is merely unknown might be cured with more elevation.
    if all(place.paths[index].status == "out_of_reach" for index in carriers):
        return Note("out_of_reach", tuple(missing), site.scenario.settings.prediction.reach_km)
    return Note("no_path", tuple(missing))


def _sun(asked: Asked) -> tuple[SunAt, ...]:
    """Return the sun at the times asked for, those at which it stands above the horizon."""
    found = [
        SunAt(moment, sun_position(asked.latitude_deg, asked.longitude_deg, moment))
        for moment in asked.sun_at
    ]
    return tuple(sun for sun in found if sun.position.elevation_deg > 0.0)


def _notes(site: Site, asked: Asked, place: Place) -> tuple[Note, ...]:
    """Return what is worth knowing of this very place."""
    where = np.array([asked.longitude_deg]), np.array([asked.latitude_deg])
    listed = [place.paths[index] for group in site.wanted.transmitters for index in group]
    steep = [
        path.station.service
        for path in listed
        # With a pattern of its own the null is in the field already; without one the field is too high there.
        if path.departure_deg < STEEP_RAY_DEG and path.station.elevation_pattern is None
    ]
    found = (
        (bool(site.terrain.water(*where)[0]), Note("water")),
        (any(path.status == "near" for path in listed), Note("near")),
        (bool(steep), Note("steep_services", tuple(dict.fromkeys(steep)))),
        # of all stations: those that only disturb are the ones computed so
        (any(path.status == "smooth_earth" for path in place.paths), Note("smooth_earth")),
        (any(path.adjustment_db for path in listed), Note("adjusted")),
    )
    return tuple(note for is_so, note in found if is_so)
