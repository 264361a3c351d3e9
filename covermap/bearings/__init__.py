"""bearings: where a compass points and where the sun stands. Numbers in, numbers out."""

from covermap.bearings.declination import FIRST_YEAR, LAST_YEAR, Declination, declination, declination_in_year
from covermap.bearings.sun import SunPosition, sun_position

__all__ = [
    "FIRST_YEAR",
    "LAST_YEAR",
    "Declination",
    "SunPosition",
    "declination",
    "declination_in_year",
    "sun_position",
]
