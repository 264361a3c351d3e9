"""What reception takes and gives: one record of arrays each way, cells along the last axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from covermap.reception.surroundings import Surroundings


@dataclass(frozen=True, eq=False)
class StationFacts:
    """What reception must know of the S stations, one value a station.

    mast : whole numbers, equal for stations at one position: the row of their bearing and distance
    polarization : 0 horizontal, 1 vertical, 2 slant or circular
    network : whole numbers, equal for stations of one single-frequency network; -1 for none
    delay_us : of the station's signal within its network
    window_us : within which signals of a network add up
    indoor_cn_db : C/N required indoors, where no direct ray comes in; None: required_cn_db
    site : whole numbers, equal for stations that stand together, whose signals rise and fall together; None:
        each mast is its own
    """

    frequency_mhz: NDArray[np.float64]
    bandwidth_mhz: NDArray[np.float64]
    required_cn_db: NDArray[np.float64]
    mast: NDArray[np.int64]
    polarization: NDArray[np.int64]
    network: NDArray[np.int64] = None  # type: ignore[assignment]
    delay_us: NDArray[np.float64] = None  # type: ignore[assignment]
    window_us: NDArray[np.float64] = None  # type: ignore[assignment]
    site: NDArray[np.int64] = None  # type: ignore[assignment]
    indoor_cn_db: NDArray[np.float64] = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        """Stand alone, without a network and at its mast's own site, where nothing else is said."""
        count = np.asarray(self.frequency_mhz).size
        for name, value in (("network", -1), ("delay_us", 0.0), ("window_us", 0.0)):
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.full(count, value))
        if self.site is None:
            object.__setattr__(self, "site", np.asarray(self.mast, np.int64))
        if self.indoor_cn_db is None:
            object.__setattr__(self, "indoor_cn_db", np.asarray(self.required_cn_db, np.float64))


@dataclass(frozen=True, eq=False)
class CellSignals:
    """The N cells of a tile as reception sees them.

    heights_m : shape (H,), mount heights that are paths, increasing, the first is 10
    field_dbuvm : float32, shape (S, H, N), median over locations at the wanted time percentage,
        ERP and transmitting patterns included; NaN is unknown
    bearing_deg : float32, shape (M, N), azimuth from the cell to each mast, clockwise from true north
    clutter_height_m, open_land, environment, building : shape (N,), what stands around the cell and what its
        homes are, as covermap.reception.surroundings.Surroundings
    unwanted_field_dbuvm : as field_dbuvm at the unwanted time percentage; None: equal to it
    median_field_dbuvm : as field_dbuvm at 50 % of time, what overloads and what interferes by day; None:
        equal to it
    distance_km : float32, shape (M, N), to each mast; None: no single-frequency network is looked at
    path_class : uint8, shape (S, N), what stands in the way, index into
        covermap.propagation.ridges.PATH_CLASSES; None, or another number: taken for open paths
    """

    heights_m: NDArray[np.float64]
    field_dbuvm: NDArray[np.float32]
    bearing_deg: NDArray[np.float32]
    clutter_height_m: NDArray[np.float32]
    open_land: NDArray[np.bool_]
    unwanted_field_dbuvm: NDArray[np.float32] | None = None
    median_field_dbuvm: NDArray[np.float32] | None = None
    distance_km: NDArray[np.float32] | None = None
    path_class: NDArray[np.uint8] | None = None
    environment: NDArray[np.uint8] | None = None
    building: NDArray[np.uint8] | None = None

    @property
    def surroundings(self) -> Surroundings:
        """Return what stands around each cell and what its homes are."""
        return Surroundings(self.clutter_height_m, self.open_land, self.environment, self.building)

    def moved(self, shift_db: NDArray[np.float64]) -> CellSignals:
        """Return the same cells with every field moved by shift_db, shape (S, H, N). [dB]"""
        fields = {
            name: (values + shift_db).astype(np.float32)
            for name in ("field_dbuvm", "unwanted_field_dbuvm", "median_field_dbuvm")
            if (values := getattr(self, name)) is not None
        }
        return replace(self, **fields)

    def some(self, cells: slice | NDArray) -> CellSignals:
        """Return some of the cells."""
        names = (
            "field_dbuvm", "bearing_deg", "clutter_height_m", "open_land", "unwanted_field_dbuvm",
            "median_field_dbuvm", "distance_km", "path_class", "environment", "building",
        )  # fmt: skip
        held = {name: getattr(self, name) for name in names}
        some = {name: np.ascontiguousarray(v[..., cells]) for name, v in held.items() if v is not None}
        return replace(self, **some)


def joined_cells(parts: Sequence[CellSignals]) -> CellSignals:
    """Return the cells of several parts, at least one, one part after the other; of the same stations."""
    if len(parts) == 1:
        return parts[0]
    names = [field.name for field in fields(CellSignals) if field.name != "heights_m"]
    held = {name: [getattr(part, name) for part in parts] for name in names}
    joined = {name: np.concatenate(v, axis=-1) for name, v in held.items() if v[0] is not None}
    return replace(parts[0], **joined)


# Bits of ListReception.plan_flags.
NEEDS_FILTER = 1
MAY_OVERLOAD = 2
LOST_AT_NIGHT = 4
OWN_HIGH_VHF = 8
DIPLEXED = 16
VERTICAL_MOUNT = 32
SMOOTH_EARTH = 64
SECOND_VERTICAL = 128

# What an amplifier does at the mount of the answer; ListReception.amplifier holds the place of one.
AMPLIFIER_CODES = (
    "not_needed", "helps", "helps_with_filter", "no_use_noise", "no_use_interference", "no_use_signal",
    "harms",
)  # fmt: skip
(
    AMPLIFIER_NOT_NEEDED, AMPLIFIER_HELPS, AMPLIFIER_HELPS_WITH_FILTER, AMPLIFIER_NO_USE_NOISE,
    AMPLIFIER_NO_USE_INTERFERENCE, AMPLIFIER_NO_USE_SIGNAL, AMPLIFIER_HARMS,
) = range(7)  # fmt: skip


@dataclass(frozen=True, eq=False)
class ListReception:
    """What N cells need for one wanted list of V services.

    tier : uint8 (N,), 1 to 8, that of the least costly installation that holds the list, 255 unknown
    tier_chance_percent : uint8 (7, N), joint confidence with the best plan of one antenna of each tier,
        overload left out, 255 unknown
    two_antennas_chance_percent : uint8 (N,), that of the stored plan where it has two, 255 elsewhere
    dead_zone_chance_percent : uint8 (N,), chance that tier 7 brings at least dead_zone_services
    margin_db : float32 (N,), worst margin of the wanted services with tier 5's best plan of one antenna, NaN
        unknown
    stored_margin_db : float32 (N,), the same with the stored plan (tier 8: tier 7's plan)
    aim_deg : int16 (N,), azimuth of the stored plan, whole degrees, -1 unknown
    limiting_service, deciding_service : uint8 (N,), index into the list's services, 255 none or unknown
    service_chance_percent : uint8 (V, N), chance of each service alone with the stored plan, 255 unknown
    service_chance_one_lower_percent : uint8 (V, N), the same with the best plan one tier lower
        (tier 1: 0)
    second_aim_deg : int16 (N,), azimuth of the second antenna, -1 where one will do or unknown
    aim_from_deg, aim_to_deg : int16 (N,), first and last whole azimuth, clockwise, of the first antenna that
        keep the list at the confidence; 0 and 359 all around, -1 not promised or unknown
    second_from_deg, second_to_deg : the same of the second antenna, -1 without
    plan_flags : uint8 (N,), bits NEEDS_FILTER, MAY_OVERLOAD, LOST_AT_NIGHT (interference at the unwanted
        time percentage costs the picture that interference at 50 % of time would leave), OWN_HIGH_VHF (an
        antenna not made for high VHF would lose the list), DIPLEXED, VERTICAL_MOUNT, SECOND_VERTICAL
    amplifier : uint8 (N,), what one does at the mount of the stored plan, a place in AMPLIFIER_CODES; 255
        unknown or no tier has one
    tier_without_deciding : uint8 (N,), the tier without the deciding service; 255 unknown
    tier_weaker, tier_stronger, dead_weaker, dead_stronger : uint8 (N,), tier and dead-zone chance with every
        field 3 dB weaker and stronger and the antennas as they are aimed; 255 where not asked for
    service_station : int16 (V, N), the station that brings each service with the stored plan, -1 unknown
    service_interference_db : uint8 (V, N), what interference takes from its margin, whole dB
    service_interferer : int16 (V, N), the station that takes most of that, -1 where none does
    deciding_station : int16 (N,), the deciding service's station with the plan one tier lower, -1 none
    deciding_interference_db : uint8 (N,), what interference takes from it there
    deciding_interferer : int16 (N,), the station that takes most of that, -1 where none does
    interference_decides : bool (N,), whether without interference one tier lower would do
    disturbed : bool (N,), whether another station than one of its own mast, band and polarization could take
        from a wanted service, or add to it, with any antenna
    """

    tier: NDArray[np.uint8]
    tier_chance_percent: NDArray[np.uint8]
    two_antennas_chance_percent: NDArray[np.uint8]
    dead_zone_chance_percent: NDArray[np.uint8]
    margin_db: NDArray[np.float32]
    stored_margin_db: NDArray[np.float32]
    aim_deg: NDArray[np.int16]
    limiting_service: NDArray[np.uint8]
    deciding_service: NDArray[np.uint8]
    service_chance_percent: NDArray[np.uint8]
    service_chance_one_lower_percent: NDArray[np.uint8]
    second_aim_deg: NDArray[np.int16]
    aim_from_deg: NDArray[np.int16]
    aim_to_deg: NDArray[np.int16]
    second_from_deg: NDArray[np.int16]
    second_to_deg: NDArray[np.int16]
    plan_flags: NDArray[np.uint8]
    amplifier: NDArray[np.uint8]
    tier_without_deciding: NDArray[np.uint8]
    tier_weaker: NDArray[np.uint8]
    tier_stronger: NDArray[np.uint8]
    dead_weaker: NDArray[np.uint8]
    dead_stronger: NDArray[np.uint8]
    service_station: NDArray[np.int16]
    service_interference_db: NDArray[np.uint8]
    service_interferer: NDArray[np.int16]
    deciding_station: NDArray[np.int16]
    deciding_interference_db: NDArray[np.uint8]
    deciding_interferer: NDArray[np.int16]
    interference_decides: NDArray[np.bool_]
    disturbed: NDArray[np.bool_]
