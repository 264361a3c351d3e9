"""The receiving chain: from the field at an antenna to the carrier-to-noise ratio at the tuner."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from covermap.errors import InputError
from covermap.propagation.compiling import kernel
from covermap.propagation.free_space import dipole_factor_db, thermal_noise_dbm
from covermap.reception.tiers import AntennaFigures, Tier

CABLE_DB_PER_100_M = 16.0  # RG-6 at 500 MHz; common practice, no source
CABLE_REFERENCE_MHZ = 500.0
COMBINER_LOSS_DB = 3.5  # two antennas on one cable; common practice, no source
DIPLEXER_LOSS_DB = 0.75  # two antennas of different bands on one cable: 0.5 to 1; common practice, no source


# what stands in front of the rest of the chain, for each way of joining antennas
FRONT_LOSS_DB = {"single": 0.0, "combined": COMBINER_LOSS_DB, "diplexed": DIPLEXER_LOSS_DB}


@kernel
def power_ratio(level_db):
    """Return 10^(level_db / 10)."""
    return 10.0 ** (level_db / 10.0)


@kernel
def cable_loss_db(frequency_mhz, cable_m):
    """Return the loss of a cable, in dB.

    cable_m : length. NaN gives NaN.

    Source: common practice, no source: RG-6 loses 16 dB per 100 m at 500 MHz, growing as sqrt(f).
    Accuracy: within 1 dB per 100 m of makers' tables between 50 and 700 MHz.
    """
    return CABLE_DB_PER_100_M * math.sqrt(frequency_mhz / CABLE_REFERENCE_MHZ) * cable_m / 100.0


@kernel
def receiver_noise_factor(loss_db, amplifier_gain_db, amplifier_noise_figure_db, tuner_noise_figure_db):
    """Return the noise factor (a ratio, not dB) seen from the antenna's terminals.

    loss_db : cable and splitter between amplifier (or antenna) and tuner, at 290 K.
    amplifier_gain_db : NaN where there is no amplifier.

    Source: Friis' formula for cascaded noise factors; a passive loss L has gain -L and noise figure L.
    Accuracy: exact for parts matched to each other.
    """
    behind = power_ratio(loss_db + tuner_noise_figure_db)
    if math.isnan(amplifier_gain_db):
        return behind
    return power_ratio(amplifier_noise_figure_db) + (behind - 1.0) / power_ratio(amplifier_gain_db)


@kernel
def system_noise_factor(external_noise_db, antenna_loss_db, receiver_factor):
    """Return the noise factor (a ratio) referred to a lossless antenna: f_a + l_a f_r - 1.

    external_noise_db : F_a above kT0B. antenna_loss_db : directivity minus gain, 0 or more.

    Source: ITU-R P.372 (section on operating noise factor), antenna at 290 K. Accuracy: exact.
    """
    return power_ratio(external_noise_db) + power_ratio(antenna_loss_db) * receiver_factor - 1.0


@kernel
def combined_noise_factor(external_noise_db, antenna_loss_db, receiver_factor):
    """Return the noise factor (a ratio) of two equal antennas combined: 2 f_a + l_a f_r - 2.

    Arguments as system_noise_factor; receiver_factor with the combiner in front of the rest.

    Source: as system_noise_factor, the noise of both antennas added. Accuracy: exact for equal antennas.
    """
    outside = power_ratio(external_noise_db)
    return 2.0 * outside + power_ratio(antenna_loss_db) * receiver_factor - 2.0


@kernel
def carrier_to_noise_db(field_dbuvm, frequency_mhz, bandwidth_mhz, directivity_dbd, noise_factor):
    """Return C/N at the tuner in the antenna's main direction, in dB.

    field_dbuvm : at the antenna. noise_factor : of system_noise_factor. NaN gives NaN.

    Source: ITU-R P.525 (field to power) and ITU-R P.372 (noise power kT0B f). Accuracy: exact.
    """
    carrier_dbm = field_dbuvm + directivity_dbd + dipole_factor_db(frequency_mhz)
    return carrier_dbm - thermal_noise_dbm(bandwidth_mhz * 1e6) - 10.0 * math.log10(noise_factor)


def front_loss_db(tier: Tier, joined: str) -> float:
    """Return the loss in front of an amplifier or cable: a combiner, or one diplexer however joined. [dB]"""
    if joined == "combined":
        return FRONT_LOSS_DB[joined] + tier.diplexer_loss_db
    return tier.diplexer_loss_db or FRONT_LOSS_DB[joined]


@dataclass(frozen=True)
class ReceivingChain:
    """A tier's installation at one frequency, as the tuner sees it.

    receiver_noise_db : F_r, from the antenna's terminals
    system_noise_db : F_sys, referred to a lossless antenna
    external_noise_share : w, the part of the system noise that comes in from outside, 0 to 1;
        near 1 an amplifier does not help
    cn_minus_field_db : C/N = field at the antenna + this + antenna pattern at the aim
    figures_sd_db : how far that can be off because gain and noise figures are
    """

    receiver_noise_db: float
    system_noise_db: float
    external_noise_share: float
    cn_minus_field_db: float
    figures_sd_db: float = 0.0


def receiving_chain(
    tier: Tier,
    frequency_mhz: float,
    *,
    external_noise_db: float,
    tuner_noise_figure_db: float = 7.0,
    bandwidth_mhz: float = 6.0,
    joined: str = "single",
) -> ReceivingChain:
    """Noise and gain of a tier's installation at one frequency.

    Parameters
    ----------
    tier : Tier
        The installation.
    frequency_mhz : float
        Centre of the channel. [MHz]
    external_noise_db : float
        F_a at the antenna, above kT0B. [dB]
    tuner_noise_figure_db : float
        Of the set. [dB]
    bandwidth_mhz : float
        Noise bandwidth, that of the channel. [MHz]
    joined : str
        "single" for one antenna; "combined" for two that hear the same band, behind a combiner;
        "diplexed" for two of different bands behind a diplexer.

    Raises
    ------
    InputError
        If a frequency or bandwidth is not above 0, or joined is none of the three.

    References
    ----------
    Friis' formula; ITU-R P.372 (operating noise factor); ITU-R P.525.
    """
    for name, value in (("frequency_mhz", frequency_mhz), ("bandwidth_mhz", bandwidth_mhz)):
        if not value > 0.0:
            raise InputError(f"{name} must be greater than 0, got {value}.")
    if joined not in FRONT_LOSS_DB:
        raise InputError(f"joined must be one of {', '.join(FRONT_LOSS_DB)}, got {joined!r}.")
    antenna = tier.at(frequency_mhz)
    around = (frequency_mhz, external_noise_db, joined)
    factor, system = _noise_factors(tier, antenna, tuner_noise_figure_db, *around)
    outside = (2.0 if joined == "combined" else 1.0) * power_ratio(external_noise_db)
    return ReceivingChain(
        receiver_noise_db=10.0 * math.log10(factor),
        system_noise_db=10.0 * math.log10(system),
        external_noise_share=outside / system,
        cn_minus_field_db=carrier_to_noise_db(
            0.0, frequency_mhz, bandwidth_mhz, antenna.directivity_dbd, system
        ),
        figures_sd_db=_figures_sd_db(tier, antenna, tuner_noise_figure_db, system, *around),
    )


def _noise_factors(
    tier: Tier,
    antenna: AntennaFigures,
    tuner_noise_figure_db: float,
    frequency_mhz: float,
    external_noise_db: float,
    joined: str,
) -> tuple[float, float]:
    """Return the noise factors of the receiver and of the whole system."""
    front = power_ratio(front_loss_db(tier, joined))
    factor = front * _receiver_factor(tier, frequency_mhz, tuner_noise_figure_db)
    noise_factor = combined_noise_factor if joined == "combined" else system_noise_factor
    return factor, noise_factor(external_noise_db, antenna.directivity_dbd - antenna.gain_dbd, factor)


def _figures_sd_db(
    tier: Tier,
    antenna: AntennaFigures,
    tuner_noise_figure_db: float,
    system: float,
    frequency_mhz: float,
    external_noise_db: float,
    joined: str,
) -> float:
    """Return how far C/N can be off because the installation's figures are: the root of their squares.

    A gain that is less than the directivity is off by the antenna's losses, another by its lobe.
    """
    around = (frequency_mhz, external_noise_db, joined)

    def moved_db(tier: Tier, antenna: AntennaFigures, tuner_db: float) -> float:
        return 10.0 * math.log10(_noise_factors(tier, antenna, tuner_db, *around)[1] / system)

    gain_db = antenna.gain_sd_db
    if antenna.directivity_dbd > antenna.gain_dbd:
        lossier = antenna._replace(gain_dbd=antenna.gain_dbd - gain_db)
        gain_db = moved_db(tier, lossier, tuner_noise_figure_db)
    set_db = moved_db(tier, antenna, tuner_noise_figure_db + tier.receiver_sd_db)
    noisier = replace(tier, amplifier_noise_figure_db=tier.amplifier_noise_figure_db + tier.amplifier_sd_db)
    amplifier_db = moved_db(noisier, antenna, tuner_noise_figure_db) if tier.has_amplifier else 0.0
    return math.hypot(gain_db, set_db, amplifier_db)


def _receiver_factor(tier: Tier, frequency_mhz: float, tuner_noise_figure_db: float) -> float:
    """Return the noise factor from the antenna's terminals; a house takes the tuner's place."""
    loss_db, house = cable_loss_db(frequency_mhz, tier.cable_m), tier.distribution
    if house is None:
        loss_db, behind_db = loss_db + tier.passive_db(frequency_mhz), tuner_noise_figure_db
    else:
        inside = receiver_noise_factor(
            cable_loss_db(frequency_mhz, house.cable_m) + tier.passive_db(frequency_mhz),
            house.gain_db,
            house.noise_figure_db,
            tuner_noise_figure_db,
        )
        behind_db = 10.0 * math.log10(inside)
    return float(
        receiver_noise_factor(loss_db, tier.amplifier_gain_db, tier.amplifier_noise_figure_db, behind_db)
    )
