"""The record of one address: what the sheet, the JSON and a Python prompt all read."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from covermap.addresses.house_levels import HouseReport
from covermap.addresses.installed_records import InstallationAtPlace, Recommended
from covermap.addresses.station_records import Interferer, MastPath, Skyline, StationAtSite
from covermap.bearings import Declination, SunPosition
from covermap.reception import ReceiverRecord
from covermap.reception.services import ClassServices
from covermap.scenario.settings import DisplaySettings


@dataclass(frozen=True)
class TierPlan:
    """One class of antenna with its best plan.

    tier : 1 to 7; name : of the tier table
    aims_deg : true azimuths, one an antenna; directional : False where every aim is alike
    polarization : of the (first) mount; polarizations : one an antenna
    joined : single, combined (two on one cable) or diplexed (the first brings VHF, the second UHF)
    chance_percent : that the needed services arrive together, 0 to 100, overload left out
    chance_by_day_percent : the same with interference at half of the time
    bounds_percent : elementary bounds of the chance of all
    service_chance_percent, margin_db, interference_db : service -> alone
    lost : services whose own chance is below the confidence; lost_at_night : those of them
        that by day are not
    overload_db : by how much the strongest stations pass the nearest limit, negative within; overload_port :
        its name; may_overload : within, by less than the spread of the strongest
    """

    tier: int
    name: str
    aims_deg: tuple[float, ...]
    directional: bool
    polarization: str
    polarizations: tuple[str, ...]
    joined: str
    chance_percent: float
    chance_by_day_percent: float
    bounds_percent: tuple[float, float]
    service_chance_percent: dict[str, float]
    margin_db: dict[str, float]
    interference_db: dict[str, float]
    lost: tuple[str, ...]
    lost_at_night: tuple[str, ...]
    overload_db: float
    overload_port: str
    overloads: bool
    may_overload: bool


@dataclass(frozen=True)
class Night:
    """What is fine by day and lost on nights of good propagation, when far stations come in stronger.

    tier_by_day : the lowest tier that would do by day and does not at night, None where none
    chance_by_day_percent : its chance by day; services : those that the stored plan loses so
    """

    tier_by_day: int | None
    chance_by_day_percent: float
    services: tuple[str, ...]


@dataclass(frozen=True)
class Without:
    """What giving one service up would need: tier (8 not promised), chance, and how antennas are joined."""

    service: str
    tier: int
    chance_percent: float
    joined: str


@dataclass(frozen=True)
class Change:
    """What one change would need: the lowest tier (8 not promised), its chance and its aims.

    key : weaker_3db, stronger_3db, higher_3m, in_leaf, denser, more_open, noisier or second_opinion
    needs_filter : strong signals would overload it
    other_db : of a second opinion, its field less the prediction's, the median of the list's stations
    model : of a second opinion, whose it is
    tops_m : of another class of cover, how high it stands; wood_m : of leaves, the longest wood before the
        antenna, None where land cover does not tell
    """

    key: str
    tier: int
    chance_percent: float
    aims_deg: tuple[float, ...]
    needs_filter: bool
    other_db: float | None = None
    model: str = ""
    tops_m: float | None = None
    wood_m: float | None = None


@dataclass(frozen=True)
class StrongSignal:
    """One of the strongest stations, at the amplifier's input (without one, the antenna's terminals)."""

    station_id: str
    service: str
    mast: str
    power_dbm: float


@dataclass(frozen=True)
class Ports:
    """What arrives at each port of an installation, and by how much the nearest limit is passed.

    input_dbm, output_dbm : total power at the amplifier's ports, NaN without one
    tuner_dbm : the strongest channel at the tuner
    excess_db : over the nearest limit, negative within; port : its name; spread_db : of the strongest
    strongest : the few stations that make up nearly all of it, the strongest first
    """

    input_dbm: float
    output_dbm: float
    tuner_dbm: float
    excess_db: float
    port: str
    spread_db: float
    strongest: tuple[StrongSignal, ...]


@dataclass(frozen=True)
class Amplifier:
    """What an amplifier at the antenna changes.

    verdict : of covermap.reception.signals.AMPLIFIER_CODES
    mount : name of the answer's tier, tried with and without
    effect_db : station id -> what the margin gains, interference in it, overload left out
    noise_limited : stations it cannot help for noise from outside; interference_limited : for other stations
    chance_without_percent, chance_with_percent : of the list
    ports : with it; ports_without : without
    """

    verdict: str
    mount: str
    effect_db: dict[str, float]
    noise_limited: tuple[str, ...]
    interference_limited: tuple[str, ...]
    chance_without_percent: float
    chance_with_percent: float
    ports: Ports
    ports_without: Ports


@dataclass(frozen=True)
class HighVhfSize:
    """The high-VHF part of one class of the tier table, at the mount of the answer.

    gain_dbd : its gain there; holds : whether the list keeps the confidence with it
    """

    tier: int
    name: str
    gain_dbd: float
    chance_percent: float
    holds: bool


@dataclass(frozen=True)
class HighVhf:
    """Whether the list needs an antenna made for high VHF (174 to 216 MHz, where UHF antennas hear little).

    services : of the list, on high VHF with the stored plan
    needs_own : an antenna not made for it would lose what the stored plan keeps
    uhf_only_chance_percent : of the list with one; uhf_only_lost : services it loses
    sizes : smallest first; smallest : the first that holds, None where none does, or none is needed
    """

    services: tuple[str, ...]
    needs_own: bool
    uhf_only_chance_percent: float
    uhf_only_lost: tuple[str, ...]
    sizes: tuple[HighVhfSize, ...]
    smallest: HighVhfSize | None


@dataclass(frozen=True)
class CellValue:
    """What the map's cell says beside the point's own answer.

    status : ok, unknown or outside (no cell, or outside the asked area)
    source : result (read from the finished folder) or computed (by the same sweep)
    aims_deg : of the stored plan, one an antenna, empty unknown; joined : how two are joined, empty unknown
    needs_filter, may_overload, lost_at_night, own_high_vhf : remarks on the stored plan
    field_dbuvm : station id -> half of the time at 10 m
    """

    status: str
    source: str
    tier: int | None = None
    chance_percent: int | None = None
    tier_chance_percent: tuple[int | None, ...] = ()
    aims_deg: tuple[int, ...] = ()
    joined: str = ""
    needs_filter: bool = False
    may_overload: bool = False
    lost_at_night: bool = False
    own_high_vhf: bool = False
    field_dbuvm: dict[str, float] = field(default_factory=dict)

    @property
    def aim_deg(self) -> int | None:
        """Return the azimuth of the (first) antenna."""
        return self.aims_deg[0] if self.aims_deg else None


@dataclass(frozen=True)
class SunAt:
    """The sun at a stated local time."""

    moment: datetime
    position: SunPosition


@dataclass(frozen=True)
class Note:
    """What is worth knowing of a place, or why nothing can be said of it.

    code : water, near, steep_services, smooth_earth or adjusted; of an unknown place no_ground, outside
        (outside_sign, outside_order: but for a sign, or for the order of its two numbers), out_of_reach or
        no_path
    services : those it speaks of; distance_km : of out_of_reach, the reach
    """

    code: str
    services: tuple[str, ...] = ()
    distance_km: float | None = None


@dataclass(frozen=True, eq=False)
class AddressReport:
    """Everything the sheet of one address says.

    point_id, label : as asked; ground_m : bare ground, NaN unknown
    status : ok or unknown; reason : why it is unknown, None where it is not
    record : reception's, that the fields below repeat; None unknown
    tier : 1 to 8, None unknown; chance_percent : of the stored plan (tier 8: of tier 7's)
    joined : as TierPlan; needs_filter : what is needed is overloaded without a filter or attenuator in front
    may_overload : strong signals are close to a limit of it
    aim_ranges_deg : for each antenna the first and last whole azimuth, clockwise, that keep the
        confidence with the other one standing; None if not reached
    night : what is fine by day and lost on some nights, None where nothing is
    main_cause : why no lower tier will do, empty where tier 1 does; main_interferer : the station behind it,
        None where no other station is; high_vhf : None without such a service
    kept_one_lower : services that surely arrive one class lower, each alone
    deciding_service : lowest chance one tier lower; limiting_service : lowest chance in the stored plan
    services_by_class : what each class brings of all services of the file; little_gained_after : the class
        after which little is gained, None where none brings any or it is not known
    plans : tiers 1 to 7; ports : of the stored plan; stations : grouped by aim in the order of the sheet
    letters : station id -> letter, of all stations; display : units of what people read
    installations : those asked for, a height after the other; recommended : the few of the catalogue that are
        worth buying, empty where the scenario names none
    house : one antenna for several outlets, None where not asked for or unknown
    notes : what is worth knowing of this place; basis : sentences on how it was computed
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
    reason: Note | None
    record: ReceiverRecord | None
    tier: int | None
    chance_percent: float | None
    aims_deg: tuple[float, ...]
    joined: str
    needs_filter: bool
    may_overload: bool
    aim_ranges_deg: tuple[tuple[int, int] | None, ...]
    polarization: str
    night: Night | None
    main_cause: str
    main_interferer: Interferer | None
    deciding_service: str | None
    limiting_service: str | None
    plans: tuple[TierPlan, ...]
    kept_one_lower: tuple[str, ...]
    without: tuple[Without, ...]
    high_vhf: HighVhf | None
    ports: Ports | None
    stations: tuple[StationAtSite, ...]
    masts: tuple[MastPath, ...]
    amplifier: Amplifier | None
    changes: tuple[Change, ...]
    services_by_class: tuple[ClassServices, ...]
    little_gained_after: int | None
    skyline: Skyline
    declination: Declination | None
    sun: tuple[SunAt, ...]
    cell: CellValue
    notes: tuple[Note, ...]
    basis: tuple[str, ...]
    cautions: tuple[str, ...]
    tier_names: tuple[str, ...]
    letters: dict[str, str]
    display: DisplaySettings
    house: HouseReport | None = None
    installations: tuple[InstallationAtPlace, ...] = ()
    recommended: tuple[Recommended, ...] = ()

    @property
    def aim_range_deg(self) -> tuple[int, int] | None:
        """Return the azimuths of the first antenna that keep the confidence, None where it is not reached."""
        return self.aim_ranges_deg[0] if self.aim_ranges_deg else None

    @property
    def stored_plan(self) -> TierPlan | None:
        """Return the plan the answer speaks of; tier 8: tier 7's."""
        if self.tier is None or not self.plans:
            return None
        return self.plans[min(self.tier, len(self.plans)) - 1]
