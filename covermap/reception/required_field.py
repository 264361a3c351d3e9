"""The field a tier needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from covermap.errors import InputError
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.chain import ReceivingChain, receiving_chain
from covermap.reception.entry import entry_db
from covermap.reception.external_noise import external_noise_db
from covermap.reception.mount import mount_loss_db
from covermap.reception.options import ReceptionOptions
from covermap.reception.tiers import Tier
from covermap.reception.variability import OPEN_PATH, common_sd_db, own_sd_db


def chain_of(
    tier: Tier, frequency_mhz: float, bandwidth_mhz: float, options: ReceptionOptions, joined: str = "single"
) -> ReceivingChain:
    """Return a tier's receiving chain in the noise that the options name; joined as receiving_chain."""
    return receiving_chain(
        tier,
        frequency_mhz,
        external_noise_db=external_noise_db(
            frequency_mhz, options.noise_environment, tier.indoors, options.external_noise
        ),
        tuner_noise_figure_db=options.tuner_noise_figure_db,
        bandwidth_mhz=bandwidth_mhz,
        joined=joined,
    )


def required_field(
    tier: Tier,
    frequency_mhz: float,
    system: str | float,
    noise: str,
    *,
    confidence_percent: float = 50.0,
    clutter_height_m: float = 0.0,
    open_land: bool = False,
    bandwidth_mhz: float = 6.0,
    required_cn: Mapping[str, float] | None = None,
    options: ReceptionOptions | None = None,
    path_class: str = OPEN_PATH,
) -> float:
    """Median outdoor field that an aimed installation of a tier needs.

    Parameters
    ----------
    tier : Tier
        The installation.
    frequency_mhz : float
        Centre of the channel. [MHz]
    system : str or float
        A name of required_cn, or the required C/N itself. [dB]
    noise : str
        Environment: "city", "residential", "rural" or "quiet_rural".
    confidence_percent : float
        How sure; 50 is margin 0. Above 0 and below 100. [%]
    clutter_height_m : float
        Of the land-cover class; at least 10 is used. [m]
    open_land : bool
        Open land or water.
    bandwidth_mhz : float
        Of the channel. [MHz]
    required_cn : mapping, optional
        System name -> required C/N. [dB]
    path_class : str
        What stands in the way, of covermap.propagation.ridges.PATH_CLASSES; decides the spread.
    options : ReceptionOptions, optional
        Noise table, tuner and uncertainty; its own environment gives way to noise.

    Returns
    -------
    float
        Field at 10 m, or at the tier's own height where that is greater. [dB(uV/m)]

    Raises
    ------
    InputError
        If a value is out of range, or system or path_class is a name that is not known.

    References
    ----------
    Friis' formula; ITU-R P.372-17; ITU-R P.2108-1, section 3.1; ITU-R P.1812-8, section 4.7.
    """
    if not 0.0 < confidence_percent < 100.0:
        raise InputError(f"confidence_percent must lie between 0 and 100, got {confidence_percent}.")
    if path_class not in PATH_CLASSES:
        raise InputError(f"path_class is {path_class!r}. Known: {', '.join(PATH_CLASSES)}.")
    options = replace(options or ReceptionOptions(), noise_environment=noise)
    chain = chain_of(tier, frequency_mhz, bandwidth_mhz, options)
    entry_loss_db, _ = entry_db(tier, frequency_mhz, options.building)
    loss_db = mount_loss_db(frequency_mhz, tier.height_m, entry_loss_db, clutter_height_m, open_land)
    own_db = own_sd_db(tier, frequency_mhz, options, clutter_height_m, path_class)
    common_db = common_sd_db(tier, frequency_mhz, chain, options)
    margin_db = NormalDist().inv_cdf(confidence_percent / 100.0) * np.hypot(own_db, common_db)
    return float(_required_cn_db(system, required_cn) - chain.cn_minus_field_db + loss_db + margin_db)


def _required_cn_db(system: str | float, required_cn: Mapping[str, float] | None) -> float:
    if not isinstance(system, str):
        return float(system)
    known = required_cn or {}
    if system not in known:
        names = ", ".join(known) or "none; pass required_cn, or the C/N in dB"
        raise InputError(f"system is {system!r}, which is not known. Known: {names}.")
    return float(known[system])
