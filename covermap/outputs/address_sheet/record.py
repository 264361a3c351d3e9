"""The report of one address as JSON."""

from __future__ import annotations

import math
from typing import Any

from covermap.addresses.report import AddressReport, Amplifier, StationAtPlace, TierPlan


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
        "reason": report.reason,
        "tier": report.tier,
        "tier_name": None if report.stored_plan is None else _tier_name(report),
        "chance_percent": _number(report.chance_percent),
        "aims_deg_true": [round(aim, 1) for aim in report.aims_deg],
        "aims_deg_magnetic": None
        if report.declination is None
        else [round(report.declination.magnetic_deg(aim), 1) for aim in report.aims_deg],
        "aim_range_deg": None if report.aim_range_deg is None else list(report.aim_range_deg),
        "polarization": report.polarization,
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
            }
            for one in report.changes
        ],
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
        },
        "stations_as_of": report.stations_as_of,
        "notes": list(report.notes),
        "basis": list(report.basis),
        "cautions": list(report.cautions),
    }


def _tier_name(report: AddressReport) -> str | None:
    if report.tier is None or report.tier > len(report.tier_names):
        return None
    return report.tier_names[report.tier - 1]


def _station(station: StationAtPlace) -> dict[str, Any]:
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
        "azimuth_deg": _number(station.azimuth_deg, 2),
        "distance_km": _number(station.distance_km, 3),
        "off_aim_deg": _number(station.off_aim_deg, 1),
        "path_class": station.path_class,
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
        "polarization": plan.polarization,
        "chance_percent": _number(plan.chance_percent),
        "bounds_percent": [_number(bound) for bound in plan.bounds_percent],
        "service_chance_percent": {s: _number(c) for s, c in plan.service_chance_percent.items()},
        "margin_db": {s: _number(m, 2) for s, m in plan.margin_db.items()},
        "lost": list(plan.lost),
    }


def _amplifier(amplifier: Amplifier) -> dict[str, Any]:
    return {
        "verdict": amplifier.verdict,
        "mount": amplifier.mount,
        "effect_db": {station: _number(effect, 1) for station, effect in amplifier.effect_db.items()},
        "noise_limited": list(amplifier.noise_limited),
        "input_dbm": _number(amplifier.input_dbm),
        "output_dbm": _number(amplifier.output_dbm),
        "headroom_db": _number(amplifier.headroom_db),
        "overload_counted": amplifier.overload_counted,
    }


def _number(value: float | None, digits: int = 1) -> float | None:
    if value is None or math.isnan(value):
        return None
    return round(float(value), digits)
