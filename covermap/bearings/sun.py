"""Where the sun stands at a stated time: a compass that iron does not disturb."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime

from covermap.errors import InputError

J2000 = 2451545.0  # Julian date of 2000 January 1, 12 h
UNIX_EPOCH = 2440587.5  # Julian date of 1970 January 1, 0 h
SECONDS_A_DAY = 86400.0


@dataclass(frozen=True)
class SunPosition:
    """The sun from one place: degrees clockwise from true north, and above the horizon (no refraction)."""

    azimuth_deg: float
    elevation_deg: float


def sun_position(latitude_deg: float, longitude_deg: float, moment: datetime) -> SunPosition:
    """Return where the sun stands.

    moment : with its time zone; without one raises InputError

    Source: J. Meeus, Astronomical Algorithms, 2nd edition: chapter 25 (low accuracy), chapter 12 (sidereal
    time), chapter 13 (coordinates).
    Accuracy: 0.01 degrees in the sun's longitude between 1950 and 2050; refraction and parallax left out.
    """
    if moment.tzinfo is None:
        raise InputError(f"The time {moment.isoformat()} has no zone. Write it as 2026-09-01T09:00-07:00.")
    julian_day = UNIX_EPOCH + moment.astimezone(UTC).timestamp() / SECONDS_A_DAY
    right_ascension_deg, declination_deg = sun_equatorial(julian_day)
    hour_angle = math.radians(greenwich_sidereal_deg(julian_day) + longitude_deg - right_ascension_deg)
    latitude, declination = math.radians(latitude_deg), math.radians(declination_deg)
    # Meeus counts azimuth from the south, westwards: half a turn is added below.
    from_south = math.atan2(
        math.sin(hour_angle),
        math.cos(hour_angle) * math.sin(latitude) - math.tan(declination) * math.cos(latitude),
    )
    sine = math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(declination) * math.cos(
        hour_angle
    )
    return SunPosition((math.degrees(from_south) + 180.0) % 360.0, math.degrees(math.asin(sine)))


def sun_equatorial(julian_day: float) -> tuple[float, float]:
    """Return the sun's apparent right ascension and declination in degrees.

    Source: Meeus, chapter 25, equations (25.2) to (25.8). Accuracy: 0.01 degrees.
    """
    t = (julian_day - J2000) / 36525.0
    mean_longitude = 280.46646 + t * (36000.76983 + t * 0.0003032)
    anomaly = math.radians(357.52911 + t * (35999.05029 - t * 0.0001537))
    centre = (
        (1.914602 - t * (0.004817 + t * 0.000014)) * math.sin(anomaly)
        + (0.019993 - t * 0.000101) * math.sin(2.0 * anomaly)
        + 0.000289 * math.sin(3.0 * anomaly)
    )
    node = math.radians(125.04 - 1934.136 * t)
    # -0.00569 is aberration, the term in the node nutation: apparent place, as the accuracy stated asks for.
    longitude = math.radians(mean_longitude + centre - 0.00569 - 0.00478 * math.sin(node))
    mean_obliquity = 23.0 + (26.0 + (21.448 - t * (46.8150 + t * (0.00059 - t * 0.001813))) / 60.0) / 60.0
    obliquity = math.radians(mean_obliquity + 0.00256 * math.cos(node))
    right_ascension = math.atan2(math.cos(obliquity) * math.sin(longitude), math.cos(longitude))
    declination = math.asin(math.sin(obliquity) * math.sin(longitude))
    return math.degrees(right_ascension) % 360.0, math.degrees(declination)


def greenwich_sidereal_deg(julian_day: float) -> float:
    """Return the mean sidereal time at Greenwich in degrees. Source: Meeus, equation (12.4)."""
    days = julian_day - J2000
    t = days / 36525.0
    return (280.46061837 + 360.98564736629 * days + t * t * (0.000387933 - t / 38710000.0)) % 360.0
