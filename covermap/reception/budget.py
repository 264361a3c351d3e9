"""What is the same for every cell: the figures of each tier, transmitter and kind of surroundings."""

from __future__ import annotations

import math
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.propagation.compiling import kernel
from covermap.reception.bands import band_of
from covermap.reception.mount import height_index, mount_loss_db
from covermap.reception.options import ReceptionOptions
from covermap.reception.pattern import EITHER, HORIZONTAL, VERTICAL, cross_polar_loss_db, lobe_rolloff
from covermap.reception.required_field import chain_of
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import Tier
from covermap.reception.variability import common_sd_db, own_spread_db, prediction_sd_db

# Rows of the figures of one tier in one kind of surroundings, one column a transmitter.
NEED_DBUVM = 0  # field of the path that gives margin 0 at the aim
OWN_INVERSE = 1  # 1 / s_i
COMMON_RATIO = 2  # s_c / s_i
TOTAL_INVERSE = 3  # 1 / sqrt(s_i^2 + s_c^2)
ROLLOFF = 4  # 12 / beamwidth^2
FLOOR_DB = 5  # front to back
CROSS_DB = 6  # cross-polar loss at a horizontal mount; the next row: at a vertical one
FIGURES = 8


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
    """The W transmitters of a wanted list, ordered so that those of one mast stand together.

    station, mast, service : whole numbers (W,), indices of the station, of its mast and of its service
    services : how many services
    mounts : polarizations of a mount worth trying, 0 horizontal, 1 vertical
    """

    station: NDArray[np.int64]
    mast: NDArray[np.int64]
    service: NDArray[np.int64]
    services: int
    mounts: NDArray[np.int64]


def wanted_transmitters(wanted: Wanted, facts: StationFacts) -> WantedTransmitters:
    """Return the transmitters of a wanted list in mast order.

    Raises InputError if the list is empty or too long, a service has no transmitter, or more services
    are needed than there are.
    """
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
    pairs = [(station, service) for service, group in enumerate(wanted.transmitters) for station in group]
    pairs.sort(key=lambda pair: (facts.mast[pair[0]], pair[1], pair[0]))
    station = np.array([pair[0] for pair in pairs], dtype=np.int64)
    service = np.array([pair[1] for pair in pairs], dtype=np.int64)
    return WantedTransmitters(
        station,
        np.asarray(facts.mast, np.int64)[station],
        service,
        services,
        mounts_to_try(np.asarray(facts.polarization)[station]),
    )


@kernel
def _fill_surroundings(
    prediction_db, has_land_cover, cell_m, mounts, frequency_mhz, clutter_m, open_land, figures
):
    """Complete the figures with what depends on the surroundings.

    mounts : (T, 2) height and entry loss. figures : (K, T, FIGURES, W); on entry NEED_DBUVM holds the
    field at the antenna that gives margin 0 and COMMON_RATIO holds s_c.
    """
    kinds, tiers, _, transmitters = figures.shape
    for tier in range(tiers):
        height_m, entry_db = mounts[tier]
        for kind in range(kinds):
            for item in range(transmitters):
                frequency = frequency_mhz[item]
                loss_db = mount_loss_db(frequency, height_m, entry_db, clutter_m[kind], open_land[kind])
                own_db = own_spread_db(
                    prediction_db, has_land_cover, frequency, cell_m, height_m, clutter_m[kind]
                )
                common_db = figures[kind, tier, COMMON_RATIO, item]
                figures[kind, tier, NEED_DBUVM, item] += loss_db
                figures[kind, tier, OWN_INVERSE, item] = 1.0 / own_db
                figures[kind, tier, COMMON_RATIO, item] = common_db / own_db
                figures[kind, tier, TOTAL_INVERSE, item] = 1.0 / math.hypot(own_db, common_db)


def tier_figures(
    tiers: tuple[Tier, ...],
    facts: StationFacts,
    station: NDArray[np.int64],
    clutter_m: NDArray[np.float64],
    open_land: NDArray[np.bool_],
    options: ReceptionOptions,
) -> NDArray[np.float64]:
    """Return the figures of each tier, kind of surroundings and transmitter, shape (K, T, FIGURES, W).

    station : indices of the W transmitters. clutter_m, open_land : the K kinds of surroundings.
    """
    figures = np.empty((clutter_m.size, len(tiers), FIGURES, station.size))
    for number, tier in enumerate(tiers):
        for item, index in enumerate(station):
            figures[:, number, :, item] = _plain_figures(tier, facts, int(index), options)
    _fill_surroundings(
        prediction_sd_db(options),
        options.has_land_cover,
        float(options.cell_m),
        np.array([(tier.height_m, tier.entry_loss_db) for tier in tiers]),
        np.asarray(facts.frequency_mhz, np.float64)[station],
        clutter_m,
        open_land,
        figures,
    )
    return figures


def _plain_figures(tier: Tier, facts: StationFacts, station: int, options: ReceptionOptions) -> list[float]:
    frequency_mhz = float(facts.frequency_mhz[station])
    band = band_of(frequency_mhz)
    chain = chain_of(tier, frequency_mhz, float(facts.bandwidth_mhz[station]), options)
    polarization = int(facts.polarization[station])
    alike = math.isnan(tier.beamwidth_deg[band])
    return [
        float(facts.required_cn_db[station]) - chain.cn_minus_field_db,
        math.nan,
        common_sd_db(tier, frequency_mhz, chain.external_noise_share, options),
        math.nan,
        lobe_rolloff(tier.beamwidth_deg[band]),
        0.0 if alike else tier.front_to_back_db[band],
        cross_polar_loss_db(HORIZONTAL, polarization, tier.cross_polar_db),
        cross_polar_loss_db(VERTICAL, polarization, tier.cross_polar_db),
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
