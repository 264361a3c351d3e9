"""Magnetic declination for the bearings people set with a compass."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import pygeomag

from covermap.errors import InputError

COEFFICIENTS = "wmm/WMM_2025.COF"  # named, because the library's own choice depends on today's date
FIRST_YEAR, LAST_YEAR = 2025, 2029  # whole years of the World Magnetic Model 2025


@dataclass(frozen=True)
class Declination:
    """Where a compass points: degrees east of true north, at one place on one day.

    declination_deg : positive is east; magnetic bearing = true bearing - declination
    on : the day
    """

    declination_deg: float
    on: date

    def magnetic_deg(self, true_deg: float) -> float:
        """Return the bearing a compass shows for a true bearing, 0 up to but not including 360."""
        return (true_deg - self.declination_deg) % 360.0

    def in_words(self) -> str:
        """Return the declination for people: '11° east'."""
        side = "east" if self.declination_deg >= 0.0 else "west"
        return f"{abs(self.declination_deg):.0f}° {side}"


def own_day(as_of: str) -> date | None:
    """Return the day of a list of stations, None where it names none or one the model does not cover."""
    try:
        day = date.fromisoformat(as_of)
    except ValueError:
        return None
    return day if FIRST_YEAR <= day.year <= LAST_YEAR else None


def compass_day(as_of: str) -> date:
    """Return the day that magnetic bearings of a result are of: its stations' own, else today.

    By the stations' day the same inputs give the same result.
    """
    return own_day(as_of) or date.today()


def declination(latitude_deg: float, longitude_deg: float, on: date) -> Declination | None:
    """Return the declination at sea level, or None on a day the model does not cover.

    Source: World Magnetic Model 2025 (NOAA NCEI and the British Geological Survey), 2025.0 to 2030.0;
    its error is under 0.5 degrees over most land, more near the magnetic poles and beside iron.
    """
    if not FIRST_YEAR <= on.year <= LAST_YEAR:
        return None
    start = date(on.year, 1, 1)
    decimal_year = on.year + (on - start).days / (date(on.year + 1, 1, 1) - start).days
    return Declination(declination_in_year(latitude_deg, longitude_deg, decimal_year), on)


def declination_in_year(
    latitude_deg: float, longitude_deg: float, decimal_year: float, altitude_km: float = 0.0
) -> float:
    """Return the declination, degrees east of true north.

    decimal_year : 2025.0 to 2030.0, outside raises InputError. altitude_km : above the WGS 84 ellipsoid.

    Source: World Magnetic Model 2025.
    """
    if not FIRST_YEAR <= decimal_year <= LAST_YEAR + 1:
        raise InputError(
            f"decimal_year is {decimal_year}; the World Magnetic Model 2025 holds from {FIRST_YEAR}.0 to "
            f"{LAST_YEAR + 1}.0. Give a day in these years, or leave magnetic bearings out."
        )
    result = _model().calculate(glat=latitude_deg, glon=longitude_deg, alt=altitude_km, time=decimal_year)
    return float(result.d)


@lru_cache(maxsize=1)
def _model() -> pygeomag.GeoMag:
    return pygeomag.GeoMag(coefficients_file=COEFFICIENTS)
