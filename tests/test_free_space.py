"""Free space, and how loss, field and power turn into each other."""

import math

import pytest

from covermap.errors import InputError
from covermap.propagation import field_from_loss, free_space_field, power_from_field
from covermap.propagation.free_space import (
    dipole_factor_db,
    free_space_loss_db,
    thermal_noise_dbm,
)
from covermap.propagation.path_geometry import median_radius_km
from covermap.propagation.sight import earth_bulge_m, fresnel_radius_m


@pytest.mark.parametrize(
    ("erp_kw", "distance_km", "field_dbuvm"),
    [
        (1.0, 1.0, 106.92),  # ITU-R P.525: 1 kW from a dipole at 1 km
        (1.0, 10.0, 86.92),  # the same: 20 dB a decade of distance
        (100.0, 50.0, 92.94),  # 106.92 + 20 - 33.98
    ],
)
def test_free_space_field_matches_p525(erp_kw, distance_km, field_dbuvm):
    assert free_space_field(erp_kw, distance_km) == pytest.approx(field_dbuvm, abs=0.005)


@pytest.mark.parametrize(
    ("call", "expected", "within"),
    [
        # ITU-R P.1812-8 section 4.2, along the slant: 92.4 + 20 log 0.6 + 10 log(3^2 + 4^2)
        (lambda: free_space_loss_db(3.0, 4100.0, 100.0, 0.6), 101.942, 0.001),
        # ITU-R P.1812-8 validation case b2iseac__1: 95.3 MHz, Lb 129.0969126 dB, Ep 49.84494546 dB(uV/m)
        (lambda: field_from_loss(129.0969126, 1.0, 95.3), 49.84494546, 1e-7),
        # OET Bulletin 69's dipole factor: 60 dB(uV/m), 10 dBd, 615 MHz: 60 + 10 - 130.84 dBm
        (lambda: power_from_field(60.0, 10.0, 615.0), -60.84, 0.005),
        (lambda: thermal_noise_dbm(6e6), -106.2, 0.05),  # ISED BPR-10, appendix 8
        # ITU-R P.526-16 section 2: 550 sqrt(30 x 5 / (35 x 600)) = 46.5 m
        (lambda: fresnel_radius_m(30.0, 5.0, 600.0), 46.5, 0.05),
    ],
    ids=["loss along the slant", "field of a loss", "power of a field", "thermal noise", "Fresnel zone"],
)
def test_figures_by_hand_or_printed(call, expected, within):
    assert call() == pytest.approx(expected, abs=within)


def test_field_from_loss_adds_the_power():
    # 10 log(15 kW) = 11.76 dB above 1 kW
    raised_db = field_from_loss(120.0, 15.0, 600.0) - field_from_loss(120.0, 1.0, 600.0)
    assert raised_db == pytest.approx(11.76, abs=0.005)


def test_free_space_by_loss_and_by_field_agree():
    # P.1812's constants give 106.96 at 1 km, P.525's 106.92: 0.04 dB apart by rounding
    by_loss = field_from_loss(free_space_loss_db(1.0, 0.0, 0.0, 0.6), 1.0, 600.0)
    assert by_loss == pytest.approx(106.96, abs=0.001)
    assert by_loss - free_space_field(1.0, 1.0) == pytest.approx(0.04, abs=0.001)


def test_unknown_loss_is_unknown_field():
    assert math.isnan(field_from_loss(math.nan, 1.0, 600.0))


@pytest.mark.parametrize(
    ("frequency_mhz", "factor_db"),
    [(69, -111.8), (194, -120.8), (615, -130.8)],  # OET Bulletin 69, table 3, printed to 0.1 dB
)
def test_dipole_factor_matches_oet_69(frequency_mhz, factor_db):
    assert dipole_factor_db(frequency_mhz) == pytest.approx(factor_db, abs=0.051)


def test_bulge_and_radius_by_hand():
    # ITU-R P.1812-8 section 4.1: 6371 x 157/112 = 8931 km; 30 x 5/(2 x 8931) km = 8.4 m
    radius_km = median_radius_km(45.0)
    assert radius_km == pytest.approx(8931, abs=0.5)
    assert earth_bulge_m(30.0, 5.0, radius_km) == pytest.approx(8.4, abs=0.05)


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        (lambda: free_space_field(0, 1), "erp_kw must be greater than 0, got 0"),
        (lambda: free_space_field(1, -2), "distance_km must be greater than 0, got -2"),
        (lambda: field_from_loss(math.inf, 1, 600), "got inf"),
        (lambda: field_from_loss(100, 1, "UHF"), "got 'UHF'"),
        (lambda: field_from_loss("far", 1, 600), "got 'far'"),
        (lambda: power_from_field(60, 10, 0), "frequency_mhz must be greater than 0, got 0"),
    ],
)
def test_bad_input_is_refused_with_its_value(call, shown):
    with pytest.raises(InputError, match=shown):
        call()
