"""The stations in reach of a part of a map, so that what a square costs follows what can reach it."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from covermap.grid.frame import Tile
from covermap.grid.reach import reaching
from covermap.inputs.preparation import Preparation
from covermap.inputs.stations_that_count import with_stations
from covermap.scenario.wanted import every_service

OF_THE_GROUND = ("surroundings", "looks_at_cover")  # of a preparation: the same whatever the stations
KEPT_PARTS = 8  # neighbouring parts have the same masts, or a few
_MAKING = threading.Lock()


@dataclass(frozen=True, eq=False)
class Numbers:
    """What the stations and services of a part are in the whole map.

    stations : (S,), each one's place among the map's
    services : list -> (V,), each one's place among the list's; counted : likewise, of every service there is
    silent : whether some of the stations beyond reach are known not to be there
    """

    stations: NDArray[np.int64]
    services: dict[str, NDArray[np.int64]]
    counted: NDArray[np.int64]
    silent: bool


@dataclass(frozen=True, eq=False)
class InReach:
    """The inputs of a part of a map with the stations in reach; numbers is None where those are all."""

    prepared: Preparation
    numbers: Numbers | None


def in_reach_of(prepared: Preparation, part: Tile) -> InReach:
    """Return the inputs of a map with the stations in reach of a part of it; some are kept for the next part.

    What a list names stays in it, with one station at least. What reaches a part is told by reach_km alone,
    so that no cell's answer depends on the part it is asked with.
    """
    reached = reaching(prepared.requests, part)
    if reached.all():
        return InReach(prepared, None)
    # lru_cache lets two threads that miss at once both make it.
    with _MAKING:
        return _of_masts(prepared, reached.tobytes())


@lru_cache(maxsize=KEPT_PARTS)
def _of_masts(prepared: Preparation, reached: bytes) -> InReach:
    """Return the inputs with the stations of some masts."""
    of_mast = np.frombuffer(reached, dtype=bool)
    scenario, kept = with_stations(prepared.scenario, of_mast[np.array(prepared.station_request)])
    fewer = prepared.of_stations(scenario)
    # Given as made already: a cached_property looks in vars() first. Asked anew they would depend on the
    # stations kept.
    for name in OF_THE_GROUND:
        vars(fewer)[name] = getattr(prepared, name)
    # Too many to count on the whole map stays so on a part that has fewer: parts of one map must hold the
    # same layers.
    if not prepared.counted_services:
        vars(fewer)["counted_services"] = ()
    every = every_service(prepared.scenario.stations).services
    numbers = Numbers(
        stations=np.flatnonzero(kept),
        services={
            whole.name: _places(whole.services, part.services)
            for whole, part in zip(prepared.scenario.wanted, scenario.wanted, strict=True)
        },
        counted=_places(every, every_service(scenario.stations).services),
        silent=bool(prepared.silent_beyond_reach[~kept].any()),
    )
    return InReach(fewer, numbers)


def _places(of_map: tuple[str, ...], of_part: tuple[str, ...]) -> NDArray[np.int64]:
    place = {name: number for number, name in enumerate(of_map)}
    return np.array([place[name] for name in of_part], dtype=np.int64)
