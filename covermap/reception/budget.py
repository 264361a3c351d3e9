"""What is the same for every cell: the figures of each tier, transmitter and kind of surroundings."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.propagation.free_space import dipole_factor_db
from covermap.reception.bands import band_of
from covermap.reception.distinct import distinct_rows
from covermap.reception.joint import site_part
from covermap.reception.mount import height_index, mount_losses_db
from covermap.reception.options import ReceptionOptions
from covermap.reception.pattern import (
    EITHER,
    HORIZONTAL,
    VERTICAL,
    cross_polar_loss_db,
    lobe_floor_db,
    lobe_rolloff,
)
from covermap.reception.required_field import chain_of
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import AntennaFigures, Tier
from covermap.reception.variability import common_sd_db, noise_sd_db

# Rows of the figures of one tier in one kind of surroundings, one column a transmitter.
NEED_DBUVM = 0  # field of the path that gives margin 0 at the aim
ROLLOFF = 1  # 12 / beamwidth^2
FLOOR_DB = 2  # front to back
CROSS_DB = 3  # cross-polar loss at a horizontal mount; the next row: at a vertical one
SHORT_DB = 5  # what the first tier's antenna, not made for high VHF, would need more there; 0 elsewhere
NOISE_DB = 6  # the part of s_c that noise and the installation's figures make
COMMON_DB = 7  # s_c
SITE_SHARE = 8  # what its site and band share, over s_a
EXTERNAL_SHARE = 9  # of the system noise, that comes in from outside
OVER_NOISE_0_DB = 10  # over noise, of power 0 dB at the antenna's terminals as antenna_power_db counts it
CN_DB = 11  # required C/N at the installation
FIGURES = 12


class Wanted(Protocol):
    """What reception reads of a wanted list (covermap.scenario.records.WantedList is one)."""

    @property
    def services(self) -> tuple[str, ...]:
        """Names in order."""

    @property
    def transmitters(self) -> tuple[tuple[int, ...], ...]:
        """For each service the indices of the stations that carry it."""

    @property
    def needed(self) -> int:
        """How many services must arrive."""


class WantedTransmitters(NamedTuple):
    """The W transmitters of a wanted list, ordered so that those of one site stand together.

    station, mast, site, service : whole numbers (W,), indices of the station, its mast, site and service
    services : how many services
    mounts : polarizations of a mount worth trying, 0 horizontal, 1 vertical
    uhf : bool (W,), on UHF
    group_start : (G + 1,), where each group of one mast, band and polarization begins; one aim treats its
        transmitters alike
    group : (W,), each transmitter's group
    shared : (W,), a number for each site and band, whose transmitters rise and fall together
    by_service : (W,), the transmitters service by service; service_start : (services + 1,), where each begins
    service_order : (services,), the services in the order of their first transmitter's site and band
    items, groups : (1,), how many transmitters and groups there are; arrays may be longer
    """

    station: NDArray[np.int64]
    mast: NDArray[np.int64]
    site: NDArray[np.int64]
    service: NDArray[np.int64]
    services: int
    mounts: NDArray[np.int64]
    uhf: NDArray[np.bool_]
    group_start: NDArray[np.int64]
    group: NDArray[np.int64]
    shared: NDArray[np.int64]
    by_service: NDArray[np.int64]
    service_start: NDArray[np.int64]
    service_order: NDArray[np.int64]
    items: NDArray[np.int64]
    groups: NDArray[np.int64]


def wanted_transmitters(wanted: Wanted, facts: StationFacts) -> WantedTransmitters:
    """Return the transmitters of a wanted list in site order.

    Raises InputError if the list is empty or too long, a service has no transmitter, or more services
    are needed than there are.
    """
    services = _checked_services(wanted)
    site = np.asarray(facts.site, np.int64)
    bands = [band_of(float(frequency_mhz)) for frequency_mhz in facts.frequency_mhz]

    def alike(station: int) -> tuple[int, str, int, int]:
        return int(site[station]), bands[station], int(facts.mast[station]), int(facts.polarization[station])

    pairs = [(station, service) for service, group in enumerate(wanted.transmitters) for station in group]
    pairs.sort(key=lambda pair: (*alike(pair[0]), pair[1], pair[0]))
    station = np.array([pair[0] for pair in pairs], dtype=np.int64)
    service = np.array([pair[1] for pair in pairs], dtype=np.int64)
    new = [i for i in range(station.size) if i == 0 or alike(station[i]) != alike(station[i - 1])]
    return WantedTransmitters(
        station,
        np.asarray(facts.mast, np.int64)[station],
        site[station],
        service,
        services,
        mounts_to_try(np.asarray(facts.polarization)[station]),
        np.array([bands[index] == "uhf" for index in station]),
        np.array([*new, station.size], dtype=np.int64),
        np.repeat(np.arange(len(new)), np.diff([*new, station.size])).astype(np.int64),
        np.cumsum([0, *(alike(b)[:2] != alike(a)[:2] for a, b in pairwise(station))]).astype(np.int64),
        np.argsort(service, kind="stable"),
        np.searchsorted(np.sort(service), np.arange(services + 1)).astype(np.int64),
        np.array(list(dict.fromkeys(service.tolist())), dtype=np.int64),
        np.array([station.size], dtype=np.int64),
        np.array([len(new)], dtype=np.int64),
    )


def _checked_services(wanted: Wanted) -> int:
    services = len(wanted.transmitters)
    if not 1 <= services < UNKNOWN_UINT8:
        raise InputError(f"a wanted list must hold 1 to {UNKNOWN_UINT8 - 1} services, got {services}.")
    for name, group in zip(wanted.services, wanted.transmitters, strict=True):
        if not group:
            raise InputError(
                f"wanted service {name!r} has no transmitter. Add one, or leave the service out."
            )
    if not 1 <= wanted.needed <= services:
        raise InputError(f"at_least must be from 1 to {services}, the list's services; got {wanted.needed}.")
    return services


def tier_figures(
    tiers: tuple[Tier, ...],
    facts: StationFacts,
    station: NDArray[np.int64],
    clutter_m: NDArray[np.float64],
    open_land: NDArray[np.bool_],
    options: ReceptionOptions,
    joined: str = "single",
) -> NDArray[np.float64]:
    """Return the figures of each tier, kind of surroundings and transmitter, shape (K, T, FIGURES, W).

    station : indices of the W transmitters. clutter_m, open_land : the K kinds of surroundings.
    joined : one antenna or two, as receiving_chain
    """
    figures = np.empty((clutter_m.size, len(tiers), FIGURES, station.size))
    decides = (
        facts.frequency_mhz,
        facts.bandwidth_mhz,
        facts.polarization,
        facts.required_cn_db,
        facts.indoor_cn_db,
    )
    sent, as_sent = distinct_rows(*(np.asarray(values)[station] for values in decides))
    for number, tier in enumerate(tiers):
        of_sent = np.array([_plain_figures(tier, tiers[0], row, options, joined) for row in sent])
        figures[:, number] = of_sent[as_sent].T
    frequency_mhz = np.asarray(facts.frequency_mhz, np.float64)[station]
    figures[:, :, NEED_DBUVM] += mount_losses_db(tiers, frequency_mhz, clutter_m, open_land, options.building)
    return figures


def antenna_power_db(antenna: AntennaFigures, frequency_mhz: float) -> float:
    """Return what an antenna delivers at its aim of a field of 0 dB(uV/m), over what all share. [dB]"""
    return antenna.directivity_dbd + dipole_factor_db(frequency_mhz)


def _plain_figures(
    tier: Tier,
    easiest: Tier,
    sent: tuple[float, ...],
    options: ReceptionOptions,
    joined: str,
) -> list[float]:
    """Return the FIGURES of a station without mount and surroundings.

    sent : its frequency and bandwidth in MHz, polarization, required C/N outdoors and indoors in dB
    """
    frequency_mhz, bandwidth_mhz, polarization, outdoor_cn_db, indoor_cn_db = sent
    chain = chain_of(tier, frequency_mhz, bandwidth_mhz, options, joined)
    antenna, least = tier.at(frequency_mhz), easiest.at(frequency_mhz)
    required_cn_db = indoor_cn_db if tier.indoors else outdoor_cn_db
    high_vhf_gain_deficit_db = 0.0
    if band_of(frequency_mhz) == "high_vhf" and antenna.gain_dbd > least.gain_dbd:
        short = tier.with_part("high_vhf", gain_dbd=least.gain_dbd, directivity_dbd=least.directivity_dbd)
        other = chain_of(short, frequency_mhz, bandwidth_mhz, options, joined)
        high_vhf_gain_deficit_db = max(0.0, chain.cn_minus_field_db - other.cn_minus_field_db)
    return [
        required_cn_db - chain.cn_minus_field_db,
        lobe_rolloff(antenna.beamwidth_deg),
        lobe_floor_db(antenna.beamwidth_deg, antenna.front_to_back_db),
        cross_polar_loss_db(HORIZONTAL, int(polarization), tier.cross_polar_db),
        cross_polar_loss_db(VERTICAL, int(polarization), tier.cross_polar_db),
        high_vhf_gain_deficit_db,
        noise_sd_db(tier, frequency_mhz, chain, options),
        common_sd_db(tier, frequency_mhz, chain, options),
        site_part(options.home_correlation, options.site_correlation),
        chain.external_noise_share,
        chain.cn_minus_field_db - antenna_power_db(antenna, frequency_mhz),
        required_cn_db,
    ]


def mounts_to_try(polarization: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the mount polarizations that can be best for stations of these polarizations.

    One that suits all stations can never lose; only a list with both kinds needs both tried.
    """
    fixed = set(np.unique(polarization).tolist()) - {EITHER}
    return np.array(sorted(fixed) or [HORIZONTAL], dtype=np.int64)


def heights_of(tiers: tuple[Tier, ...], heights_m: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the index of the computed height that counts for each tier."""
    return np.array([height_index(tier, heights_m) for tier in tiers], dtype=np.int64)
