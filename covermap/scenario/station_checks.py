"""Checks of stations against one another, against the area, and against the terrain."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from covermap.constants import EARTH_RADIUS_KM
from covermap.errors import InputError
from covermap.scenario.records import Station

SAME_MAST_KM = 0.2  # towers of one site stand closer
GROUND_DIFFERENCE_M = 30.0  # more points to a wrong site or datum
FEET_PER_METRE = 3.2808
Bounds = tuple[float, float, float, float]


def compare_stations(stations: Sequence[Station]) -> list[str]:
    """Return warnings that only the whole list can tell."""
    return [*_displayed_as_rf(stations), *_mast_at_two_places(stations), *_height_in_feet(stations)]


def check_positions(stations: Sequence[Station], bounds_deg: Bounds) -> None:
    """Raise InputError where a station lies outside the area and an exchange or a sign would bring it in.

    bounds_deg : (west, south, east, north) of the elevation; west may be greater than east
    Nothing is changed: the message names the mistake it looks like.
    """
    for station in stations:
        latitude_deg, longitude_deg = station.latitude_deg, station.longitude_deg
        if _inside(longitude_deg, latitude_deg, bounds_deg):
            continue
        found = (
            f'{station.source} (station "{station.station_id}"): '
            f"found {_place(latitude_deg, longitude_deg)}, outside the elevation ({_area(bounds_deg)}).\n  "
        )
        # The likeliest slip first; a place that several slips would bring in is told as that one.
        if abs(longitude_deg) <= 90.0 and _inside(latitude_deg, longitude_deg, bounds_deg):
            raise InputError(
                f"{found}With latitude and longitude exchanged it lies inside. "
                "Exchange latitude_deg and longitude_deg."
            )
        if _inside(-longitude_deg, latitude_deg, bounds_deg):
            raise InputError(
                f"{found}With the other sign of longitude_deg it lies inside. West longitudes are negative: "
                f"write {-longitude_deg:g}."
            )
        if _inside(longitude_deg, -latitude_deg, bounds_deg):
            raise InputError(
                f"{found}With the other sign of latitude_deg it lies inside. South latitudes are negative: "
                f"write {-latitude_deg:g}."
            )


def compare_ground(stations: Sequence[Station], terrain_ground_m: Sequence[float]) -> list[str]:
    """Return a warning for each station whose filed ground differs from the terrain by more than 30 m.

    terrain_ground_m : elevation at each station, NaN unknown
    Raises InputError where the terrain stands above the antenna, as filed above sea level.
    """
    warnings = []
    for station, terrain_m in zip(stations, terrain_ground_m, strict=True):
        # not >, so that an unknown terrain height (NaN) is passed over
        if station.ground_m is None or not abs(station.ground_m - terrain_m) > GROUND_DIFFERENCE_M:
            continue
        where = station.source.replace(", line", " line")
        filed = f"ground filed {station.ground_m:.0f} m, terrain says {terrain_m:.0f} m"
        if terrain_m > station.ground_m + station.antenna_height_m:
            raise InputError(
                f"{where}: {filed}, which is above the antenna "
                f"({station.ground_m + station.antenna_height_m:.0f} m above sea level).\n"
                "  The position, the datum or a unit is wrong. Correct the row, or leave ground_m empty."
            )
        warnings.append(f"{where}: {filed}: wrong site or datum?")
    return warnings


def _inside(longitude_deg: float, latitude_deg: float, bounds_deg: Bounds) -> bool:
    west, south, east, north = bounds_deg
    across = (
        (longitude_deg - west) % 360.0 <= (east - west) % 360.0 if west != east else longitude_deg == west
    )
    return across and south <= latitude_deg <= north


def _place(latitude_deg: float, longitude_deg: float) -> str:
    north_south, east_west = "NS"[latitude_deg < 0.0], "EW"[longitude_deg < 0.0]
    return f"{abs(latitude_deg):.3f} {north_south}, {abs(longitude_deg):.3f} {east_west}"


def _area(bounds_deg: Bounds) -> str:
    west, south, east, north = bounds_deg
    return f"{_place(south, west)} to {_place(north, east)}"


def _displayed_as_rf(stations: Sequence[Station]) -> list[str]:
    """Return a warning where the RF channel equals the displayed number in every row that shows one."""
    shown = [station for station in stations if station.displayed_channel and station.rf_channel is not None]
    same = [
        station
        for station in shown
        if station.displayed_channel.replace("-", ".").split(".")[0] == str(station.rf_channel)
    ]
    if len(shown) < 3 or len(same) < len(shown):
        return []
    return [
        f"{stations[0].source.rsplit(',', 1)[0]}: rf_channel equals the number shown on the set in every "
        "row. Are these the channels on the air?"
    ]


def _distance_km(one: Station, other: Station) -> float:
    """Return the distance of two near stations on the sphere; only for comparing with a threshold."""
    north_rad = math.radians(one.latitude_deg - other.latitude_deg)
    east_rad = math.radians((one.longitude_deg - other.longitude_deg + 180.0) % 360.0 - 180.0)
    return EARTH_RADIUS_KM * math.hypot(north_rad, east_rad * math.cos(math.radians(one.latitude_deg)))


def _by_mast(stations: Sequence[Station]) -> dict[str, list[Station]]:
    masts: dict[str, list[Station]] = {}
    for station in stations:
        masts.setdefault(station.mast, []).append(station)
    return masts


def _mast_at_two_places(stations: Sequence[Station]) -> list[str]:
    warnings = []
    for mast, members in _by_mast(stations).items():
        farthest = max(members, key=lambda station: _distance_km(members[0], station))
        distance_km = _distance_km(members[0], farthest)
        if distance_km > SAME_MAST_KM:
            warnings.append(
                f'{farthest.source}: mast "{mast}" stands {distance_km:.1f} km from where '
                f"{members[0].station_id} has it. A mast is one structure: give the other place its own name."
            )
    return warnings


def _height_in_feet(stations: Sequence[Station]) -> list[str]:
    """Return a warning where a height divided by 3.28 fits the others of its mast better."""
    warnings = []
    for members in _by_mast(stations).values():
        for station in members:
            others_m = [other.antenna_height_m for other in members if other is not station]
            if len(others_m) < 2:
                continue
            usual_m = statistics.median(others_m)
            as_feet_m = station.antenna_height_m / FEET_PER_METRE
            if station.antenna_height_m > 2.8 * usual_m and abs(as_feet_m - usual_m) < 0.15 * usual_m:
                warnings.append(
                    f"{station.source}: antenna_height_m {station.antenna_height_m:g} is far from the other "
                    f"{usual_m:g} m of its mast; as feet it would be {as_feet_m:.0f} m. Is the unit right?"
                )
    return warnings
