"""bearings: where a compass points and where the sun stands. Numbers in, numbers out."""

from covermap.bearings.declination import (
    FIRST_YEAR,
    LAST_YEAR,
    Declination,
    compass_day,
    declination,
    declination_in_year,
    own_day,
)
from covermap.bearings.sun import SunPosition, sun_position

__all__ = [
    "FIRST_YEAR",
    "LAST_YEAR",
    "Declination",
    "SunPosition",
    "compass_day",
    "declination",
    "declination_in_year",
    "own_day",
    "sun_position",
]
