"""Magnetic declination against the model's published values; the sun against printed examples."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from covermap.bearings import compass_day, declination, declination_in_year, own_day, sun_position
from covermap.bearings.sun import sun_equatorial
from covermap.errors import InputError
from tests.reference import reference_rows


def test_declination_of_every_published_row():
    # WMM2025 test values, NOAA NCEI and the British Geological Survey, printed to 0.01 degrees
    rows = reference_rows("magnetic/wmm2025_test_values_100.csv")
    assert len(rows) == 100
    for row in rows:
        found = declination_in_year(
            float(row["lat_deg"]),
            float(row["lon_deg"]),
            float(row["decimal_year"]),
            float(row["altitude_km_wgs84"]),
        )
        assert found == pytest.approx(float(row["declination_deg"]), abs=0.0051)


@pytest.mark.parametrize(
    ("on", "known"), [(date(2024, 12, 31), False), (date(2029, 12, 31), True), (date(2030, 1, 2), False)]
)
def test_declination_is_not_guessed_outside_the_models_years(on, known):
    assert (declination(44.0, -35.0, on) is not None) == known


def test_a_year_outside_the_models_is_refused():
    with pytest.raises(InputError, match="decimal_year is 2031"):
        declination_in_year(44.0, -35.0, 2031.0)


def test_magnetic_bearing_is_true_bearing_less_declination():
    found = declination(42.0, -111.8, date(2026, 9, 1))
    assert found is not None
    assert found.magnetic_deg(5.0) == pytest.approx((5.0 - found.declination_deg) % 360.0)
    assert found.in_words().endswith("east")


def test_sun_of_the_printed_example():
    # Meeus, Astronomical Algorithms, 2nd ed., example 25.a: 1992 October 13, 0 h TD (values from memory)
    right_ascension_deg, declination_deg = sun_equatorial(2448908.5)
    assert right_ascension_deg == pytest.approx(198.38083, abs=0.0001)
    assert declination_deg == pytest.approx(-7.78507, abs=0.0001)


def test_suns_bearing_of_the_printed_example():
    # NREL/TP-560-34302 (Reda and Andreas), appendix A.5: azimuth 194.34024, zenith angle 50.11162 degrees
    # (values from memory; the zenith angle there has refraction, 0.02 degrees, taken off here)
    moment = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    sun = sun_position(39.742476, -105.1786, moment)
    assert sun.azimuth_deg == pytest.approx(194.340, abs=0.02)
    assert sun.elevation_deg == pytest.approx(90.0 - 50.11162 - 0.016, abs=0.02)


def test_sun_stands_south_at_its_highest_and_wants_a_zone():
    noon = sun_position(51.48, 0.0, datetime(2026, 4, 15, 12, 0, 0, tzinfo=UTC))
    # the equation of time is 0 within half a minute on 15 April: common almanac knowledge, no source
    assert noon.azimuth_deg == pytest.approx(180.0, abs=0.3)
    with pytest.raises(InputError, match="has no zone"):
        sun_position(51.48, 0.0, datetime(2026, 4, 15, 12))


@pytest.mark.parametrize(
    ("as_of", "day"),
    [
        ("2026-09-01", date(2026, 9, 1)),
        ("2025-01-01", date(2025, 1, 1)),
        ("2024-12-31", None),  # the model begins on the next day
        ("2030-01-01", None),
        ("", None),
        ("last summer", None),
    ],
)
def test_bearings_of_a_result_are_of_the_stations_day_where_the_model_holds(as_of, day):
    assert own_day(as_of) == day
    assert compass_day(as_of) == (day or date.today())
