"""Why a service is weak in a cell: the greatest of the losses on its way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.options import ReceptionOptions
from covermap.reception.required_field import chain_of
from covermap.reception.signals import NEEDS_FILTER, ListReception, StationFacts
from covermap.reception.tiers import TierTable

CAUSES = (
    "ridges", "earth_bulge", "distance", "clutter", "noise", "same_channel", "next_channel", "overload",
    "pattern_null",
)  # fmt: skip
BY_INTERFERENCE = ("same_channel", "next_channel")  # of CAUSES: another station is behind them
LEAST_CAUSE_DB = 6.0  # judgement: a smaller loss than this is no cause of its own
CLASS_CAUSE = {
    "one_ridge": "ridges",
    "two_ridges": "ridges",
    "many_ridges": "ridges",
    "earth_bulge": "earth_bulge",
    "scatter": "earth_bulge",
}


@dataclass(frozen=True, eq=False)
class Obstructions:
    """What stands between S stations and N cells, at 10 m.

    obstacle_db : float32 (S, N), loss above free space. path_class : uint8 (S, N), index into PATH_CLASSES
    pattern_null_db : float32 (S, N), what the transmitting pattern takes from steep rays; 0 elsewhere
    has_land_cover : whether obstacles hold trees and houses
    environment : (N,), noise environment, of surroundings.ENVIRONMENT_NAMES; None: that of the options
    """

    obstacle_db: NDArray[np.float32]
    path_class: NDArray[np.uint8]
    pattern_null_db: NDArray[np.float32]
    has_land_cover: bool
    environment: NDArray[np.int64] | None = None

    def noise_at(
        self, noise_db: NDArray[np.float64], tier: NDArray[np.int64], station: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Return what noise costs each cell at a tier's index and a station, -1 unknown. [dB]

        noise_db : of noise_loss_db, (T, S) for all cells alike or (environments, T, S)
        """
        of_cell = noise_db if noise_db.ndim == 3 else noise_db[None]
        environment = np.zeros(tier.size, np.int64) if self.environment is None else self.environment
        return of_cell[environment, tier, np.maximum(station, 0)]


def noise_loss_db(facts: StationFacts, tiers: TierTable, options: ReceptionOptions) -> NDArray[np.float64]:
    """Return what external noise costs each tier and station beside the receiver's own, shape (T, S). [dB]"""
    shares = np.array(
        [
            [
                chain_of(tier, float(frequency), float(bandwidth), options).external_noise_share
                for frequency, bandwidth in zip(facts.frequency_mhz, facts.bandwidth_mhz, strict=True)
            ]
            for tier in tiers
        ]
    )
    return -10.0 * np.log10(np.maximum(1e-3, 1.0 - shares))


def cause_of(
    station: NDArray[np.int64],
    interferer: NDArray[np.int64],
    interference_db: NDArray[np.float64],
    noise_db: NDArray[np.float64],
    obstructions: Obstructions,
    one_channel: NDArray[np.bool_],
) -> NDArray[np.uint8]:
    """Return the greatest cause for one station a cell, shape (N,): an index into CAUSES, 255 unknown.

    station : index of the station, -1 unknown. interference_db, noise_db : what they take from it
    interferer : the station that takes most of interference_db, -1 none
    one_channel : bool (S, S), of covermap.reception.channels.on_one_channel

    ridges or earth_bulge as the path's class says; on a clear path what it loses above free space is
    clutter where land cover is known; distance where no loss is over 6 dB (judgement).
    """
    known = station >= 0
    cell = np.arange(station.size)
    chosen = np.where(known, station, 0)
    obstacle_db = np.nan_to_num(obstructions.obstacle_db[chosen, cell])
    of_class = [CLASS_CAUSE.get(name, "") for name in PATH_CLASSES]
    clear = "clutter" if obstructions.has_land_cover else "distance"
    by_class = np.full(256, CAUSES.index(clear), np.uint8)
    by_class[: len(of_class)] = [CAUSES.index(name or clear) for name in of_class]
    causes = np.stack(
        [
            by_class[obstructions.path_class[chosen, cell]],
            np.full(station.size, CAUSES.index("noise"), np.uint8),
            interference_cause(chosen, interferer, one_channel),
            np.full(station.size, CAUSES.index("pattern_null"), np.uint8),
        ]
    )
    losses_db = np.stack(
        [obstacle_db, noise_db, interference_db, np.nan_to_num(obstructions.pattern_null_db[chosen, cell])]
    )
    greatest = np.argmax(losses_db, axis=0)
    found = causes[greatest, cell]
    found[losses_db[greatest, cell] < LEAST_CAUSE_DB] = CAUSES.index("distance")
    return np.where(known, found, UNKNOWN_UINT8).astype(np.uint8)


def interference_cause(
    station: NDArray[np.int64], interferer: NDArray[np.int64], one_channel: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    """Return same_channel or next_channel, as indices into CAUSES, by the strongest interferer's channel."""
    same = one_channel[station, interferer]
    return np.where(same, CAUSES.index("same_channel"), CAUSES.index("next_channel")).astype(np.uint8)


def main_cause(
    reception: ListReception,
    noise_db: NDArray[np.float64],
    obstructions: Obstructions,
    one_channel: NDArray[np.bool_],
) -> NDArray[np.uint8]:
    """Return why each cell needs its tier and no lower one, shape (N,); 255 where tier 1 does, or unknown.

    The cause of the deciding service with the plan one tier lower; its interference where that plan would do
    without any; overload where the stored plan needs a filter. noise_db : of noise_loss_db. one_channel : as
    cause_of
    """
    hard = (reception.tier >= 2) & (reception.tier != UNKNOWN_UINT8)
    station = np.where(hard, reception.deciding_station, -1).astype(np.int64)
    interferer = reception.deciding_interferer.astype(np.int64)
    lower = np.clip(reception.tier.astype(np.int64) - 2, 0, noise_db.shape[-2] - 1)
    found = cause_of(
        station,
        interferer,
        reception.deciding_interference_db.astype(np.float64),
        obstructions.noise_at(noise_db, lower, station),
        obstructions,
        one_channel,
    )
    decides = hard & reception.interference_decides & (interferer >= 0)
    found = np.where(decides, interference_cause(np.maximum(station, 0), interferer, one_channel), found)
    filtered = hard & ((reception.plan_flags & NEEDS_FILTER) > 0)
    return np.where(filtered, CAUSES.index("overload"), found).astype(np.uint8)


def service_causes(
    reception: ListReception,
    confidence_percent: float,
    noise_db: NDArray[np.float64],
    obstructions: Obstructions,
    one_channel: NDArray[np.bool_],
) -> NDArray[np.uint8]:
    """Return why each service is weak with the stored plan, shape (V, N); 255 where it is not, or unknown."""
    stored = np.clip(reception.tier.astype(np.int64) - 1, 0, noise_db.shape[-2] - 1)
    found = np.full(reception.service_chance_percent.shape, UNKNOWN_UINT8, np.uint8)
    for service, chance in enumerate(reception.service_chance_percent):
        station = reception.service_station[service].astype(np.int64)
        weak = (station >= 0) & (chance < confidence_percent)
        found[service] = cause_of(
            np.where(weak, station, -1),
            reception.service_interferer[service].astype(np.int64),
            reception.service_interference_db[service].astype(np.float64),
            obstructions.noise_at(noise_db, stored, station),
            obstructions,
            one_channel,
        )
    return found
