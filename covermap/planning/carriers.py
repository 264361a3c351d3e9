"""Which station carries a service in each cell, as far as the result's rasters tell."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from covermap.grid.frame import Tile
from covermap.planning.results import Results

HIGH_VHF = "high_vhf"
RECEIVED_PERCENT = 50  # judgement: a service counts as received by a plan from this chance on


def masts_of(results: Results) -> tuple[str, ...] | None:
    """Return the masts that carry services, in the order of the record; None where the record lacks them."""
    carriers = results.run.get("carriers")
    if not carriers:
        return None
    return tuple(dict.fromkeys(row["mast"] for rows in carriers.values() for row in rows))


def carrying_station(results: Results, service: str, tile: Tile) -> NDArray[np.int64]:
    """Return for each of the tile's N cells the index of the station that carries the service.

    It is the one with the strongest field at 10 m where the result holds the fields, else the first.
    """
    rows: list[Mapping[str, str]] = results.run["carriers"][service]
    best = np.zeros(tile.rows * tile.cols, dtype=np.int64)
    if len(rows) < 2 or not all(results.has(f"field/{row['station_id']}") for row in rows):
        return best
    fields_dbuvm = np.stack([results.read(f"field/{row['station_id']}", tile).ravel() for row in rows])
    return np.argmax(np.where(np.isnan(fields_dbuvm), -np.inf, fields_dbuvm), axis=0)


def carrying_masts(results: Results, list_name: str, tile: Tile) -> NDArray[np.int64] | None:
    """Return the mast (index into masts_of) that carries each service, shape (V, N); None if not recorded."""
    masts = masts_of(results)
    if masts is None:
        return None
    found = []
    for service in results.services(list_name):
        of_station = np.array([masts.index(row["mast"]) for row in results.run["carriers"][service]])
        found.append(of_station[carrying_station(results, service, tile)])
    return np.stack(found)


def needs_high_vhf(results: Results, list_name: str, tile: Tile) -> NDArray[np.bool_] | None:
    """Return in which of the tile's N cells the antenna must carry high VHF; None if not recorded.

    That is where the stored plan brings a listed service (chance of 50 % or more) from a station there.
    """
    if masts_of(results) is None:
        return None
    chance_percent = results.read(f"{list_name}/service_chance", tile)
    needs = np.zeros(tile.rows * tile.cols, dtype=bool)
    for service, chance in zip(results.services(list_name), chance_percent, strict=True):
        of_station = np.array([row["band"] == HIGH_VHF for row in results.run["carriers"][service]])
        if of_station.any():
            received = (chance.ravel() >= RECEIVED_PERCENT) & (chance.ravel() <= 100)
            needs |= received & of_station[carrying_station(results, service, tile)]
    return needs
