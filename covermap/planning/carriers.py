"""Which station carries a service in each cell, as far as the result's rasters tell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from covermap.constants import BANDS, UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.results import Results, read_cells
from covermap.planning.shared_errors import ServicePaths

HIGH_VHF = "high_vhf"
OWN_HIGH_VHF_FLAG = 8  # of plan_flags: the list needs an antenna of its own for high VHF
RECEIVED_PERCENT = 50  # judgement: a service counts as received by a plan from this chance on


def groups_of(results: Results) -> tuple[tuple[str, str], ...] | None:
    """Return the sites and bands that carry services, in the record's order; None where it lacks them."""
    carriers = results.run.get("carriers")
    if not carriers:
        return None
    return tuple(dict.fromkeys(_group_of(row) for rows in carriers.values() for row in rows))


def _group_of(row: Mapping[str, str]) -> tuple[str, str]:
    return site_of(row), row["band"]


def site_of(row: Mapping[str, str]) -> str:
    """Return the site of a carrier; results without sites had one a mast."""
    return row.get("site", row["mast"])


def carrying_station(results: Results, service: str, tile: Tile) -> NDArray[np.int64]:
    """Return for each of the tile's N cells the index of the station that carries the service.

    It is the one with the strongest field at 10 m where the result holds the fields, else the first.
    """
    names = _compared_fields(results, service)
    if not names:
        return np.zeros(tile.rows * tile.cols, dtype=np.int64)
    return _strongest(results.read(name, tile).ravel() for name in names)


def carrying_station_of(
    results: Results, service: str, row: NDArray[np.int64], col: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return for each of N cells the index of the station that carries the service; as carrying_station."""
    names = _compared_fields(results, service)
    if not names:
        return np.zeros(row.size, dtype=np.int64)
    return _strongest(read_cells(results, name, row, col) for name in names)


def _compared_fields(results: Results, service: str) -> list[str]:
    """Return the field rasters of a service's stations; none where there is nothing to compare."""
    rows: list[Mapping[str, str]] = results.run["carriers"][service]
    names = [f"field/{row['station_id']}" for row in rows]
    return names if len(names) > 1 and all(results.has(name) for name in names) else []


def _strongest(fields_dbuvm: Iterator[NDArray]) -> NDArray[np.int64]:
    """Return the index of the strongest of fields, the first of equals; unknown is weakest.

    fields_dbuvm : at least one, each (N,). One is held at a time: a network may have hundreds.
    """
    first_dbuvm = next(fields_dbuvm)
    most_dbuvm = np.where(np.isnan(first_dbuvm), -np.inf, first_dbuvm)
    strongest = np.zeros(most_dbuvm.size, dtype=np.int64)
    for index, field_dbuvm in enumerate(fields_dbuvm, start=1):
        stronger = field_dbuvm > most_dbuvm  # never where it is unknown
        strongest[stronger] = index
        most_dbuvm[stronger] = field_dbuvm[stronger]
    return strongest


def service_paths(results: Results, list_name: str, tile: Tile) -> ServicePaths | None:
    """Return the paths that carry each service to the tile's cells; None if the sites are not recorded.

    group : index into groups_of. Results without the raster service_path have open paths.
    """
    groups = groups_of(results)
    if groups is None:
        return None
    found = []
    for service in results.services(list_name):
        of_station = np.array([groups.index(_group_of(row)) for row in results.run["carriers"][service]])
        found.append(of_station[carrying_station(results, service, tile)])
    group = np.stack(found)
    bands = np.array([BANDS.index(band) for _, band in groups])
    name = f"{list_name}/service_path"
    path_class = np.full(group.shape, UNKNOWN_UINT8, dtype=np.uint8)
    if results.has(name):
        path_class = results.read(name, tile).reshape(group.shape)
    return ServicePaths(group, bands[group], path_class)


def needs_high_vhf(results: Results, list_name: str, tile: Tile) -> NDArray[np.bool_] | None:
    """Return in which of the tile's N cells the antenna must be made for high VHF; None if not recorded.

    That is where plan_flags says that one not made for it would lose the list; in results without plan_flags,
    where the stored plan brings a listed service (chance of 50 % or more) from a station there.
    """
    if results.has(f"{list_name}/plan_flags"):
        flags = results.read(f"{list_name}/plan_flags", tile).ravel()
        return (flags != UNKNOWN_UINT8) & ((flags & OWN_HIGH_VHF_FLAG) > 0)
    if groups_of(results) is None:
        return None
    chance_percent = results.read(f"{list_name}/service_chance", tile)
    needs = np.zeros(tile.rows * tile.cols, dtype=bool)
    for service, chance in zip(results.services(list_name), chance_percent, strict=True):
        of_station = np.array([row["band"] == HIGH_VHF for row in results.run["carriers"][service]])
        if of_station.any():
            received = (chance.ravel() >= RECEIVED_PERCENT) & (chance.ravel() <= 100)
            needs |= received & of_station[carrying_station(results, service, tile)]
    return needs
