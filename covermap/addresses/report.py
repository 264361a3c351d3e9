"""The record of one address: what the sheet, the JSON and a Python prompt all read."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from covermap.bearings import Declination, SunPosition
from covermap.grid.exact_path import PointProfile


@dataclass(frozen=True)
class TierPlan:
    """One class of antenna with its best plan.

    tier : 1 to 7; name : of the tier table
    aims_deg : true azimuths, one an antenna; directional : False where every aim is alike
    polarization : of the mount
    chance_percent : that the needed services arrive together, 0 to 100
    bounds_percent : elementary bounds of the chance of all
    service_chance_percent, margin_db : service -> alone
    lost : services whose own chance is below the confidence
    """

    tier: int
    name: str
    aims_deg: tuple[float, ...]
    directional: bool
    polarization: str
    chance_percent: float
    bounds_percent: tuple[float, float]
    service_chance_percent: dict[str, float]
    margin_db: dict[str, float]
    lost: tuple[str, ...]


@dataclass(frozen=True)
class Without:
    """What giving one service up would need: the lowest tier (8 not promised) and its chance."""

    service: str
    tier: int
    chance_percent: float


@dataclass(frozen=True)
class Change:
    """What one change would need: the lowest tier (8 not promised), its chance and its aims.

    key : weaker_3db, higher_3m, in_leaf or noisier; words : for people
    """

    key: str
    words: str
    tier: int
    chance_percent: float
    aims_deg: tuple[float, ...]


@dataclass(frozen=True)
class RidgeAtPlace:
    """One ridge between a mast and the point; distance from the point. loss_db is of this edge alone."""

    distance_km: float
    ground_m: float
    height_above_line_m: float
    loss_db: float


@dataclass(frozen=True)
class StationAtPlace:
    """One station at the point.

    letter : how the sheet refers to it; on_list : carries a service of the wanted list
    status : ok, near (within 250 m), unknown (the path leaves the elevation), out_of_reach
    field_dbuvm : at 10 m, half of the time, on the point's own path; cell_field_dbuvm : of the map's cell
    adjustment_db : added by calibration before the margin is reckoned
    margin_db, chance_percent : alone, with the stored plan; NaN unknown
    azimuth_deg : from the point; off_aim_deg : angle to the nearest aim of the stored plan
    obstacle_db : loss of the whole path above free space, half of the time, 0 or more
    path_class : of covermap.propagation.ridges; ridges : from the point outwards
    cause : why it is weak, empty where it is not
    """

    station_id: str
    service: str
    mast: str
    letter: str
    on_list: bool
    displayed_channel: str
    rf_channel: int | None
    frequency_mhz: float
    band: str
    status: str
    field_dbuvm: float
    adjustment_db: float
    cell_field_dbuvm: float
    margin_db: float
    chance_percent: float
    azimuth_deg: float
    distance_km: float
    off_aim_deg: float
    obstacle_db: float
    path_class: str
    ridges: tuple[RidgeAtPlace, ...]
    cause: str


@dataclass(frozen=True, eq=False)
class MastPath:
    """The ground between one mast and the point, and the stations that come along it.

    profile : mast first; tx_height_m, rx_height_m : antennas above ground
    effective_radius_km : of the earth, for the bulge; stations : those that come along it
    """

    mast: str
    path_class: str
    profile: PointProfile
    tx_height_m: float
    rx_height_m: float
    effective_radius_km: float
    stations: tuple[StationAtPlace, ...]


@dataclass(frozen=True, eq=False)
class Skyline:
    """Elevation of the horizon as seen from the mount, one value an azimuth (true), NaN unknown.

    reach_km : how far each line was followed; azimuth_deg, elevation_deg, reach_km have shape (n,)
    """

    azimuth_deg: NDArray[np.float64]
    elevation_deg: NDArray[np.float64]
    reach_km: NDArray[np.float64]


@dataclass(frozen=True)
class Amplifier:
    """What an amplifier at the antenna changes.

    verdict : helps, does_nothing (less than 1 dB), may_overload, overloads or not_needed
    effect_db : station id -> what the margin gains, overload left out
    mount : name of the tier that was tried with and without; noise_limited : stations it cannot help
    input_dbm, output_dbm : total power at its ports; headroom_db : to the nearer limit, NaN not reckoned
    """

    verdict: str
    mount: str
    effect_db: dict[str, float]
    noise_limited: tuple[str, ...]
    input_dbm: float
    output_dbm: float
    headroom_db: float
    overload_counted: bool


@dataclass(frozen=True)
class CellValue:
    """What the map's cell says beside the point's own answer.

    status : ok, unknown or outside (no cell, or outside the asked area)
    source : result (read from the finished folder) or computed (by the same sweep)
    field_dbuvm : station id -> half of the time at 10 m
    """

    status: str
    source: str
    tier: int | None = None
    chance_percent: int | None = None
    tier_chance_percent: tuple[int | None, ...] = ()
    aim_deg: int | None = None
    field_dbuvm: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class SunAt:
    """The sun at a stated local time."""

    moment: datetime
    position: SunPosition


@dataclass(frozen=True, eq=False)
class AddressReport:
    """Everything the sheet of one address says.

    point_id, label : as asked; ground_m : bare ground, NaN unknown
    status : ok or unknown; reason : why it is unknown
    tier : 1 to 8, None unknown; chance_percent : of the stored plan (tier 8: of tier 7's)
    aim_range_deg : first and last whole azimuth, clockwise, that keep the confidence; None if not reached
    deciding_service : lowest chance one tier lower; limiting_service : lowest chance in the stored plan
    plans : tiers 1 to 7; stations : grouped by aim in the order of the sheet
    notes : what is worth knowing of this place; basis : sentences on how it was reckoned
    """

    point_id: str
    label: str
    latitude_deg: float
    longitude_deg: float
    ground_m: float
    scenario_name: str
    list_name: str
    services: tuple[str, ...]
    needed: int
    confidence_percent: float
    stations_as_of: str
    status: str
    reason: str
    tier: int | None
    chance_percent: float | None
    aims_deg: tuple[float, ...]
    aim_range_deg: tuple[int, int] | None
    polarization: str
    deciding_service: str | None
    limiting_service: str | None
    plans: tuple[TierPlan, ...]
    without: tuple[Without, ...]
    stations: tuple[StationAtPlace, ...]
    masts: tuple[MastPath, ...]
    amplifier: Amplifier | None
    changes: tuple[Change, ...]
    skyline: Skyline
    declination: Declination | None
    sun: tuple[SunAt, ...]
    cell: CellValue
    notes: tuple[str, ...]
    basis: tuple[str, ...]
    cautions: tuple[str, ...]
    tier_names: tuple[str, ...]

    @property
    def stored_plan(self) -> TierPlan | None:
        """Return the plan the answer speaks of; tier 8: tier 7's."""
        if self.tier is None or not self.plans:
            return None
        return self.plans[min(self.tier, len(self.plans)) - 1]
