"""Fields that regulators and planners ask for, rebuilt from their planning factors."""

import math

from covermap.constants import BOLTZMANN_DBM_PER_HZ, DBI_FROM_DBD
from covermap.errors import InputError
from covermap.propagation.checks import finite, positive
from covermap.propagation.compiling import kernel
from covermap.propagation.free_space import dipole_factor_db, thermal_noise_dbm

FIELD_FROM_POWER_FLUX_DB = 120.0 + 10.0 * math.log10(120.0 * math.pi)  # dB(W/m2) to dB(uV/m): 145.8
LOCATION_SD_DB = 5.5  # GE06 planning agreement and ITU-R P.1546: digital television, outdoors
# Multiplier of the standard deviation for a share of places, as GE06 rounds the normal distribution.
LOCATION_FACTOR = {50: 0.0, 70: 0.52, 95: 1.64, 99: 2.33}


@kernel
def planning_field_dbuvm(cn_db, gain_dbd, line_loss_db, noise_figure_db, frequency_mhz, bandwidth_hz):
    """Return the field that gives cn_db at the receiver, in dB(uV/m).

    Source: OET Bulletin 69, table 3, and ISED BPR-10, appendix 8: E = C/N - Kd - G + L + Nt + Ns.
    Accuracy: within 0.4 dB of 28/36/41 dB(uV/m), which the rule rounds up.
    """
    received_db = gain_dbd + dipole_factor_db(frequency_mhz) - line_loss_db
    return cn_db + thermal_noise_dbm(bandwidth_hz) + noise_figure_db - received_db


def planning_factor_field(
    frequency_mhz: float,
    *,
    cn_db: float,
    gain_dbd: float,
    line_loss_db: float,
    noise_figure_db: float,
    bandwidth_mhz: float = 6.0,
) -> float:
    """Field needed at an outdoor antenna by a regulator's planning factors: no external noise, no splitter.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency. [MHz]
    cn_db, gain_dbd, line_loss_db, noise_figure_db : float
        Carrier to noise needed, antenna gain over a dipole, downlead loss, receiver noise figure. [dB]
    bandwidth_mhz : float
        Noise bandwidth. [MHz]

    Returns
    -------
    float
        Field strength. [dB(uV/m)]

    Raises
    ------
    InputError
        If a figure is not a number, or a frequency or bandwidth is not above 0.

    References
    ----------
    OET Bulletin 69, table 3; ISED BPR-10, appendix 8, table 1.
    """
    return float(
        planning_field_dbuvm(
            finite("cn_db", cn_db),
            finite("gain_dbd", gain_dbd),
            finite("line_loss_db", line_loss_db),
            finite("noise_figure_db", noise_figure_db),
            positive("frequency_mhz", frequency_mhz),
            positive("bandwidth_mhz", bandwidth_mhz) * 1e6,
        )
    )


@kernel
def minimum_field_dbuvm(cn_db, gain_dbd, feeder_loss_db, noise_figure_db, frequency_mhz, bandwidth_hz):
    """Return the minimum field at the antenna by the European chain, in dB(uV/m).

    Source: GE06 Annex 2 and ITU-R BT.2036: aperture Aa = G + 10 log(1.64 lambda^2 / 4 pi), lambda = 300/f.
    Accuracy: within 0.2 dB of GE06's planning values.
    """
    noise_dbw = BOLTZMANN_DBM_PER_HZ - 30.0 + 10.0 * math.log10(bandwidth_hz) + noise_figure_db
    wavelength_m = 300.0 / frequency_mhz
    aperture_dbm2 = gain_dbd + DBI_FROM_DBD + 10.0 * math.log10(wavelength_m * wavelength_m / (4.0 * math.pi))
    return cn_db + noise_dbw - aperture_dbm2 + feeder_loss_db + FIELD_FROM_POWER_FLUX_DB


def minimum_field(
    frequency_mhz: float,
    *,
    cn_db: float,
    gain_dbd: float,
    feeder_loss_db: float,
    noise_figure_db: float,
    bandwidth_mhz: float,
) -> float:
    """Minimum field at a receiving antenna by the European chain.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency. [MHz]
    cn_db, gain_dbd, feeder_loss_db, noise_figure_db : float
        Carrier to noise needed, antenna gain over a dipole, feeder loss, receiver noise figure. [dB]
    bandwidth_mhz : float
        Noise bandwidth. [MHz]

    Returns
    -------
    float
        Field strength. [dB(uV/m)]

    Raises
    ------
    InputError
        If a figure is not a number, or a frequency or bandwidth is not above 0.

    References
    ----------
    GE06 Annex 2; ITU-R BT.2036.
    """
    return float(
        minimum_field_dbuvm(
            finite("cn_db", cn_db),
            finite("gain_dbd", gain_dbd),
            finite("feeder_loss_db", feeder_loss_db),
            finite("noise_figure_db", noise_figure_db),
            positive("frequency_mhz", frequency_mhz),
            positive("bandwidth_mhz", bandwidth_mhz) * 1e6,
        )
    )


def median_field(
    minimum_dbuvm: float,
    *,
    location_percent: int,
    noise_allowance_db: float = 0.0,
    height_loss_db: float = 0.0,
    entry_loss_db: float = 0.0,
    entry_sd_db: float = 0.0,
) -> float:
    """Median outdoor field at 10 m that gives the minimum field at a share of places, as GE06 plans.

    Parameters
    ----------
    minimum_dbuvm : float
        Minimum field at the antenna. [dB(uV/m)]
    location_percent : int
        50, 70, 95 or 99. [%]
    noise_allowance_db, height_loss_db, entry_loss_db : float
        Allowance for man-made noise, height loss and building entry loss. [dB]
    entry_sd_db : float
        Standard deviation of the entry loss. [dB]

    Returns
    -------
    float
        Median field strength. [dB(uV/m)]

    Raises
    ------
    InputError
        If location_percent is not one of the four or a figure is not a number.

    References
    ----------
    GE06 Annex 2; ITU-R BT.1368.
    """
    if location_percent not in LOCATION_FACTOR:
        raise InputError(f"location_percent must be 50, 70, 95 or 99, got {location_percent!r}.")
    # Places and entry vary independently, so their deviations add as squares.
    spread_db = LOCATION_FACTOR[location_percent] * math.hypot(
        LOCATION_SD_DB, finite("entry_sd_db", entry_sd_db)
    )
    return (
        finite("minimum_dbuvm", minimum_dbuvm)
        + finite("noise_allowance_db", noise_allowance_db)
        + finite("height_loss_db", height_loss_db)
        + finite("entry_loss_db", entry_loss_db)
        + spread_db
    )
