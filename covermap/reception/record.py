"""What reception says of one receiver site and one wanted list: a cell of its arrays, or an address alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.reception.causes import BY_INTERFERENCE, CAUSES, Obstructions, main_cause, service_causes
from covermap.reception.receive import ListReceiver
from covermap.reception.signals import (
    AMPLIFIER_CODES,
    DIPLEXED,
    LOST_AT_NIGHT,
    MAY_OVERLOAD,
    NEEDS_FILTER,
    OWN_HIGH_VHF,
    SECOND_VERTICAL,
    SMOOTH_EARTH,
    VERTICAL_MOUNT,
    CellSignals,
    ListReception,
)

REMARKS = {
    NEEDS_FILTER: "needs_filter",
    MAY_OVERLOAD: "may_overload",
    LOST_AT_NIGHT: "lost_at_night",
    OWN_HIGH_VHF: "own_high_vhf",
    SMOOTH_EARTH: "smooth_earth",
}


@dataclass(frozen=True)
class ReceiverRecord:
    """The answer at one receiver site for one wanted list.

    tier : 1 to 8, None unknown (then nothing else is known); of the least costly installation that holds
    joined : single, combined or diplexed (the second antenna then brings UHF)
    aims_deg, polarizations, aim_ranges_deg : one an antenna; a range is the first and last whole azimuth,
        clockwise, that keeps the list with the other antenna standing, None where it is not promised
    chance_percent : of the list with the plan (tier 8: tier 7's); tier_chance_percent : with one antenna of
        each tier; dead_zone_chance_percent : that tier 7 brings at least dead_zone_services
    limiting_service : lowest chance with the plan; deciding_service : one tier lower, None for tier 1 and
        where some of the list are enough
    service_chance_percent, service_cause : service -> alone with the plan; a cause is "" where it is not weak
    service_station, service_interferer : service -> index of the station that brings it, and of the one that
        interferes most with it, -1 none; service_interference_db : what interference takes from it
    kept_one_lower : services that alone reach the confidence one tier lower
    tier_without_deciding : of the list without its deciding service, None where some are enough
    tier_weaker, tier_stronger : every field 3 dB weaker and stronger, aims as they are; None not asked for
    main_cause : of covermap.reception.causes.CAUSES, "" where tier 1 does
    main_interferer : index of the station behind the main cause, -1 where no other station is
    amplifier : of AMPLIFIER_CODES, "" where no tier has one
    remarks : of REMARKS
    """

    tier: int | None
    joined: str = ""
    aims_deg: tuple[int, ...] = ()
    polarizations: tuple[str, ...] = ()
    aim_ranges_deg: tuple[tuple[int, int] | None, ...] = ()
    chance_percent: int | None = None
    tier_chance_percent: tuple[int, ...] = ()
    dead_zone_chance_percent: int | None = None
    limiting_service: str | None = None
    deciding_service: str | None = None
    service_chance_percent: dict[str, int] | None = None
    service_cause: dict[str, str] | None = None
    service_station: dict[str, int] | None = None
    service_interferer: dict[str, int] | None = None
    service_interference_db: dict[str, int] | None = None
    kept_one_lower: tuple[str, ...] = ()
    tier_without_deciding: int | None = None
    tier_weaker: int | None = None
    tier_stronger: int | None = None
    main_cause: str = ""
    main_interferer: int = -1
    amplifier: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Records:
    """The records of N cells, as arrays; main_cause (N,) and service_cause (V, N) are indices into CAUSES."""

    reception: ListReception
    main_cause: NDArray[np.uint8]
    service_cause: NDArray[np.uint8]
    services: tuple[str, ...]
    confidence_percent: float

    def at(self, cell: int) -> ReceiverRecord:
        """Return the record of one cell."""
        found = self.reception
        if found.tier[cell] == UNKNOWN_UINT8:
            return ReceiverRecord(None)
        lower = found.service_chance_one_lower_percent[:, cell]
        flags, two = int(found.plan_flags[cell]), found.second_aim_deg[cell] >= 0
        tier, chances = int(found.tier[cell]), found.tier_chance_percent[:, cell].tolist()
        code = int(found.amplifier[cell])
        cause = _cause(int(self.main_cause[cell]))
        return ReceiverRecord(
            tier=tier,
            joined=_joined(flags, bool(two)),
            aims_deg=tuple(int(aim[cell]) for aim in (found.aim_deg, found.second_aim_deg)[: 1 + int(two)]),
            polarizations=tuple(
                "vertical" if flags & bit else "horizontal"
                for bit in (VERTICAL_MOUNT, SECOND_VERTICAL)[: 1 + int(two)]
            ),
            aim_ranges_deg=self._ranges(cell, bool(two)),
            chance_percent=int(found.two_antennas_chance_percent[cell])
            if two
            else chances[min(tier, TIER_COUNT) - 1],
            tier_chance_percent=tuple(chances),
            dead_zone_chance_percent=int(found.dead_zone_chance_percent[cell]),
            limiting_service=self._service(int(found.limiting_service[cell])),
            deciding_service=self._service(int(found.deciding_service[cell])),
            service_chance_percent=self._by_service(found.service_chance_percent[:, cell]),
            service_cause={
                service: _cause(int(cause))
                for service, cause in zip(self.services, self.service_cause[:, cell], strict=True)
            },
            service_station=self._by_service(found.service_station[:, cell]),
            service_interferer=self._by_service(found.service_interferer[:, cell]),
            service_interference_db=self._by_service(found.service_interference_db[:, cell]),
            kept_one_lower=tuple(
                service
                for service, chance in zip(self.services, lower, strict=True)
                if tier > 1 and chance >= self.confidence_percent
            ),
            tier_without_deciding=_known(int(found.tier_without_deciding[cell])),
            tier_weaker=_known(int(found.tier_weaker[cell])),
            tier_stronger=_known(int(found.tier_stronger[cell])),
            main_cause=cause,
            main_interferer=int(found.deciding_interferer[cell]) if cause in BY_INTERFERENCE else -1,
            amplifier="" if code == UNKNOWN_UINT8 else AMPLIFIER_CODES[code],
            remarks=tuple(name for bit, name in REMARKS.items() if flags & bit),
        )

    def _service(self, index: int) -> str | None:
        return None if index == UNKNOWN_UINT8 else self.services[index]

    def _by_service(self, values: NDArray) -> dict[str, int]:
        return {service: int(value) for service, value in zip(self.services, values, strict=True)}

    def _ranges(self, cell: int, two: bool) -> tuple[tuple[int, int] | None, ...]:
        found = self.reception
        ends = [(found.aim_from_deg[cell], found.aim_to_deg[cell])]
        if two:
            ends.append((found.second_from_deg[cell], found.second_to_deg[cell]))
        return tuple(None if first < 0 else (int(first), int(last)) for first, last in ends)


def explained(
    receiver: ListReceiver,
    reception: ListReception,
    obstructions: Obstructions,
    smooth_earth: NDArray[np.bool_],
) -> Records:
    """Return the records of cells from their reception and what stands in the way; remarks are completed.

    smooth_earth : bool (N,), where an interferer's path was taken over smooth earth
    """
    reception.plan_flags[smooth_earth & (reception.tier != UNKNOWN_UINT8)] |= SMOOTH_EARTH
    noise_db = receiver.noise_db if obstructions.environment is not None else receiver.noise_of_options_db
    reasons = noise_db, obstructions, receiver.one_channel
    confidence_percent = receiver.asked.confidence_percent
    return Records(
        reception,
        main_cause(reception, *reasons),
        service_causes(reception, confidence_percent, *reasons),
        receiver.services,
        confidence_percent,
    )


def record_with_plans(
    receiver: ListReceiver, signals: CellSignals, obstructions: Obstructions, smooth_earth: bool
) -> tuple[ReceiverRecord, NDArray[np.float64]]:
    """Return the record of a single cell, and its plans as ListReceiver.receive_with_plans has them."""
    reception, plans = receiver.receive_with_plans(signals)
    return explained(receiver, reception, obstructions, np.array([smooth_earth])).at(0), plans[0]


def _joined(flags: int, two: bool) -> str:
    if not two:
        return "single"
    return "diplexed" if flags & DIPLEXED else "combined"


def _cause(index: int) -> str:
    return "" if index == UNKNOWN_UINT8 else CAUSES[index]


def _known(tier: int) -> int | None:
    return None if tier == UNKNOWN_UINT8 else tier
