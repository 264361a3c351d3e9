"""Leaves out the stations that cannot matter in an area or at a place, before any path is followed."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.grid.frame import Grid
from covermap.grid.reach import nearest_km
from covermap.propagation.free_space import free_space_field_dbuvm
from covermap.reception import ReceptionOptions
from covermap.reception.required_field import chain_of
from covermap.reception.tiers import TierTable
from covermap.scenario.records import Scenario, Station, WantedList
from covermap.scenario.wanted import MOST_SERVICES

BEYOND_REACH = "beyond reach"
TOO_WEAK = "too weak to lift the noise by 0.1 dB"
LIFT_DB = 0.1  # of the noise of the most sensitive installation
# ITU-R P.1812-8 section 4.2: focusing lifts the field over free space by at most 2.6 log10(50 / p) dB,
# at p = 1 % of time; no other term of the model lowers the loss below that of free space
FOCUSING_DB = 2.6 * math.log10(50.0)
NEAREST_KM = 0.01  # free space has no value at no distance
_GEOD = pyproj.Geod(ellps="WGS84")


def in_grid(scenario: Scenario, grid: Grid, tiers: TierTable, options: ReceptionOptions) -> Scenario:
    """Return the scenario with the stations that can matter somewhere in a grid.

    A station goes if all of the grid lies beyond reach_km, or if even its free-space field at the grid's
    nearest point would lift the noise of the most sensitive installation by less than 0.1 dB; one station
    stays of each service that a list names. Rows left out are counted in left_out, by reason.
    """
    return _within_reach(scenario, nearest_km(grid, *_positions(scenario.stations)), tiers, options)


def stations_heard_at(
    scenario: Scenario,
    places_deg: Sequence[tuple[float, float]],
    tiers: TierTable,
    options: ReceptionOptions,
) -> Scenario:
    """Return the scenario with the stations that can matter at any of several (latitude, longitude)."""
    longitude, latitude = _positions(scenario.stations)
    nearest_km = np.full(longitude.size, np.inf)
    for place_latitude, place_longitude in places_deg:
        there = np.full(longitude.size, place_longitude), np.full(longitude.size, place_latitude)
        nearest_km = np.minimum(nearest_km, _GEOD.inv(longitude, latitude, *there)[2] / 1000.0)
    return _within_reach(scenario, nearest_km, tiers, options)


def of_everything(scenario: Scenario, wanted: WantedList) -> bool:
    """Return whether a list wants some of all services there are, naming none."""
    asked = scenario.settings.wanted.get(wanted.name)  # none: the list of a scenario without lists
    return asked is None or not asked.named


def is_silent_beyond_reach(scenario: Scenario, wanted: WantedList) -> bool:
    """Return whether a service of a list is not there where no transmitter reaches; else it is unknown there.

    So it is in lists of everything and of networks.
    """
    asked = scenario.settings.wanted.get(wanted.name)
    return of_everything(scenario, wanted) or (asked is not None and bool(asked.networks))


def with_stations(scenario: Scenario, kept: NDArray[np.bool_]) -> tuple[Scenario, NDArray[np.bool_]]:
    """Return the scenario with some of its stations, and which those are.

    More than asked may stay, so that every list stays what it asks for; its lists of everything lose the
    services of which no station is left.
    """
    kept = kept.copy()
    alike = np.zeros(kept.size)
    for wanted in scenario.wanted:
        kept[_needed(scenario, wanted, kept, alike)] = True
    return _with_lists(scenario, kept, alike), kept


def named_carriers(scenario: Scenario) -> set[int]:
    """Return the stations of the services that a list names as such, not as a network."""
    named = (wanted for wanted in scenario.wanted if not is_silent_beyond_reach(scenario, wanted))
    return {index for wanted in named for group in wanted.transmitters for index in group}


def without_carriers(scenario: Scenario, lost: NDArray[np.bool_]) -> Scenario:
    """Return the scenario whose lists of everything leave out services of which every station is lost.

    lost : by station; the stations stay, as interferers. A list that would lack services for its at_least
        stays as it is
    """
    lists = []
    for wanted in scenario.wanted:
        kept = [
            (service, tuple(index for index in group if not lost[index]))
            for service, group in zip(wanted.services, wanted.transmitters, strict=True)
        ]
        kept = [(service, group) for service, group in kept if group]
        enough = of_everything(scenario, wanted) and len(kept) >= wanted.needed
        lists.append(_of(wanted, kept) if enough else wanted)
    return replace(scenario, wanted=tuple(lists))


def _positions(stations: Sequence[Station]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of stations in degrees."""
    places = np.array([(station.longitude_deg, station.latitude_deg) for station in stations])
    return places[:, 0].copy(), places[:, 1].copy()


def heard(
    scenario: Scenario, field_dbuvm: NDArray[np.float64], tiers: TierTable, options: ReceptionOptions
) -> Scenario:
    """Return the scenario with the stations whose fields at a place can matter there; see in_grid.

    field_dbuvm : the greatest field of each station, NaN where its path is not known: it stays
    """
    field_dbuvm = np.where(np.isnan(field_dbuvm), np.inf, field_dbuvm)
    return _narrowed(scenario, field_dbuvm, np.ones(field_dbuvm.size, dtype=bool), tiers, options)


def _within_reach(
    scenario: Scenario, distance_km: NDArray[np.float64], tiers: TierTable, options: ReceptionOptions
) -> Scenario:
    """Return the scenario without the stations that cannot matter at their least distances."""
    prediction = scenario.settings.prediction
    bound_dbuvm = np.array(
        [
            free_space_field_dbuvm(10.0 * math.log10(station.erp_kw), max(least_km, NEAREST_KM))
            for station, least_km in zip(scenario.stations, distance_km, strict=True)
        ]
    )
    # readings may lift a field above what a model gives
    bound_dbuvm += FOCUSING_DB if prediction.calibration is None else np.inf
    return _narrowed(scenario, bound_dbuvm, distance_km <= prediction.reach_km, tiers, options)


def _narrowed(
    scenario: Scenario,
    bound_dbuvm: NDArray[np.float64],
    reached: NDArray[np.bool_],
    tiers: TierTable,
    options: ReceptionOptions,
) -> Scenario:
    """Return the scenario without the stations beyond reach, and those too weak by a bound of their field."""
    noise_dbuvm = _noise_dbuvm(scenario.stations, tiers, options)
    # A field that lifts noise by 0.1 dB is 16.3 dB under it: 10 log(10^0.01 - 1).
    kept = reached & (bound_dbuvm >= noise_dbuvm + 10.0 * math.log10(10.0 ** (LIFT_DB / 10.0) - 1.0))
    for wanted in scenario.wanted:
        kept[_needed(scenario, wanted, kept, bound_dbuvm)] = True
    left_out = dict(scenario.left_out)
    for reason, gone in ((BEYOND_REACH, ~kept & ~reached), (TOO_WEAK, ~kept & reached)):
        if gone.any():
            left_out[reason] = left_out.get(reason, 0) + int(gone.sum())
    narrowed = _with_lists(scenario, kept, bound_dbuvm)
    rows = {station.source for station, stays in zip(scenario.stations, kept, strict=True) if not stays}
    # what is wrong with a row that is left out concerns nobody
    warnings = tuple(warning for warning in narrowed.warnings if _row_of(warning) not in rows)
    return replace(narrowed, left_out=left_out, warnings=warnings)


def _row_of(warning: str) -> str:
    """Return where the row stands that a warning is on, as Station.source has it; the warning without one."""
    found = re.match(r"(.*?, (line|feature) \d+)\b", warning)
    return found[1] if found else warning


def _needed(
    scenario: Scenario, wanted: WantedList, kept: NDArray[np.bool_], bound_dbuvm: NDArray[np.float64]
) -> list[int]:
    """Return stations to keep though they cannot matter, so that a list stays what it asks for.

    One of each named service, or of as many services as a list of everything lacks to its at_least: none of
    them is received, and the list is then not promised.
    """
    lost = [group for group in wanted.transmitters if not any(kept[index] for index in group)]
    best = [max(group, key=lambda index: float(bound_dbuvm[index])) for group in lost]
    if not of_everything(scenario, wanted):
        return best
    lacking = wanted.needed - (len(wanted.services) - len(lost))
    return sorted(best, key=lambda index: -float(bound_dbuvm[index]))[: max(0, lacking)]


def _noise_dbuvm(
    stations: Sequence[Station], tiers: TierTable, options: ReceptionOptions
) -> NDArray[np.float64]:
    """Return the field at which each station's carrier equals the noise of the most sensitive tier."""
    known: dict[tuple[float, float], float] = {}
    for station in stations:
        key = (station.frequency_mhz, station.bandwidth_mhz)
        if key not in known:
            known[key] = min(-chain_of(tier, *key, options).cn_minus_field_db for tier in tiers.tiers)
    return np.array([known[station.frequency_mhz, station.bandwidth_mhz] for station in stations])


def _with_lists(scenario: Scenario, kept: NDArray[np.bool_], bound_dbuvm: NDArray[np.float64]) -> Scenario:
    """Return the scenario with the kept stations, its lists of everything cut to what is kept."""
    # place of each kept station among those kept
    new_index = np.cumsum(kept) - 1
    lists, warnings = [], list(scenario.warnings)
    for wanted in scenario.wanted:
        groups = [
            (service, tuple(index for index in group if kept[index]))
            for service, group in zip(wanted.services, wanted.transmitters, strict=True)
        ]
        groups = [(service, group) for service, group in groups if group]
        if len(groups) > MOST_SERVICES:
            found, groups = len(groups), _strongest(groups, bound_dbuvm)
            warnings.append(
                f'List "{wanted.name}": {found} services are in reach; the {MOST_SERVICES} that could be '
                "strongest are in the list, the others only interfere."
            )
        renumbered = [(service, tuple(int(new_index[i]) for i in group)) for service, group in groups]
        lists.append(_of(wanted, renumbered))
    stations = tuple(s for s, stays in zip(scenario.stations, kept, strict=True) if stays)
    return replace(scenario, stations=stations, wanted=tuple(lists), warnings=tuple(warnings))


def _of(wanted: WantedList, groups: Sequence[tuple[str, tuple[int, ...]]]) -> WantedList:
    """Return a list with other services."""
    services, transmitters = zip(*groups, strict=True)
    return replace(wanted, services=services, transmitters=transmitters)


def _strongest(
    groups: list[tuple[str, tuple[int, ...]]], bound_dbuvm: NDArray[np.float64]
) -> list[tuple[str, tuple[int, ...]]]:
    """Return the MOST_SERVICES services with the greatest bound, in their order."""
    by_bound = sorted(groups, key=lambda one: -max(float(bound_dbuvm[index]) for index in one[1]))
    chosen = {service for service, _ in by_bound[:MOST_SERVICES]}
    return [one for one in groups if one[0] in chosen]
