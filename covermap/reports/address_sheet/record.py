"""The report of one address as JSON."""

from __future__ import annotations

import math
from typing import Any

from covermap.addresses.house_levels import HousePlan, HouseReport
from covermap.addresses.installed_records import InstallationAtPlace
from covermap.addresses.report import AddressReport, Amplifier, HighVhf, Night, Ports, TierPlan
from covermap.addresses.station_records import StationAtSite
from covermap.reports.address_sheet.wording import note


def address_record(report: AddressReport) -> dict[str, Any]:
    """Return the report as plain values; unknown numbers are null.

    Fields are half of the time at 10 m; margins and chances are with the stored plan, each station alone.
    """
    return {
        "location": {
            "id": report.point_id,
            "label": report.label,
            "latitude_deg": report.latitude_deg,
            "longitude_deg": report.longitude_deg,
            "ground_m": _number(report.ground_m),
        },
        "list": report.list_name,
        "services": list(report.services),
        "needed": report.needed,
        "confidence_percent": report.confidence_percent,
        "status": report.status,
        "reason": "" if report.reason is None else note(report.display, report.reason),
        "tier": report.tier,
        "tier_name": None if report.stored_plan is None else _tier_name(report),
        "chance_percent": _number(report.chance_percent),
        "aims_deg_true": [round(aim, 1) for aim in report.aims_deg],
        "aims_deg_magnetic": None
        if report.declination is None
        else [round(report.declination.magnetic_deg(aim), 1) for aim in report.aims_deg],
        "aim_range_deg": None if report.aim_range_deg is None else list(report.aim_range_deg),
        "aims": _aims(report),
        "joined": report.joined or None,
        "polarization": report.polarization,
        "needs_filter": report.needs_filter,
        "may_overload": report.may_overload,
        "night": None if report.night is None else _night(report.night),
        "high_vhf": None if report.high_vhf is None else _high_vhf(report.high_vhf),
        "main_cause": report.main_cause or None,
        "main_interferer": None if report.main_interferer is None else report.main_interferer.station_id,
        "services_kept_one_class_lower": list(report.kept_one_lower),
        "overload": None if report.ports is None else _ports(report.ports),
        "deciding_service": report.deciding_service,
        "limiting_service": report.limiting_service,
        "stations": [_station(station) for station in report.stations],
        "plans": [_plan(plan) for plan in report.plans],
        "without": [
            {"service": one.service, "tier": one.tier, "chance_percent": _number(one.chance_percent)}
            for one in report.without
        ],
        "amplifier": None if report.amplifier is None else _amplifier(report.amplifier),
        "changes": [
            {
                "change": one.key,
                "tier": one.tier,
                "chance_percent": _number(one.chance_percent),
                "aims_deg_true": list(one.aims_deg),
                "needs_filter": one.needs_filter,
                **({} if one.other_db is None else {"model": one.model, "other_db": _number(one.other_db)}),
                **({} if one.tops_m is None else {"tops_m": _number(one.tops_m)}),
                **({} if one.wood_m is None else {"wood_m": _number(one.wood_m)}),
            }
            for one in report.changes
        ],
        "services_by_class": [
            {"tier": one.tier, "services": list(one.services), "adds": list(one.adds)}
            for one in report.services_by_class
        ],
        "little_gained_after_tier": report.little_gained_after,
        "main_cause_by_service": {} if report.record is None else report.record.service_cause,
        "tier_without_deciding": None if report.record is None else report.record.tier_without_deciding,
        "declination_deg": None
        if report.declination is None
        else round(report.declination.declination_deg, 2),
        "sun": [
            {"time": sun.moment.isoformat(), "azimuth_deg": round(sun.position.azimuth_deg, 1)}
            for sun in report.sun
        ],
        "skyline_deg": [
            [round(float(azimuth), 1), _number(float(angle), 2)]
            for azimuth, angle in zip(report.skyline.azimuth_deg, report.skyline.elevation_deg, strict=True)
        ],
        "cell": {
            "status": report.cell.status,
            "source": report.cell.source,
            "tier": report.cell.tier,
            "chance_percent": report.cell.chance_percent,
            "tier_chance_percent": list(report.cell.tier_chance_percent),
            "aim_deg_true": report.cell.aim_deg,
            "aims_deg_true": list(report.cell.aims_deg),
            "joined": report.cell.joined or None,
            "needs_filter": report.cell.needs_filter,
            "may_overload": report.cell.may_overload,
            "lost_at_night": report.cell.lost_at_night,
            "needs_own_high_vhf": report.cell.own_high_vhf,
        },
        "installations": [_installation(one) for one in report.installations],
        "recommended": [
            _installation(one.at) | {"reason": one.reason, "weakness": one.weakness}
            for one in report.recommended
        ],
        "house": None if report.house is None else _house(report.house),
        "stations_as_of": report.stations_as_of,
        "notes": [note(report.display, one) for one in report.notes],
        "basis": list(report.basis),
        "cautions": list(report.cautions),
    }


def _tier_name(report: AddressReport) -> str | None:
    if report.tier is None or report.tier > len(report.tier_names):
        return None
    return report.tier_names[report.tier - 1]


def _station(station: StationAtSite) -> dict[str, Any]:
    return {
        "station_id": station.station_id,
        "service": station.service,
        "mast": station.mast,
        "letter": station.letter,
        "on_list": station.on_list,
        "status": station.status,
        "field_dbuvm": _number(station.field_dbuvm, 2),
        "adjustment_db": _number(station.adjustment_db, 2),
        "cell_field_dbuvm": _number(station.cell_field_dbuvm, 2),
        "margin_db": _number(station.margin_db, 2),
        "chance_percent": _number(station.chance_percent),
        "interference_db": _number(station.interference_db),
        "disturbed_by": None if station.interferer is None else station.interferer.station_id,
        "lost_at_night": station.lost_at_night,
        "azimuth_deg": _number(station.azimuth_deg, 2),
        "distance_km": _number(station.distance_km, 3),
        "off_aim_deg": _number(station.off_aim_deg, 1),
        "antenna": station.antenna,
        "hills": len(station.ridges) if station.status == "ok" else None,
        "obstacle_db": _number(station.obstacle_db, 1),
        "ridges": [
            {
                "distance_km": _number(ridge.distance_km, 3),
                "ground_m": _number(ridge.ground_m, 1),
                "height_above_line_m": _number(ridge.height_above_line_m, 1),
                "loss_db": _number(ridge.loss_db, 1),
            }
            for ridge in station.ridges
        ],
        "cause": station.cause or None,
    }


def _plan(plan: TierPlan) -> dict[str, Any]:
    return {
        "tier": plan.tier,
        "name": plan.name,
        "aims_deg_true": list(plan.aims_deg),
        "joined": plan.joined,
        "polarization": plan.polarization,
        "overloads": plan.overloads,
        "may_overload": plan.may_overload,
        "overload_db": _number(plan.overload_db),
        "overload_port": plan.overload_port or None,
        "chance_by_day_percent": _number(plan.chance_by_day_percent),
        "chance_percent": _number(plan.chance_percent),
        "bounds_percent": [_number(bound) for bound in plan.bounds_percent],
        "service_chance_percent": {s: _number(c) for s, c in plan.service_chance_percent.items()},
        "margin_db": {s: _number(m, 2) for s, m in plan.margin_db.items()},
        "interference_db": {s: _number(i) for s, i in plan.interference_db.items()},
        "lost": list(plan.lost),
        "lost_at_night": list(plan.lost_at_night),
    }


def _amplifier(amplifier: Amplifier) -> dict[str, Any]:
    return {
        "verdict": amplifier.verdict,
        "mount": amplifier.mount,
        "effect_db": {station: _number(effect, 1) for station, effect in amplifier.effect_db.items()},
        "noise_limited": list(amplifier.noise_limited),
        "interference_limited": list(amplifier.interference_limited),
        "chance_without_percent": _number(amplifier.chance_without_percent),
        "chance_with_percent": _number(amplifier.chance_with_percent),
        "input_dbm": _number(amplifier.ports.input_dbm),
        "output_dbm": _number(amplifier.ports.output_dbm),
        "headroom_db": _number(-amplifier.ports.excess_db),
        "overload_counted": True,
        "with": _ports(amplifier.ports),
        "without": _ports(amplifier.ports_without),
    }


def _ports(ports: Ports) -> dict[str, Any]:
    """Return the powers at an installation's ports; excess_db over the nearest limit, negative within."""
    return {
        "input_dbm": _number(ports.input_dbm),
        "output_dbm": _number(ports.output_dbm),
        "tuner_dbm": _number(ports.tuner_dbm),
        "port": ports.port or None,
        "excess_db": _number(ports.excess_db),
        "spread_db": _number(ports.spread_db),
        "strongest": [
            {"station_id": one.station_id, "service": one.service, "power_dbm": _number(one.power_dbm)}
            for one in ports.strongest
        ],
    }


def _aims(report: AddressReport) -> list[dict[str, Any]]:
    """Return one antenna a row: its bearing, polarization, range and what it brings."""
    plan = report.stored_plan
    if plan is None:
        return []
    brings = ("vhf", "uhf") if report.joined == "diplexed" else ("all", "all")
    declination = report.declination
    return [
        {
            "azimuth_deg_true": round(aim, 1),
            "azimuth_deg_magnetic": None if declination is None else round(declination.magnetic_deg(aim), 1),
            "polarization": plan.polarizations[number],
            "range_deg_true": None if window is None else list(window),
            "directional": plan.directional,
            "brings": brings[number],
        }
        for number, (aim, window) in enumerate(zip(report.aims_deg, report.aim_ranges_deg, strict=True))
    ]


def _night(night: Night) -> dict[str, Any]:
    return {
        "tier_by_day": night.tier_by_day,
        "chance_by_day_percent": _number(night.chance_by_day_percent),
        "services_lost": list(night.services),
    }


def _installation(one: InstallationAtPlace) -> dict[str, Any]:
    return {
        "antenna": one.key,
        "name": one.name,
        "mount": one.mount,
        "height_m": _number(one.height_m),
        "amplifier": one.amplifier or None,
        "amplifier_price": _number(one.amplifier_price, 2),
        "chance_percent": _number(one.chance_percent),
        "holds": one.holds,
        "aims_deg_true": [round(aim, 1) for aim in one.aims_deg],
        "joined": one.joined,
        "polarization": one.polarization,
        "needs_filter": one.needs_filter,
        "lost": list(one.lost),
        "not_served": list(one.unserved),
        "weakest": one.weakest,
        "weakest_percent": _number(one.weakest_percent),
        "services": list(one.services),
        "price": _number(one.price, 2),
    }


def _house(house: HouseReport) -> dict[str, Any]:
    return {
        "wiring": "line" if house.taps else "star",
        "splitter": house.splitter or None,
        "taps": list(house.taps),
        "passive_loss_db": {band: _number(loss, 1) for band, loss in house.passive_loss_db.items()},
        "common_cable_m": _number(house.common_m),
        "tier_of_one_set": house.one_set_tier,
        "without_amplifier": _house_plan(house.plain),
        "with_amplifier": {"amplifier": house.amplifier} | _house_plan(house.amplified),
        "amplifier_pays": house.amplifier_pays,
    }


def _house_plan(plan: HousePlan) -> dict[str, Any]:
    return {
        "tier": plan.tier,
        "chance_percent": _number(plan.chance_percent),
        "needs_filter": plan.needs_filter,
        "outlets": [
            {
                "cable_m": _number(outlet.cable_m),
                "weakest": outlet.weakest,
                "weakest_dbuv": _number(outlet.weakest_dbuv),
                "weakest_spare_db": _number(outlet.weakest_spare_db),
                "strongest": outlet.strongest,
                "strongest_dbuv": _number(outlet.strongest_dbuv),
                "strongest_spare_db": _number(outlet.strongest_spare_db),
            }
            for outlet in plan.outlets
        ],
    }


def _high_vhf(found: HighVhf) -> dict[str, Any]:
    return {
        "services": list(found.services),
        "needs_own": found.needs_own,
        "uhf_only_chance_percent": _number(found.uhf_only_chance_percent),
        "uhf_only_lost": list(found.uhf_only_lost),
        "smallest_like_tier": None if found.smallest is None else found.smallest.tier,
        "sizes": [
            {
                "tier": size.tier,
                "name": size.name,
                "gain_dbd": _number(size.gain_dbd),
                "chance_percent": _number(size.chance_percent),
                "holds": size.holds,
            }
            for size in found.sizes
        ],
    }


def _number(value: float | None, digits: int = 1) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)
