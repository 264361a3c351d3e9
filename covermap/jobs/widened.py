"""What a part of a map found of the stations in reach, in the numbers of the whole map."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.inputs.in_reach import Numbers
from covermap.reception import Records
from covermap.reception.causes import CAUSES
from covermap.reception.services import ServiceCounts
from covermap.scenario.records import WantedList

BEYOND_REACH = CAUSES.index("distance")  # why a service no station of which is in reach does not arrive


def widened(records: Records, numbers: Numbers, wanted: WantedList) -> Records:
    """Return the records of a part's cells in the numbers of the whole map.

    wanted : the list as the whole map has it. Services without a station in reach do not arrive, by distance.
    """
    found, services = records.reception, wanted.services
    of_list = numbers.services[wanted.name]
    known = found.tier != UNKNOWN_UINT8

    def by_service(values: NDArray, beyond: int, unknown: int) -> NDArray:
        whole = np.where(known, beyond, unknown).astype(values.dtype)
        whole = np.repeat(whole[np.newaxis], len(services), axis=0)
        whole[of_list] = values
        return whole

    def station(values: NDArray[np.int16]) -> NDArray[np.int16]:
        return np.where(values < 0, values, numbers.stations[values]).astype(np.int16)

    def service(values: NDArray[np.uint8]) -> NDArray[np.uint8]:
        inside = np.minimum(values, of_list.size - 1)
        return np.where(values == UNKNOWN_UINT8, values, of_list[inside]).astype(np.uint8)

    reception = replace(
        found,
        limiting_service=service(found.limiting_service),
        deciding_service=service(found.deciding_service),
        service_chance_percent=by_service(found.service_chance_percent, 0, UNKNOWN_UINT8),
        service_chance_one_lower_percent=by_service(found.service_chance_one_lower_percent, 0, UNKNOWN_UINT8),
        service_station=by_service(station(found.service_station), -1, -1),
        service_interference_db=by_service(found.service_interference_db, 0, UNKNOWN_UINT8),
        service_interferer=by_service(station(found.service_interferer), -1, -1),
        deciding_station=station(found.deciding_station),
        deciding_interferer=station(found.deciding_interferer),
    )
    cause = by_service(records.service_cause, BEYOND_REACH, UNKNOWN_UINT8)
    return replace(records, reception=reception, service_cause=cause, services=services)


def widened_counts(
    counts: ServiceCounts, numbers: Numbers, services: tuple[str, ...], on_map: NDArray[np.bool_]
) -> ServiceCounts:
    """Return the services counted in a part's cells as the whole map has them.

    services : all of them. on_map : (N,), asked cells of known ground: no service arrives there where none of
    the part's is known and another's stations are all beyond reach
    """
    known = (counts.tiers[0] != UNKNOWN_UINT8) | (on_map & numbers.silent)
    count = np.where(known & (counts.count == UNKNOWN_UINT8), 0, counts.count).astype(np.uint8)
    whole = np.repeat(np.where(known, 0, UNKNOWN_UINT8).astype(np.uint8)[np.newaxis], len(services), axis=0)
    whole[numbers.counted] = np.where(known & (counts.tiers == UNKNOWN_UINT8), 0, counts.tiers)
    return ServiceCounts(count, whole, services)
