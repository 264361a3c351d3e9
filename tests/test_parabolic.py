"""The parabolic equation against closed forms: two rays, one and many edges, a wedge, the smooth earth."""

import math

import numpy as np
import pytest
from scipy.special import fresnel

from covermap.errors import InputError
from covermap.propagation import Profile
from covermap.propagation.parabolic import SPEED_OF_LIGHT_M_US, ParabolicGrid, propagation_factor
from covermap.propagation.spherical_earth import first_term_loss_db, line_of_sight_limit_km

OVER_NOTHING_M = 2000.0  # antennas above an absorbing bottom: no ground
FREE = ParabolicGrid(
    step_m=25.0, cell_wavelengths=0.9, margin_m=1500.0, absorber_m=1500.0, bottom_absorber_m=1000.0
)


def flat(length_m, slope=0.0):
    start_m = 1000.0
    return Profile([0.0, length_m / 1000.0], [start_m, start_m + slope * length_m])


def db(values):
    return 20.0 * np.log10(np.maximum(np.abs(values), 1e-12))


def edge_field(v):
    """Complex field behind a half plane over free space's: exact Fresnel integrals."""
    s, c = fresnel(v)
    return 0.5 * (1.0 + 1.0j) * ((0.5 - c) - 1.0j * (0.5 - s))


@pytest.mark.parametrize(
    ("frequency_mhz", "tx_height_m", "distance_m"),
    [(69.0, 100.0, 20e3), (195.0, 30.0, 5e3), (195.0, 300.0, 20e3), (600.0, 100.0, 10e3)],
)
def test_two_rays_over_a_flat_earth(frequency_mhz, tx_height_m, distance_m):
    # exact: direct ray less its image, by the difference of their lengths
    rx_m = np.linspace(2.0, 60.0, 59)
    k = 2.0 * math.pi * frequency_mhz / SPEED_OF_LIGHT_M_US
    lengths = np.hypot(distance_m, tx_height_m + rx_m), np.hypot(distance_m, tx_height_m - rx_m)
    exact_db = db(2.0 * np.sin(0.5 * k * (lengths[0] - lengths[1])))
    _, factor = propagation_factor(
        flat(distance_m), frequency_mhz=frequency_mhz, tx_height_m=tx_height_m, rx_heights_m=rx_m, dn=None
    )
    lit = exact_db > -15.0
    assert lit.sum() > 10
    assert np.abs(db(factor[-1]) - exact_db)[lit].max() < 0.05


def in_free_space_db(frequency_mhz, distance_m, edges, grid=FREE):
    """Loss at 0 m behind edges at (distance, height), heights about the line between the antennas."""
    _, factor = propagation_factor(
        flat(distance_m),
        frequency_mhz=frequency_mhz,
        tx_height_m=OVER_NOTHING_M,
        rx_heights_m=[OVER_NOTHING_M],
        dn=None,
        edges=[(at_m, 1000.0 + OVER_NOTHING_M + height_m) for at_m, height_m in edges],
        grid=grid,
    )
    return -float(db(factor[-1, 0]))


@pytest.mark.parametrize("v", [-0.8, 0.0, 1.0, 3.0])
@pytest.mark.parametrize(("before_m", "behind_m"), [(10e3, 10e3), (20e3, 2e3)])
def test_one_edge_by_the_fresnel_integral(v, before_m, behind_m):
    frequency_mhz = 195.0
    wavelength_m = SPEED_OF_LIGHT_M_US / frequency_mhz
    height_m = v / math.sqrt(2.0 * (before_m + behind_m) / (wavelength_m * before_m * behind_m))
    # by the difference of path lengths: the small-angle parameter is 0.5 dB off where the bend passes 5 deg
    longer_m = math.hypot(before_m, height_m) + math.hypot(behind_m, height_m) - before_m - behind_m
    exact_db = -float(db(edge_field(math.copysign(2.0 * math.sqrt(longer_m / wavelength_m), v))))
    found_db = in_free_space_db(frequency_mhz, before_m + behind_m, [(before_m, height_m)])
    assert found_db == pytest.approx(exact_db, abs=0.2)


def two_edges_db(frequency_mhz, spans_m, heights_m):
    """Loss behind two edges by Kirchhoff's integral over the second aperture, summed numerically."""
    d1, d2, d3 = spans_m
    h1, h2 = heights_m
    wavelength_m = SPEED_OF_LIGHT_M_US / frequency_mhz
    k = 2.0 * math.pi / wavelength_m
    span_m = 25.0 * math.sqrt(wavelength_m * max(d2, d3))
    step_m = 0.1 / (k * (abs(h2) + span_m) * (1.0 / d2 + 1.0 / d3))
    z = h2 + step_m * (np.arange(int(span_m / step_m)) + 0.5)
    v = (h1 - z * d1 / (d1 + d2)) * math.sqrt(2.0 * (d1 + d2) / (wavelength_m * d1 * d2))
    field = np.conj(edge_field(v)) * np.exp(1j * k * z**2 / (2.0 * (d1 + d2)))
    window = 0.5 * (1.0 + np.cos(np.pi * np.clip(2.0 * (z - h2) / span_m - 1.0, 0.0, 1.0)))
    total = np.sum(field * window * np.exp(1j * k * z**2 / (2.0 * d3))) * (z[1] - z[0])
    free = np.sqrt(1j * wavelength_m * d3 * (d1 + d2) / (d1 + d2 + d3))
    return -float(db(total / free))


@pytest.mark.parametrize(
    ("frequency_mhz", "spans_m", "heights_m"),
    [
        (69.0, (10e3, 10e3, 10e3), (100.0, 60.0)),
        (195.0, (10e3, 3e3, 10e3), (80.0, 80.0)),
        (195.0, (5e3, 15e3, 5e3), (150.0, 20.0)),
    ],
)
def test_two_edges_by_kirchhoffs_integral(frequency_mhz, spans_m, heights_m):
    edges = [(spans_m[0], heights_m[0]), (spans_m[0] + spans_m[1], heights_m[1])]
    found_db = in_free_space_db(frequency_mhz, sum(spans_m), edges)
    assert found_db == pytest.approx(two_edges_db(frequency_mhz, spans_m, heights_m), abs=0.1)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_grazing_edges_in_a_row(count):
    # n equal, equally spaced edges on the line of sight lose 20 log10(n + 1) (known result, from memory)
    edges = [(at_m - 1.0, 0.0) for at_m in np.linspace(0.0, 20e3, count + 2)[1:-1]]
    grid = ParabolicGrid(50.0, 0.9, bottom_absorber_m=990.0)
    found_db = in_free_space_db(195.0, 20e3, edges, grid)
    assert found_db == pytest.approx(20.0 * math.log10(count + 1), abs=0.05)


@pytest.mark.parametrize(("frequency_mhz", "distance_km"), [(69.0, 80.0), (195.0, 80.0), (195.0, 70.0)])
def test_smooth_earth_beyond_the_horizon(frequency_mhz, distance_km):
    # ITU-R P.526, first residue, horizontal, land; one residue is not enough near the horizon
    radius_km = 6371.0 * 157.0 / (157.0 - 45.0)
    assert distance_km > 1.1 * line_of_sight_limit_km(100.0, 10.0, radius_km)
    exact_db = first_term_loss_db(distance_km, 100.0, 10.0, radius_km, frequency_mhz / 1000.0, False, 0.0)
    _, factor = propagation_factor(
        flat(1000.0 * distance_km), frequency_mhz=frequency_mhz, tx_height_m=100.0, rx_heights_m=[10.0]
    )
    assert -float(db(factor[-1, 0])) == pytest.approx(exact_db, abs=0.8)


def wedge_db(frequency_mhz, slope, rx_m):
    """Mean-power loss behind a conducting wedge by the uniform theory (Kouyoumjian and Pathak), soft faces.

    Transmitter 100 m over the foot 3 km before the top, receivers rx_m over the far face 1.5 km behind.
    """
    k = 2.0 * math.pi * frequency_mhz / SPEED_OF_LIGHT_M_US
    tilt = math.atan(slope)
    n = (math.pi + 2.0 * tilt) / math.pi
    below_tx_m, below_rx_m = 3000.0 * slope - 100.0, 1500.0 * slope - rx_m
    before_m, behind_m = math.hypot(3000.0, below_tx_m), np.hypot(1500.0, below_rx_m)
    phi_in = tilt - math.atan2(below_tx_m, 3000.0)
    phi_out = math.pi + tilt + np.arctan2(below_rx_m, 1500.0)
    length_m = before_m * behind_m / (before_m + behind_m)

    def transition(x):
        s, c = fresnel(np.sqrt(2.0 * x / np.pi))
        return 2j * np.sqrt(x) * np.exp(1j * x) * math.sqrt(math.pi / 2.0) * ((0.5 - c) - 1j * (0.5 - s))

    total = 0.0
    for sign, beta in ((1.0, phi_out - phi_in), (-1.0, phi_out + phi_in)):
        for side in (1.0, -1.0):
            turns = np.round((beta + side * math.pi) / (2.0 * math.pi * n))
            a = 2.0 * np.cos((2.0 * math.pi * n * turns - beta) / 2.0) ** 2
            total += sign / np.tan((math.pi + side * beta) / (2.0 * n)) * transition(k * length_m * a)
    coefficient = -np.exp(-0.25j * math.pi) / (2.0 * n * math.sqrt(2.0 * math.pi * k)) * total
    field = coefficient * np.sqrt((before_m + behind_m) / (before_m * behind_m))
    return -10.0 * math.log10(float(np.mean(np.abs(field) ** 2)))


@pytest.mark.parametrize("slope", [0.05, 0.1, 0.2])
def test_a_conducting_wedge_by_the_uniform_theory(slope):
    rx_m = np.linspace(8.0, 12.0, 9)
    top = Profile([0.0, 3.0, 4.5], [0.0, 3000.0 * slope, 1500.0 * slope])
    _, factor = propagation_factor(top, frequency_mhz=195.0, tx_height_m=100.0, rx_heights_m=rx_m, dn=None)
    found_db = -10.0 * math.log10(float(np.mean(factor[-1] ** 2)))
    assert found_db == pytest.approx(wedge_db(195.0, slope, rx_m), abs=1.0)


def test_the_field_is_kept_over_the_last_stretch():
    range_m, factor = propagation_factor(
        flat(5e3), frequency_mhz=69.0, tx_height_m=50.0, rx_heights_m=[8.0, 10.0], last_m=200.0
    )
    assert range_m == pytest.approx([4800.0, 4850.0, 4900.0, 4950.0, 5000.0])
    assert factor.shape == (5, 2)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"frequency_mhz": 0.0}, "frequency_mhz must be greater than 0"),
        ({"tx_height_m": -1.0}, "tx_height_m must be greater than 0"),
        ({"rx_heights_m": []}, "rx_heights_m must be heights of 0 or more"),
        ({"dn": 200.0}, "dn must be positive and under 157"),
        ({"profile": [0.0, 1.0]}, "profile must be a Profile"),
    ],
)
def test_what_cannot_be_solved_is_refused(changed, words):
    arguments = {"profile": flat(5e3), "frequency_mhz": 69.0, "tx_height_m": 50.0, "rx_heights_m": [10.0]}
    arguments |= changed
    with pytest.raises(InputError, match=words):
        propagation_factor(arguments.pop("profile"), **arguments)
