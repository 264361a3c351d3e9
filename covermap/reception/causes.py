"""Why a service is weak in a cell: the greatest of the losses on its way."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.propagation.compiling import kernel
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.distinct import distinct_rows
from covermap.reception.options import ReceptionOptions
from covermap.reception.required_field import chain_of
from covermap.reception.signals import NEEDS_FILTER, ListReception, StationFacts
from covermap.reception.tiers import TierTable

CAUSES = (
    "ridges", "earth_bulge", "distance", "clutter", "noise", "same_channel", "next_channel", "overload",
    "pattern_null",
)  # fmt: skip
BY_INTERFERENCE = ("same_channel", "next_channel")  # of CAUSES: another station is behind them
NOISE, SAME_CHANNEL, NEXT_CHANNEL, PATTERN_NULL, DISTANCE = (
    np.uint8(CAUSES.index(name))
    for name in ("noise", "same_channel", "next_channel", "pattern_null", "distance")
)
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
        """Return what noise costs each cell at a tier's index and a station, (..., N), -1 unknown. [dB]

        noise_db : of noise_loss_db, (T, S) for all cells alike or (environments, T, S)
        """
        of_cell = noise_db if noise_db.ndim == 3 else noise_db[None]
        environment = np.zeros(tier.size, np.int64) if self.environment is None else self.environment
        return of_cell[environment, tier, np.maximum(station, 0)]


def noise_loss_db(facts: StationFacts, tiers: TierTable, options: ReceptionOptions) -> NDArray[np.float64]:
    """Return what external noise costs each tier and station beside the receiver's own, shape (T, S). [dB]"""
    sent, as_sent = distinct_rows(facts.frequency_mhz, facts.bandwidth_mhz)
    shares = np.array(
        [[chain_of(tier, mhz, width, options).external_noise_share for mhz, width in sent] for tier in tiers]
    )
    return -10.0 * np.log10(np.maximum(1e-3, 1.0 - shares))[:, as_sent]


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
    found = _greatest(
        station[None], interferer[None], interference_db[None], noise_db[None], obstructions, one_channel
    )
    return found[0]


def _greatest(
    station: NDArray[np.int64],
    interferer: NDArray[np.int64],
    interference_db: NDArray[np.float64],
    noise_db: NDArray[np.float64],
    obstructions: Obstructions,
    one_channel: NDArray[np.bool_],
) -> NDArray[np.uint8]:
    """Return what cause_of does, for V stations a cell: arrays have shape (V, N)."""
    found = np.full(station.shape, UNKNOWN_UINT8, np.uint8)
    _fill_greatest(
        np.ascontiguousarray(station, np.int64),
        np.ascontiguousarray(interferer, np.int64),
        np.ascontiguousarray(interference_db, np.float64),
        np.ascontiguousarray(noise_db, np.float64),
        np.ascontiguousarray(obstructions.obstacle_db, np.float32),
        np.ascontiguousarray(obstructions.path_class, np.uint8),
        np.ascontiguousarray(obstructions.pattern_null_db, np.float32),
        _cause_of_class(obstructions.has_land_cover),
        np.ascontiguousarray(one_channel, np.bool_),
        found,
    )
    return found


def _cause_of_class(has_land_cover: bool) -> NDArray[np.uint8]:
    """Return the cause of each class of path, shape (256,): an index into CAUSES."""
    clear = "clutter" if has_land_cover else "distance"
    causes = [CAUSES.index(CLASS_CAUSE.get(name, clear)) for name in PATH_CLASSES]
    return np.array(causes + [CAUSES.index(clear)] * (256 - len(causes)), np.uint8)


@kernel
def _fill_greatest(
    station, interferer, interference_db, noise_db, obstacle_db, path_class, null_db, cause_of_class,
    one_channel, found,
):  # fmt: skip
    """Fill the greatest cause; of equal ones what stands in the way comes first, then noise."""
    for row in range(found.shape[0]):
        for cell in range(found.shape[1]):
            here = station[row, cell]
            if here < 0:
                continue
            loss_db, cause = obstacle_db[here, cell], cause_of_class[path_class[here, cell]]
            most_db = 0.0 if math.isnan(loss_db) else loss_db
            if noise_db[row, cell] > most_db:
                most_db, cause = noise_db[row, cell], NOISE
            if interference_db[row, cell] > most_db:
                same = one_channel[here, interferer[row, cell]]
                most_db, cause = interference_db[row, cell], SAME_CHANNEL if same else NEXT_CHANNEL
            if null_db[here, cell] > most_db:
                most_db, cause = null_db[here, cell], PATTERN_NULL
            found[row, cell] = DISTANCE if most_db < LEAST_CAUSE_DB else cause


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
    station = reception.service_station.astype(np.int64)
    return _greatest(
        np.where(reception.service_chance_percent < confidence_percent, station, -1),
        reception.service_interferer.astype(np.int64),
        reception.service_interference_db.astype(np.float64),
        obstructions.noise_at(noise_db, stored, station),
        obstructions,
        one_channel,
    )
