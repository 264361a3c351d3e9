"""Magnetic declination for the bearings people set with a compass."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pygeomag

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


def declination(latitude_deg: float, longitude_deg: float, on: date) -> Declination | None:
    """Return the declination at sea level, or None on a day the model does not cover.

    Source: World Magnetic Model 2025 (NOAA NCEI and the British Geological Survey), 2025.0 to 2030.0;
    its error is under 0.5 degrees over most land, more near the magnetic poles and beside iron.
    """
    if not FIRST_YEAR <= on.year <= LAST_YEAR:
        return None
    start = date(on.year, 1, 1)
    decimal_year = on.year + (on - start).days / (date(on.year + 1, 1, 1) - start).days
    model = pygeomag.GeoMag(coefficients_file=COEFFICIENTS)
    result = model.calculate(glat=latitude_deg, glon=longitude_deg, alt=0, time=decimal_year)
    return Declination(float(result.d), on)
