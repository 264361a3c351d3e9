import math
from dataclasses import replace

import pytest

from covermap.errors import InputError
from covermap.reception import receiving_chain
from covermap.reception.chain import (
    cable_loss_db,
    carrier_to_noise_db,
    receiver_noise_factor,
    system_noise_factor,
)
from covermap.reception.tiers import Distribution
from covermap.tables import read_tiers

THERMAL_NOISE_DBM = -106.2  # kTB in 6 MHz, 47 CFR planning factors (OET Bulletin 69)


def decibels(ratio):
    return 10.0 * math.log10(ratio)


@pytest.mark.parametrize(
    ("frequency_mhz", "loss_db"),
    [(69, 5.9), (195, 10.0), (500, 16.0)],  # RG-6 per 100 m, common practice
)
def test_cable_loss_grows_with_the_root_of_frequency(frequency_mhz, loss_db):
    assert cable_loss_db(frequency_mhz, 100.0) == pytest.approx(loss_db, abs=0.06)


@pytest.mark.parametrize(
    ("loss_db", "amplifier_db", "noise_db", "f_r", "f_sys", "cn"),
    [
        # Friis by hand: 575 MHz, E 45, G 10, F_a 1, cable 5.2 and splitter 7.5, NF 7
        (5.2 + 7.5, math.nan, math.nan, 19.7, 19.8, 11.2),
        (5.2 + 7.5, 18.0, 2.0, 4.8, 5.2, 25.8),
    ],
)
def test_chain_at_575_mhz(loss_db, amplifier_db, noise_db, f_r, f_sys, cn):
    factor = receiver_noise_factor(loss_db, amplifier_db, noise_db, 7.0)
    system = system_noise_factor(1.0, 0.0, factor)
    assert decibels(factor) == pytest.approx(f_r, abs=0.1)
    assert decibels(system) == pytest.approx(f_sys, abs=0.1)
    assert carrier_to_noise_db(45.0, 575.0, 6.0, 10.0, system) == pytest.approx(cn, abs=0.1)


@pytest.mark.parametrize(
    ("frequency_mhz", "gain_dbd", "loss_db", "amplifier", "external_noise_db", "cn"),
    [
        # Friis by hand; external noise of ITU-R P.372-17, residential: 9.1 and 21.6 dB
        (195.0, 8.0, 3.0 + 7.5, False, 9.06, 20.3),
        (195.0, 8.0, 3.0 + 7.5, True, 9.06, 28.6),
        (195.0, 8.0, 3.0 + 7.5, True, 0.0, 34.4),
        (69.0, 4.0, 1.8 + 7.5, False, 21.56, 20.7),
        (69.0, 4.0, 1.8 + 7.5, True, 21.56, 21.8),
    ],
)
def test_external_noise_limits_what_an_amplifier_brings(
    frequency_mhz, gain_dbd, loss_db, amplifier, external_noise_db, cn
):
    factor = receiver_noise_factor(loss_db, 18.0 if amplifier else math.nan, 2.0, 7.0)
    system = system_noise_factor(external_noise_db, 0.0, factor)
    assert carrier_to_noise_db(45.0, frequency_mhz, 6.0, gain_dbd, system) == pytest.approx(cn, abs=0.1)


@pytest.mark.parametrize(
    ("frequency_mhz", "gain_dbd", "cable_db", "external_noise_db", "f_sys", "cn"),
    [
        (69.0, -8.0, 0.1, 25.86, 26.2, 33.2),  # city; by hand: l_a 6.31, w 0.92
        (545.0, -2.0, 0.3, 3.0, 9.8, 31.6),
    ],
)
def test_what_a_lossy_antenna_loses_dims_external_noise_too(
    frequency_mhz, gain_dbd, cable_db, external_noise_db, f_sys, cn
):
    system = system_noise_factor(
        external_noise_db, -gain_dbd, receiver_noise_factor(cable_db, math.nan, 0.0, 7.0)
    )
    assert decibels(system) == pytest.approx(f_sys, abs=0.1)
    assert carrier_to_noise_db(65.0, frequency_mhz, 6.0, 0.0, system) == pytest.approx(cn, abs=0.1)


def test_share_of_external_noise():
    # by hand: 69 MHz, gain -8 dBd, cable 0.1 dB, city: F_r 7.1, w 0.92
    shelf = replace(read_tiers()[1], cable_m=100.0 * 0.1 / (16.0 * math.sqrt(69.0 / 500.0)))
    chain = receiving_chain(shelf, 69.0, external_noise_db=25.86)
    assert chain.receiver_noise_db == pytest.approx(7.1, abs=0.05)
    assert chain.external_noise_share == pytest.approx(0.92, abs=0.005)


def test_one_chain_by_hand():
    # by hand: rooftop and amplifier, F_sys 3.93 dB; 61.6 + 10 - 14 - 129.30 + 106.2 - 3.93 = 30.57
    chain = receiving_chain(read_tiers()[6], 515.0, external_noise_db=1.0)
    assert chain.system_noise_db == pytest.approx(3.93, abs=0.01)
    assert 61.6 - 14.0 + chain.cn_minus_field_db == pytest.approx(30.57, abs=0.02)


def test_kt0b_of_six_megahertz():
    # C/N of 0 dBuV/m on a dipole with a noiseless receiver is Kd - kT0B: Kd(615) = -130.8 (OET Bulletin 69)
    assert carrier_to_noise_db(0.0, 615.0, 6.0, 0.0, 1.0) == pytest.approx(
        -130.8 - THERMAL_NOISE_DBM, abs=0.06
    )


@pytest.mark.parametrize("frequency_mhz", [69.0, 195.0, 545.0])
def test_three_decibels_more_gain_is_three_decibels_less_field_from_0_dbd_up(frequency_mhz):
    tier = read_tiers()[5]
    more = replace(
        tier,
        gain_dbd={band: gain + 3.0 for band, gain in tier.gain_dbd.items()},
        directivity_dbd={band: gain + 3.0 for band, gain in tier.directivity_dbd.items()},
    )
    base = receiving_chain(tier, frequency_mhz, external_noise_db=9.0)
    better = receiving_chain(more, frequency_mhz, external_noise_db=9.0)
    # The carrier gains 3 dB, and noise is referred to a lossless antenna: directivity less gain is 0 dB in
    # both.
    assert better.cn_minus_field_db - base.cn_minus_field_db == pytest.approx(3.0, abs=1e-9)


@pytest.mark.parametrize(("frequency_mhz", "noise_db"), [(69.0, 25.9), (545.0, 3.0)])
def test_two_decibels_more_of_a_negative_gain_help_less(frequency_mhz, noise_db):
    shelf = read_tiers()[1]
    better = replace(shelf, gain_dbd={band: gain + 2.0 for band, gain in shelf.gain_dbd.items()})
    gained = (
        receiving_chain(better, frequency_mhz, external_noise_db=noise_db).cn_minus_field_db
        - receiving_chain(shelf, frequency_mhz, external_noise_db=noise_db).cn_minus_field_db
    )
    # 2 dB of gain lift the carrier by 2 dB, but also what comes in of the noise from outside.
    assert 0.0 < gained < 2.0


def test_wrong_frequency_is_named():
    with pytest.raises(InputError, match=r"frequency_mhz must be greater than 0, got -5"):
        receiving_chain(read_tiers()[5], -5.0, external_noise_db=1.0)


@pytest.mark.parametrize(
    ("mast_amplifier", "f_r"),
    [
        # Friis by hand at 575 MHz: cable 5.2 dB, in the house 14 dB / NF 4.5, splitter 7.5, tuner 7:
        # behind it 14.5 dB = 28.2; 2.82 + 27.2 / 25.1 = 3.90; times 3.31 of the cable = 12.9
        (False, 11.1),
        # and a masthead amplifier 18 dB / NF 2 in front: 1.585 + 11.9 / 63.1 = 1.77
        (True, 2.5),
    ],
)
def test_an_amplifier_in_the_house_stands_behind_the_cable(mast_amplifier, f_r):
    cable_m = 5.2 / (16.0 * math.sqrt(575.0 / 500.0)) * 100.0
    tier = replace(
        read_tiers()[5],
        cable_m=cable_m,
        passive_loss_db=7.5,
        distribution=Distribution(14.0, 4.5, math.inf, math.inf, cable_m=0.0),
    )
    if mast_amplifier:
        tier = replace(tier, amplifier_gain_db=18.0, amplifier_noise_figure_db=2.0)
    chain = receiving_chain(tier, 575.0, external_noise_db=1.0)
    assert chain.receiver_noise_db == pytest.approx(f_r, abs=0.05)


def test_cable_behind_an_amplifier_in_the_house_costs_less_than_before_it():
    near = replace(read_tiers()[5], cable_m=10.0, distribution=Distribution(14.0, 4.5, 0.0, 0.0, 25.0))
    far = replace(read_tiers()[5], cable_m=25.0, distribution=Distribution(14.0, 4.5, 0.0, 0.0, 10.0))
    noise = [receiving_chain(tier, 615.0, external_noise_db=1.0).receiver_noise_db for tier in (near, far)]
    assert noise[1] - noise[0] > 1.0  # 15 m of RG-6 at 615 MHz are 2.7 dB
