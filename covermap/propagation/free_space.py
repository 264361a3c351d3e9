"""Free space: field, loss and power of an unobstructed path, and how they turn into each other."""

import math

from covermap.constants import BOLTZMANN_DBM_PER_HZ, DIPOLE_FACTOR_DB, FIELD_FROM_LOSS_DB
from covermap.propagation.checks import finite, positive
from covermap.propagation.compiling import kernel

FREE_SPACE_FIELD_DBUVM = 106.92  # ITU-R P.525: 1 kW from a half-wave dipole at 1 km
FREE_SPACE_LOSS_DB = 92.4  # ITU-R P.1812-8 section 4.2, d in km and f in GHz (P.525-4 prints 92.45)


@kernel
def free_space_field_dbuvm(erp_dbk, distance_km):
    """Return the free-space field strength, in dB(uV/m).

    erp_dbk : effective radiated power, dB above 1 kW (half-wave dipole).
    distance_km : above 0; 0 gives infinity, NaN gives NaN.

    Source: ITU-R P.525, field of a dipole, E = 106.92 + P - 20 log d.
    Accuracy: constant rounded to 0.01 dB.
    """
    return FREE_SPACE_FIELD_DBUVM + erp_dbk - 20.0 * math.log10(distance_km)


@kernel
def free_space_loss_db(distance_km, tx_level_m, rx_level_m, frequency_ghz):
    """Return the free-space basic transmission loss over the slant distance, in dB.

    distance_km : along the ground. tx_level_m, rx_level_m : antennas above sea level.
    NaN in any argument gives NaN.

    Source: ITU-R P.1812-8, section 4.2, equation (8).
    Accuracy: constant rounded to 0.1 dB, 0.04 dB below P.525's.
    """
    rise_km = (tx_level_m - rx_level_m) / 1000.0
    slant_squared = distance_km * distance_km + rise_km * rise_km
    return FREE_SPACE_LOSS_DB + 20.0 * math.log10(frequency_ghz) + 10.0 * math.log10(slant_squared)


@kernel
def field_from_loss_dbuvm(loss_db, erp_dbk, frequency_ghz):
    """Return the field strength that a basic transmission loss leaves, in dB(uV/m).

    loss_db : between isotropic antennas. erp_dbk : dB above 1 kW (half-wave dipole). NaN gives NaN.

    Source: ITU-R P.1812-8, field strength from loss, E = 199.36 + 20 log f(GHz) - Lb + ERP.
    Accuracy: constant rounded to 0.01 dB.
    """
    return FIELD_FROM_LOSS_DB + 20.0 * math.log10(frequency_ghz) - loss_db + erp_dbk


@kernel
def dipole_factor_db(frequency_mhz):
    """Return Kd: power at a half-wave dipole's terminals minus field, dBm - dB(uV/m).

    Source: ITU-R P.525 and the definition of a half-wave dipole, Kd = -75.06 - 20 log f(MHz).
    Accuracy: within 0.05 dB of the table of OET Bulletin 69 at 69, 194 and 615 MHz.
    """
    return DIPOLE_FACTOR_DB - 20.0 * math.log10(frequency_mhz)


@kernel
def thermal_noise_dbm(bandwidth_hz):
    """Return kT0B at 290 K, in dBm.

    Source: ITU-R P.372, reference temperature 290 K; Boltzmann's constant of the SI (2019).
    Accuracy: exact.
    """
    return BOLTZMANN_DBM_PER_HZ + 10.0 * math.log10(bandwidth_hz)


def free_space_field(erp_kw: float, distance_km: float) -> float:
    """Field strength at a distance when nothing stands in the way.

    Parameters
    ----------
    erp_kw : float
        Effective radiated power, half-wave dipole reference. [kW]
    distance_km : float
        Distance from the transmitter. [km]

    Returns
    -------
    float
        Field strength. [dB(uV/m)]

    Raises
    ------
    InputError
        If erp_kw or distance_km is zero, negative or not a number.

    References
    ----------
    ITU-R P.525.
    """
    erp_dbk = 10.0 * math.log10(positive("erp_kw", erp_kw))
    return float(free_space_field_dbuvm(erp_dbk, positive("distance_km", distance_km)))


def field_from_loss(loss_db: float, erp_kw: float, frequency_mhz: float) -> float:
    """Field strength that a basic transmission loss leaves, for every model alike.

    Parameters
    ----------
    loss_db : float
        Basic transmission loss between isotropic antennas; NaN gives NaN. [dB]
    erp_kw : float
        Effective radiated power, half-wave dipole reference. [kW]
    frequency_mhz : float
        Centre frequency. [MHz]

    Returns
    -------
    float
        Field strength, 199.36 + 20 log f(GHz) - loss + 10 log ERP(kW). [dB(uV/m)]

    Raises
    ------
    InputError
        If erp_kw or frequency_mhz is zero, negative or not a number, or loss_db is infinite or no number.

    References
    ----------
    ITU-R P.1812-8, field strength from basic transmission loss.
    """
    unknown = isinstance(loss_db, float) and math.isnan(loss_db)
    loss_db = math.nan if unknown else finite("loss_db", loss_db)
    erp_dbk = 10.0 * math.log10(positive("erp_kw", erp_kw))
    return float(field_from_loss_dbuvm(loss_db, erp_dbk, positive("frequency_mhz", frequency_mhz) / 1000.0))


def power_from_field(field_dbuvm: float, gain_dbd: float, frequency_mhz: float) -> float:
    """Power at the terminals of a matched receiving antenna.

    Parameters
    ----------
    field_dbuvm : float
        Field strength at the antenna. [dB(uV/m)]
    gain_dbd : float
        Antenna gain over a half-wave dipole. [dBd]
    frequency_mhz : float
        Centre frequency. [MHz]

    Returns
    -------
    float
        Power. [dBm]

    Raises
    ------
    InputError
        If a figure is not a number or frequency_mhz is not above 0.

    References
    ----------
    ITU-R P.525; dipole factors as in OET Bulletin 69, table 3.
    """
    return (
        finite("field_dbuvm", field_dbuvm)
        + finite("gain_dbd", gain_dbd)
        + float(dipole_factor_db(positive("frequency_mhz", frequency_mhz)))
    )
