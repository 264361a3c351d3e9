"""What leaves, or another class of land cover right at the home, would change in the squares with homes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from covermap.constants import SILENT_DBUVM, UNKNOWN_UINT8
from covermap.grid.cover_change import DENSER, MORE_OPEN, cover_change_db, one_class
from covermap.grid.woodland import LONGEST_M, last_wood_m
from covermap.inputs.preparation import Preparation
from covermap.propagation.foliage import leaf_loss_db
from covermap.reception import CellSignals, ListReception
from covermap.reception.rating import SHIFTS_DB, WEAKER
from covermap.tables.foliage import read_foliage
from covermap.terrain.woods import woods_around


@dataclass(frozen=True, eq=False)
class LocalDoubts:
    """Of a list's N cells, 255 where not asked for or unknown.

    tier_in_leaf : uint8 (N,), tier with the last wood before the antenna in leaf
    cover_doubt : uint8 (N,), by how many classes the tier moves, at most, if the cover here were one class
        denser or more open
    """

    tier_in_leaf: NDArray[np.uint8] | None
    cover_doubt: NDArray[np.uint8] | None


@dataclass(frozen=True, eq=False)
class _LookedAt:
    """The cells that are looked at, by their place among N: where they are, and what of N cells is known."""

    cells: NDArray[np.int64]
    signals: CellSignals
    longitude_deg: NDArray[np.float64]
    latitude_deg: NDArray[np.float64]
    receptions: dict[str, ListReception]

    def tiers(self) -> dict[str, NDArray[np.uint8]]:
        """Return each list's tiers of these cells, shape (N,), 255 elsewhere."""
        return {name: self._only(reception.tier) for name, reception in self.receptions.items()}

    def _only(self, tier: NDArray[np.uint8]) -> NDArray[np.uint8]:
        found = np.full(tier.size, UNKNOWN_UINT8, dtype=np.uint8)
        found[self.cells] = tier[self.cells]
        return found


def local_doubts(
    prepared: Preparation,
    signals: CellSignals,
    receptions: dict[str, ListReception],
    longitude_deg: NDArray[np.float64],
    latitude_deg: NDArray[np.float64],
    counted: NDArray[np.bool_],
) -> dict[str, LocalDoubts]:
    """Return the doubts of every list. counted : bool (N,), the cells that are looked at."""
    cells = np.flatnonzero(counted)
    places = longitude_deg[cells], latitude_deg[cells]
    looked_at = _LookedAt(cells, signals, *places, receptions)
    leaf = _in_leaf(prepared, looked_at) if prepared.looks_at_leaves else {}
    cover = _cover_doubt(prepared, looked_at) if prepared.looks_at_cover else {}
    return {name: LocalDoubts(leaf.get(name), cover.get(name)) for name in receptions}


def _in_leaf(prepared: Preparation, looked_at: _LookedAt) -> dict[str, NDArray[np.uint8]]:
    """Return the tier in leaf of every list; only cells with wood before an antenna are worked out again.

    Not even looked at are cells where leaves cannot move any list's tier.
    """
    found = looked_at.tiers()
    most_db = greatest_leaf_loss_db(prepared)
    stays = [stays_in_leaf(reception, most_db) for reception in looked_at.receptions.values()]
    asked = np.flatnonzero(~np.all(stays, axis=0)[looked_at.cells])
    here = looked_at.signals.some(looked_at.cells[asked])
    loss_db = leaf_losses_db(prepared, here, looked_at.longitude_deg[asked], looked_at.latitude_deg[asked])
    wooded = np.flatnonzero((loss_db > 0.0).any(axis=(0, 1)))
    if wooded.size:
        in_leaf = here.some(wooded).moved(-loss_db[:, :, wooded])
        for name, receiver in prepared.receivers.items():
            found[name][looked_at.cells[asked[wooded]]] = receiver.tiers_of(in_leaf)
    return found


def greatest_leaf_loss_db(prepared: Preparation) -> float:
    """Return the most that leaves can take from any station."""
    foliage, stations = read_foliage(), prepared.scenario.stations
    return max(float(leaf_loss_db(foliage, station.frequency_mhz, LONGEST_M)) for station in stations)


def stays_in_leaf(reception: ListReception, most_db: float) -> NDArray[np.bool_]:
    """Return where a list's tier is the same in leaf, shape (N,); most_db : what leaves take at most.

    Where nothing disturbs from elsewhere leaves only take, as much from what disturbs as from what is
    disturbed: what does not hold without them does not hold with them, and what holds with every field 3 dB
    weaker holds with any of them weaker by less.
    """
    if most_db > -SHIFTS_DB[WEAKER]:
        return np.zeros(reception.tier.size, np.bool_)
    return ~reception.disturbed & (reception.tier_weaker == reception.tier)


def leaf_losses_db(
    prepared: Preparation,
    here: CellSignals,
    longitude_deg: NDArray[np.float64],
    latitude_deg: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return what leaves take from every station that is there at every height, (S, H, N), else 0. [dB]"""
    stations, foliage = prepared.scenario.stations, read_foliage()
    loss_db = np.zeros((len(stations), here.heights_m.size, longitude_deg.size))
    around = woods_around(prepared.terrain, latitude_deg, longitude_deg)
    for mast in np.unique(prepared.facts.mast):
        of_mast = np.flatnonzero(prepared.facts.mast == mast)
        wooded = np.flatnonzero((here.field_dbuvm[of_mast] > SILENT_DBUVM).any(axis=(0, 1)))
        for number, height_m in enumerate(here.heights_m):
            bearing_deg = here.bearing_deg[mast][wooded].astype(float)
            wood_m = last_wood_m(around.some(wooded), bearing_deg, height_m)
            for station in of_mast if wood_m.any() else ():
                frequency_mhz = stations[station].frequency_mhz
                loss_db[station, number, wooded] = leaf_loss_db(foliage, frequency_mhz, wood_m)
            wooded = wooded[wood_m > 0.0]  # only there anything may stand before a higher antenna
    return loss_db


def _cover_doubt(prepared: Preparation, looked_at: _LookedAt) -> dict[str, NDArray[np.uint8]]:
    """Return by how many classes each list's tier moves."""
    found, cells = looked_at.tiers(), looked_at.cells
    here = looked_at.signals.some(cells)
    ways = [one_class(here.clutter_height_m, way) for way in (DENSER, MORE_OPEN)]
    places = looked_at.longitude_deg, looked_at.latitude_deg
    moved_db = _cover_changes_db(prepared, here, *places, np.stack(ways))
    for name, tier in found.items():
        tier[cells[tier[cells] != UNKNOWN_UINT8]] = 0
        now = looked_at.receptions[name].tier[cells].astype(np.int64)
        for number, tops_m in enumerate(ways):
            there = np.flatnonzero(~np.isnan(tops_m) & (now != UNKNOWN_UINT8))
            if not there.size:
                continue
            changed = replace(
                here.some(there).moved(-moved_db[number][:, :, there]),
                clutter_height_m=tops_m[there],
                open_land=(tops_m[there] == 0.0) & prepared.terrain.has_land_cover,
            )
            other = prepared.receivers[name].tiers_of(changed).astype(np.int64)
            steps = np.where(other == UNKNOWN_UINT8, 0, np.abs(other - now[there]))
            tier[cells[there]] = np.maximum(tier[cells[there]], steps)
    return found


def _cover_changes_db(
    prepared: Preparation,
    here: CellSignals,
    longitude_deg: NDArray[np.float64],
    latitude_deg: NDArray[np.float64],
    tops_m: NDArray[np.float32],
) -> NDArray[np.float64]:
    """Return what other tops take from every station, shape (T, S, H, N); tops_m : (T, N). [dB]

    Worked out for the stations that any list wants; the others at a cell lose what these lose on the average.
    """
    stations = prepared.scenario.stations
    change_db = np.full((len(tops_m), len(stations), here.heights_m.size, longitude_deg.size), np.nan)
    wanted = prepared.wanted_stations
    for request in sorted({prepared.station_request[index] for index in wanted}):
        group = [index for index in wanted if prepared.station_request[index] == request]
        change_db[:, group] = cover_change_db(
            prepared.terrain,
            prepared.scenario.settings.prediction,
            [stations[index] for index in group],
            prepared.heights_m,
            latitude_deg,
            longitude_deg,
            tops_m,
        )
    others = [index for index in range(len(stations)) if index not in set(wanted)]
    change_db[:, others] = np.mean(change_db[:, list(wanted)], axis=1, keepdims=True)
    return np.nan_to_num(change_db)
