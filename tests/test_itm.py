"""The irregular terrain model against the agency's published cases and runs, and what must always hold."""

import math

import numpy as np
import pytest
from reference import check_values, read_rows, reference_path, reference_rows

import covermap
from covermap.errors import InputError
from covermap.propagation import Profile, itm_area_loss, itm_loss
from covermap.propagation.itm.diffraction import itm_knife_edge_db
from covermap.propagation.itm.limits import refuse_path
from covermap.propagation.itm.path import ItmPath
from covermap.propagation.itm.profile import fitted_ends_m, interdecile_range_m

ITM = "propagation/itm"
SITE = {
    "frequency_mhz": 600.0,
    "tx_height_m": 100.0,
    "rx_height_m": 10.0,
    "variability_mode": 3,
    "climate": 5,
    "n0": 301.0,
    "permittivity": 15.0,
    "conductivity_s_m": 0.005,
    "polarization": "horizontal",
}
AREA = SITE | {"delta_h_m": 90.0, "tx_siting": "random", "rx_siting": "random"}
ARGUMENTS = {
    "frequency_mhz": "f__mhz",
    "tx_height_m": "h_tx__meter",
    "rx_height_m": "h_rx__meter",
    "time_percent": "time",
    "location_percent": "location",
    "situation_percent": "situation",
    "variability_mode": "mdvar",
    "climate": "climate",
    "n0": "N_0",
    "permittivity": "epsilon",
    "conductivity_s_m": "sigma",
}
WHOLE = ("variability_mode", "climate")


def number(name, text):
    return int(text) if name in WHOLE else float(text)


def arguments_of(row):
    """Return the arguments of a row of the agency's own column names."""
    named = {name: number(name, row[theirs]) for name, theirs in ARGUMENTS.items()}
    return named | {"polarization": {"0": "horizontal", "1": "vertical"}[row["pol"]]}


def profile_of(name):
    rows = read_rows(reference_path(f"{ITM}/profiles") / f"{name}.csv")
    return Profile([float(row["d_m"]) / 1000.0 for row in rows], [float(row["h_m_amsl"]) for row in rows])


def assert_row_is_met(result, row, loss_db, within_db):
    assert result.loss_db == pytest.approx(loss_db, abs=within_db), row["case_id"]
    assert result.terms["warning_bits"] == float(row["warnings"]), row["case_id"]
    assert len(result.warnings) == int(row["warnings"]).bit_count(), row["case_id"]
    for name, value in result.terms.items():
        if name in row and not name.startswith("A_"):
            assert value == pytest.approx(float(row[name]), rel=1e-6, abs=1e-9), (row["case_id"], name)


@pytest.mark.parametrize("name", ["p2p.csv", "p2p_reference_runs.csv"])
def test_every_profile_case_is_met_with_its_horizons_and_warnings(name):
    # NTIA ITM 1.2.2: published to 0.01 dB; the agency's code run on further paths, all digits
    profiles = {}
    for row in reference_rows(f"{ITM}/{name}"):
        profile = profiles.setdefault(row["profile"], profile_of(row["profile"]))
        loss_db = float(row.get("A__db_published") or row["A__db"])
        assert_row_is_met(itm_loss(profile, **arguments_of(row)), row, loss_db, 0.01)


@pytest.mark.parametrize(("name", "within_db"), [("area.csv", 0.05), ("area_reference_runs.csv", 0.01)])
def test_every_area_case_is_met_with_its_horizons_and_warnings(name, within_db):
    # NTIA ITM 1.2.2: published to 0.1 dB; the agency's code run on further cases, all digits
    for row in reference_rows(f"{ITM}/{name}"):
        result = itm_area_loss(
            float(row["d__km"]),
            delta_h_m=float(row["delta_h__meter"]),
            tx_siting=int(row["tx_siting_criteria"]),
            rx_siting=int(row["rx_siting_criteria"]),
            **arguments_of(row),
        )
        assert_row_is_met(result, row, float(row.get("A__db_published") or row["A__db"]), within_db)


@pytest.mark.parametrize("row", check_values("itm_loss.csv"), ids=lambda row: row["table"])
def test_published_cases_are_met(row):
    arguments = {name: number(name, row[name]) for name in ARGUMENTS}
    arguments["polarization"] = row["polarization"]
    if row["profile"]:
        points = [point for point in check_values("itm_profiles.csv") if point["table"] == row["profile"]]
        result = itm_loss(
            Profile(*([float(point[name]) for point in points] for name in ("distance_km", "ground_m"))),
            **arguments,
        )
    else:
        result = itm_area_loss(
            float(row["distance_km"]),
            delta_h_m=float(row["delta_h_m"]),
            tx_siting=int(row["tx_siting"]),
            rx_siting=int(row["rx_siting"]),
            **arguments,
        )
    within_db = float(row["published_digits_db"]) + 1e-3  # half the last printed digit, and rounding
    assert result.loss_db == pytest.approx(float(row["published_db"]), abs=within_db)
    assert result.terms["mode"] == float(row["mode"])
    assert result.terms["warning_bits"] == float(row["warning_bits"])
    assert result.terms["return_code"] == float(row["warning_bits"] != "0")


@pytest.mark.parametrize("siting", ["random", "careful", "very_careful"])
def test_better_sites_never_lose_more(siting):
    plain = itm_area_loss(30.0, **AREA)
    sited = itm_area_loss(30.0, **AREA | {"rx_siting": siting})
    assert sited.loss_db <= plain.loss_db


@pytest.mark.parametrize(
    ("name", "less", "more"),
    [
        ("time_percent", 50, 90),  # a loss not exceeded for more of the time is greater
        ("location_percent", 50, 90),
        ("situation_percent", 50, 90),
        ("delta_h_m", 10.0, 200.0),
        ("distance_km", 40.0, 60.0),
    ],
)
def test_loss_rises(name, less, more):
    losses = []
    for value in (less, more):
        arguments = {"distance_km": 40.0} | AREA | {name: value}
        losses.append(itm_area_loss(arguments.pop("distance_km"), **arguments).loss_db)
    assert losses[0] < losses[1]


def test_climate_and_siting_answer_to_number_and_word():
    by_word = itm_area_loss(30.0, **AREA | {"climate": "desert", "tx_siting": "very_careful"})
    by_number = itm_area_loss(30.0, **AREA | {"climate": 4, "tx_siting": 2})
    assert by_word.loss_db == by_number.loss_db


@pytest.mark.parametrize(
    ("mode", "name"),
    [(13, "location_percent"), (33, "location_percent"), (0, "time_percent"), (1, "location_percent")],
)
def test_modes_leave_out_the_variability_they_name(mode, name):
    # what a mode leaves out cannot depend on that percentage
    arguments = AREA | {"variability_mode": mode}
    low, high = (itm_area_loss(30.0, **arguments | {name: value}).loss_db for value in (50, 80))
    assert low == high


@pytest.mark.parametrize(("start", "end"), [(0.0, 39.0), (3.7, 20.2), (10.2, 10.9)])
def test_a_line_through_a_slope_is_the_slope(start, end):
    # hand calculation: heights 3 + 2 i are a straight line, whichever part of it is fitted
    ground_m = 3.0 + 2.0 * np.arange(40.0)
    assert fitted_ends_m(ground_m, 39, start, end) == pytest.approx((3.0, 81.0))


def test_a_slope_has_no_relief():
    ground_m = 3.0 + 2.0 * np.arange(40.0)
    assert interdecile_range_m(ground_m, 39, 100.0, 0.0, 3900.0) == pytest.approx(0.0, abs=1e-9)


def test_roughness_of_a_comb_is_its_depth_scaled_to_a_long_path():
    # hand calculation: half of the heights at +20 m, half at -20 m, over 60 km:
    # 40 / (1 - 0.8 exp(-60 / 50)) = 52.7 m, sampled between the teeth a little less
    ground_m = np.repeat(np.tile([20.0, -20.0], 30), 10)
    range_m = interdecile_range_m(ground_m, 599, 100.0, 0.0, 59900.0)
    assert range_m == pytest.approx(40.0 / (1.0 - 0.8 * math.exp(-59.9 / 50.0)), rel=0.03)


@pytest.mark.parametrize(
    ("nu_squared", "exact_db"),
    [(0.0, 6.0206), (1.0, 13.86), (100.0, 32.95)],  # exact Fresnel integrals; ITU-R P.526 at nu = 0, 1, 10
)
def test_knife_edge_is_near_the_exact_integral(nu_squared, exact_db):
    assert itm_knife_edge_db(nu_squared) == pytest.approx(exact_db, abs=0.2)


def hill():
    distance_km = np.linspace(0.0, 30.0, 301)
    return Profile(distance_km, 100.0 + 200.0 * np.exp(-(((distance_km - 18.0) / 2.0) ** 2)))


def test_unevenly_spaced_points_and_clutter_are_named():
    even = hill()
    clutter_m = np.full(301, 10.0)
    kept = np.arange(301) % 7 != 3
    kept[-1] = True
    uneven = Profile(even.distance_km[kept], even.ground_m[kept], clutter_m[kept])
    result = itm_loss(uneven, **SITE)
    assert any("unevenly spaced" in warning for warning in result.warnings)
    assert any("no clutter" in warning for warning in result.warnings)
    assert result.loss_db == pytest.approx(itm_loss(even, **SITE).loss_db, abs=1.0)
    assert not itm_loss(even, **SITE).warnings


@pytest.mark.parametrize(
    ("changed", "code", "words"),
    [
        # error numbers of the agency's code, NTIA ITM 1.4
        ({"tx_height_m": 0.4}, 1000, "tx_height_m must be 0.5 to 3000, got 0.4"),
        ({"rx_height_m": 3001.0}, 1001, "rx_height_m must be 0.5 to 3000"),
        ({"climate": 8}, 1002, "climate must be 1 to 7 or one of equatorial"),
        ({"climate": "tropical"}, 1002, "got 'tropical'"),
        ({"time_percent": 100}, 1003, "time_percent must be above 0 and below 100"),
        ({"location_percent": 0}, 1004, "location_percent"),
        ({"situation_percent": 100}, 1005, "situation_percent"),
        ({"n0": 249}, 1008, "n0 must be 250 to 400"),
        ({"frequency_mhz": 19}, 1009, "frequency_mhz must be 20 to 20000"),
        ({"permittivity": 0.9}, 1011, "permittivity must be 1 or more"),
        ({"conductivity_s_m": 0.0}, 1012, "conductivity_s_m must be greater than 0"),
        ({"variability_mode": 4}, 1014, "variability_mode must be 0 to 3, plus 10, 20 or 30"),
        ({"distance_km": 0.0}, 1017, "distance_km must be greater than 0"),
        ({"delta_h_m": -1.0}, 1018, "delta_h_m must not be negative"),
        ({"tx_siting": 3}, 1019, "tx_siting must be 0 to 2"),
        ({"rx_siting": "lucky"}, 1020, "got 'lucky'"),
    ],
)
def test_a_value_without_an_answer_is_refused_with_the_published_number(changed, code, words):
    arguments = {"distance_km": 30.0} | AREA | changed
    with pytest.raises(InputError, match=words) as caught:
        itm_area_loss(arguments.pop("distance_km"), **arguments)
    assert caught.value.code == code


def test_ground_too_high_for_its_refractivity_is_refused():
    plateau = Profile([0.0, 10.0, 20.0, 30.0], [8000.0] * 4)  # 250 exp(-8000 / 9460) = 107 N-units
    with pytest.raises(InputError, match="comes to 107 N-units") as caught:
        itm_loss(plateau, **SITE | {"n0": 250.0})
    assert caught.value.code == 1021


def test_ground_more_reactive_than_resistive_is_refused():
    path = ItmPath(30e3, 100.0, 10.0, 100.0, 10.0, 41e3, 13e3, -0.005, -0.002, 90.0, 301.0, 8.5e6, True)
    refuse_path(path, complex(3.0, -2.9))
    with pytest.raises(InputError, match="more reactive than resistive") as caught:
        refuse_path(path, complex(3.0, -3.0))
    assert caught.value.code == 1013


@pytest.mark.parametrize(
    ("changed", "bits"),
    [
        ({"tx_height_m": 0.7}, 1),
        ({"rx_height_m": 1200.0}, 2),
        ({"frequency_mhz": 30.0}, 4),
        ({"distance_km": 1200.0}, 8),
        ({"distance_km": 2100.0}, 8 + 16),
        ({"distance_km": 0.5}, 64),
        ({"distance_km": 0.3}, 32 + 64),  # heights differ by 90 m: shortest 90 / 0.2 = 450 m
        ({"time_percent": 99.95}, 8192),
    ],
)
def test_each_doubt_has_its_bit(changed, bits):
    arguments = {"distance_km": 30.0} | AREA | changed
    result = itm_area_loss(arguments.pop("distance_km"), **arguments)
    assert result.terms["warning_bits"] == bits
    assert math.isfinite(result.loss_db)


def test_the_public_door_has_both_modes():
    assert covermap.itm_loss is itm_loss
    assert covermap.itm_area_loss is itm_area_loss
