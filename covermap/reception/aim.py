"""Aim plans at one place: the best one, any one asked for, and how far an aim may be off."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.reception.aim_search import search_every_degree
from covermap.reception.budget import NEED_DBUVM, WantedTransmitters, tier_figures, wanted_transmitters
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    INTERFERENCE_DB,
    MARGIN_DB,
    TOTAL_DEVIATION,
    UPPER_DB,
    confidence_bounds,
)
from covermap.reception.interference import (
    Pairs,
    find_pairs,
    pair_figures,
    read_pairs,
    set_pairs,
    with_harmless,
)
from covermap.reception.normal import normal_share
from covermap.reception.options import ReceptionOptions
from covermap.reception.overload import AMPLIFIER_INPUT, AMPLIFIER_OUTPUT, TUNER, loads_of, overload_of
from covermap.reception.pattern import HORIZONTAL, VERTICAL
from covermap.reception.plan import (
    AIM_DEG,
    CHANCE,
    COMBINED,
    DIPLEXED,
    JOINED,
    JOINED_AS,
    MOUNT,
    PLAN_COLUMNS,
    SECOND_DEG,
    SECOND_MOUNT,
    SINGLE,
    HomeArrays,
    chance_of_plan,
    home_arrays,
)
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import Tier
from covermap.reception.two_antennas import aim_arrays, search_two

POLARIZATIONS = {"horizontal": HORIZONTAL, "vertical": VERTICAL}
PORTS = {AMPLIFIER_INPUT: "amplifier input", AMPLIFIER_OUTPUT: "amplifier output", TUNER: "tuner"}


@dataclass(frozen=True, eq=False)
class PlaceSignals:
    """What arrives at one place from S stations.

    facts : of the stations
    field_dbuvm : (S,) median at the wanted time percentage, at 10 m; for a mount above 10 m at its height
    bearing_deg : (S,) azimuth from the place to each station, clockwise from true north
    service : (S,) labels; stations of one label are alternatives. Empty: each its own service. A label of ""
        is a station that is not wanted: it only disturbs and overloads
    at_least : how many services must arrive; None means all
    clutter_height_m : of the land-cover class, 0 where none; open_land : open land or water
    options : noise and uncertainty
    unwanted_dbuvm, median_dbuvm : (S,) at the unwanted time percentage and at 50 % of time; None: field_dbuvm
    distance_km : (S,) to each station; None: no single-frequency network is looked at
    """

    facts: StationFacts
    field_dbuvm: NDArray[np.float64]
    bearing_deg: NDArray[np.float64]
    service: tuple[str, ...] = ()
    at_least: int | None = None
    clutter_height_m: float = 0.0
    open_land: bool = False
    options: ReceptionOptions = field(default_factory=ReceptionOptions)
    unwanted_dbuvm: NDArray[np.float64] | None = None
    median_dbuvm: NDArray[np.float64] | None = None
    distance_km: NDArray[np.float64] | None = None

    @property
    def labels(self) -> tuple[str, ...]:
        """Return one label a station."""
        return self.service or tuple(str(number) for number in range(len(self.field_dbuvm)))

    @property
    def services(self) -> tuple[str, ...]:
        """Return the services in the order of their first station."""
        return tuple(dict.fromkeys(label for label in self.labels if label))

    @property
    def transmitters(self) -> tuple[tuple[int, ...], ...]:
        """Return the stations of each service."""
        labels = self.labels
        return tuple(tuple(i for i, label in enumerate(labels) if label == name) for name in self.services)

    @property
    def needed(self) -> int:
        """Return how many services must arrive."""
        return len(self.services) if self.at_least is None else self.at_least


@dataclass(frozen=True, eq=False)
class AimPlan:
    """One antenna at one aim, or two, and what they bring; arrays hold one value a service.

    azimuth_deg : clockwise from true north. polarization : of the mount
    chance : that the needed services arrive together, 0 to 1, overload left out
    chance_bounds : elementary bounds of the chance of all
    margins_db : median C/N minus required C/N, interference in it. chances : of each service alone
    station : index of the station that brings each service best
    interference_db : what interference takes from each margin
    second_azimuth_deg, second_polarization : of the second antenna, None and "" without
    joined : "single", "combined" or "diplexed" (the second antenna then brings UHF)
    overload_db : by how much the strongest stations pass the nearest limit, negative within; overload_port
        names it; overload_spread_db : standard deviation of the strongest
    """

    tier: int
    azimuth_deg: float
    polarization: str
    chance: float
    chance_bounds: tuple[float, float]
    services: tuple[str, ...]
    margins_db: NDArray[np.float64]
    chances: NDArray[np.float64]
    station: NDArray[np.int64]
    interference_db: NDArray[np.float64]
    second_azimuth_deg: float | None
    second_polarization: str
    joined: str
    overload_db: float
    overload_port: str
    overload_spread_db: float

    @property
    def overloads(self) -> bool:
        """Return whether the strongest stations pass a limit."""
        return self.overload_db > 0.0

    @property
    def may_overload(self) -> bool:
        """Return whether they would pass one if the strongest stood one spread higher."""
        return self.overload_db + self.overload_spread_db > 0.0

    @property
    def azimuths_deg(self) -> tuple[float, ...]:
        """Return the azimuth of each antenna."""
        second = () if self.second_azimuth_deg is None else (self.second_azimuth_deg,)
        return (self.azimuth_deg, *second)


def best_aim(signals: PlaceSignals, tier: Tier) -> AimPlan:
    """Best aim of one antenna: the greatest chance that the needed services arrive together.

    Parameters
    ----------
    signals : PlaceSignals
        Fields, bearings and stations.
    tier : Tier
        The installation.

    Returns
    -------
    AimPlan
        Over all whole degrees and mount polarizations; ties by worst margin, then lower azimuth.

    Raises
    ------
    InputError
        If arrays disagree in length, a value is NaN, or at_least is out of range.

    References
    ----------
    The tier's own lobe (common practice), cross-polar rule of ITU-R BT.419-3; chances as joint_confidence;
    interference: 47 CFR 73.620 protection ratios, powers added to the noise.
    """
    place = _at_place(signals, tier, SINGLE)
    plan = np.empty(PLAN_COLUMNS)
    search_every_degree(
        signals.needed, place.wanted, place.figures, place.pair_figures, place.pairs, place.home, plan
    )
    return _plan(signals, tier, plan)


def best_plan(signals: PlaceSignals, tier: Tier) -> AimPlan:
    """Best plan of a tier: one antenna as best_aim, or two where one misses the confidence and two reach it.

    Two are combined, or one a band behind a diplexer; tried outdoors, and where stations stand on several
    masts. Arguments and errors as best_aim.
    """
    one = best_aim(signals, tier)
    confidence = signals.options.confidence_percent / 100.0
    place = _at_place(signals, tier, SINGLE)
    if one.chance >= confidence or tier.indoors or np.unique(place.wanted.mast).size < 2:
        return one
    found = _columns(one)
    for joined in (COMBINED, DIPLEXED):
        if joined == DIPLEXED and (place.wanted.uhf.all() or not place.wanted.uhf.any()):
            continue
        place = _at_place(signals, tier, joined)
        search_two(
            joined, confidence, signals.needed, place.wanted, place.figures, place.pair_figures, place.pairs,
            place.home, aim_arrays(place.wanted), found,
        )  # fmt: skip
    return _plan(signals, tier, found)


def aim_plan(
    signals: PlaceSignals,
    tier: Tier,
    azimuth_deg: float,
    polarization: str = "horizontal",
    *,
    second_azimuth_deg: float | None = None,
    second_polarization: str = "horizontal",
    joined: str = "combined",
) -> AimPlan:
    """What one antenna of a tier brings at a given aim, or two; arguments and errors as best_aim.

    joined : how two are joined, "combined", or "diplexed" (the second brings UHF)
    """
    for name in (polarization, second_polarization):
        if name not in POLARIZATIONS:
            raise InputError(f"polarization must be horizontal or vertical, got {name!r}.")
    if second_azimuth_deg is not None and joined not in JOINED_AS[1:]:
        raise InputError(f"joined must be combined or diplexed, got {joined!r}.")
    plan = np.zeros(PLAN_COLUMNS)
    plan[AIM_DEG], plan[MOUNT] = float(azimuth_deg) % 360.0, POLARIZATIONS[polarization]
    plan[SECOND_DEG] = -1.0
    if second_azimuth_deg is not None:
        plan[SECOND_DEG] = float(second_azimuth_deg) % 360.0
        plan[SECOND_MOUNT] = POLARIZATIONS[second_polarization]
        plan[JOINED] = JOINED_AS.index(joined)
    return _plan(signals, tier, plan)


def chance_by_azimuth(
    signals: PlaceSignals, tier: Tier, polarization: str = "horizontal", plan: AimPlan | None = None
) -> NDArray[np.float64]:
    """Chance that the needed services arrive together at each whole azimuth, shape (360,), 0 to 1.

    plan : one whose first antenna is turned, any second one standing; without, one antenna alone
    """
    columns = np.zeros(PLAN_COLUMNS)
    columns[SECOND_DEG] = -1.0
    columns[MOUNT] = POLARIZATIONS[polarization]
    if plan is not None:
        columns = _columns(plan)
    place = _at_place(signals, tier, int(columns[JOINED]))
    chances = np.empty(360)
    for azimuth_deg in range(360):
        columns[AIM_DEG] = float(azimuth_deg)
        chances[azimuth_deg] = place.chance(columns, signals.needed)
    return chances


def aim_range(signals: PlaceSignals, plan: AimPlan, tier: Tier, chance: float) -> tuple[int, int] | None:
    """Whole azimuths, first and last clockwise, around a plan's aim that keep a chance (0 to 1).

    (0, 359) means all around; None that the plan itself does not reach it.
    """
    keeps = chance_by_azimuth(signals, tier, plan.polarization, plan) >= chance
    aim_deg = round(plan.azimuth_deg) % 360
    if not keeps[aim_deg]:
        return None
    if keeps.all():
        return 0, 359
    turned = np.roll(keeps, -aim_deg)
    return (aim_deg - int(np.argmin(turned[::-1]))) % 360, (aim_deg + int(np.argmin(turned)) - 1) % 360


@dataclass(frozen=True, eq=False)
class _Place:
    """A place as the kernels see it: figures (FIGURES, W), pair_figures (PAIR_FIGURES, P), a home filled."""

    wanted: WantedTransmitters
    figures: NDArray[np.float64]
    pair_figures: NDArray[np.float64]
    pairs: Pairs
    home: HomeArrays

    def chance(self, plan: NDArray[np.float64], needed: int) -> float:
        """Return the chance of at least needed services under a plan; margins are left in the home."""
        return float(
            chance_of_plan(
                plan, 0.0, needed, self.figures, self.pair_figures, self.wanted, self.pairs, self.home
            )
        )


def _at_place(signals: PlaceSignals, tier: Tier, joined: int) -> _Place:
    """Return transmitters, the tier's figures and a home filled with the place's signals."""
    _require_known(signals)
    wanted = wanted_transmitters(signals, signals.facts)
    around = (
        np.array([float(signals.clutter_height_m)]),
        np.array([bool(signals.open_land)]),
        signals.options,
        JOINED_AS[joined],
    )
    figures = tier_figures((tier,), signals.facts, wanted.station, *around)[0, 0]
    disturbing = pair_figures((tier,), signals.facts, wanted, *around)[0, 0]
    pairs = with_harmless(find_pairs(wanted, signals.facts)[0], figures, disturbing)
    home = home_arrays(wanted, pairs, 1)
    stations = slice(0, wanted.station.size)
    home.values[BEARING_DEG, stations] = np.asarray(signals.bearing_deg)[wanted.station] % 360.0
    field_dbuvm = np.asarray(signals.field_dbuvm, np.float64)[wanted.station]
    home.values[CLEAR_DB, stations] = field_dbuvm - figures[NEED_DBUVM]
    home.values[UPPER_DB, stations] = home.values[CLEAR_DB, stations]
    if pairs.station.size:
        fields = (signals.unwanted_dbuvm, signals.median_dbuvm, signals.field_dbuvm)
        bearing_deg, distance_km = _by_mast(signals)
        read_pairs(
            0, *(_one_cell(signals, values) for values in fields), bearing_deg, distance_km, wanted, pairs,
            home.disturbing,
        )  # fmt: skip
        set_pairs(False, 0, figures, disturbing, pairs, home.values, home.disturbing)
    return _Place(wanted, figures, disturbing, pairs, home)


def _one_cell(signals: PlaceSignals, values: NDArray[np.float64] | None) -> NDArray[np.float32]:
    """Return fields as the kernels read them, shape (S, 1, 1); without, those at the wanted percentage."""
    given = signals.field_dbuvm if values is None else values
    return np.ascontiguousarray(np.asarray(given, np.float32)[:, None, None])


def _by_mast(signals: PlaceSignals) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return bearing and distance of each mast, shapes (M, 1) and (M, 1), or (0, 1) without distances."""
    mast = np.asarray(signals.facts.mast, np.int64)
    bearing_deg = np.full((int(mast.max()) + 1, 1), np.nan, np.float32)
    bearing_deg[mast, 0] = np.asarray(signals.bearing_deg, np.float64) % 360.0
    if signals.distance_km is None:
        return bearing_deg, np.empty((0, 1), np.float32)
    distance_km = np.zeros_like(bearing_deg)
    distance_km[mast, 0] = signals.distance_km
    return bearing_deg, distance_km


def _columns(plan: AimPlan) -> NDArray[np.float64]:
    """Return a plan as the kernels keep it."""
    columns = np.zeros(PLAN_COLUMNS)
    columns[CHANCE], columns[AIM_DEG] = plan.chance, plan.azimuth_deg
    columns[MOUNT], columns[SECOND_DEG] = POLARIZATIONS[plan.polarization], -1.0
    if plan.second_azimuth_deg is not None:
        columns[SECOND_DEG] = plan.second_azimuth_deg
        columns[SECOND_MOUNT] = POLARIZATIONS[plan.second_polarization]
    columns[JOINED] = JOINED_AS.index(plan.joined)
    return columns


def _plan(signals: PlaceSignals, tier: Tier, plan: NDArray[np.float64]) -> AimPlan:
    joined = int(plan[JOINED])
    place = _at_place(signals, tier, joined)
    chance = place.chance(plan, signals.needed)
    values = place.home.values
    chosen = place.home.numbers[CHOSEN, : place.wanted.services]
    chances = np.array([normal_share(deviation) for deviation in values[TOTAL_DEVIATION, chosen]])
    polarization = {number: name for name, number in POLARIZATIONS.items()}
    around = (np.array([float(signals.clutter_height_m)]), np.array([bool(signals.open_land)]))
    loads = loads_of((tier,), signals.facts, *around, signals.options)
    median = _one_cell(signals, signals.median_dbuvm)
    excess_db, port, spread_db = overload_of(
        0, 0, 0, loads.figures[0, 0], plan, median, _by_mast(signals)[0], loads
    )
    return AimPlan(
        tier=tier.tier,
        azimuth_deg=float(plan[AIM_DEG]),
        polarization=polarization[int(plan[MOUNT])],
        chance=chance,
        chance_bounds=confidence_bounds(chances),
        services=signals.services,
        margins_db=values[MARGIN_DB, chosen].copy(),
        chances=chances,
        station=place.wanted.station[chosen],
        interference_db=values[INTERFERENCE_DB, chosen].copy(),
        second_azimuth_deg=None if joined == SINGLE else float(plan[SECOND_DEG]),
        second_polarization="" if joined == SINGLE else polarization[int(plan[SECOND_MOUNT])],
        joined=JOINED_AS[joined],
        overload_db=float(excess_db),
        overload_port=PORTS.get(port, ""),
        overload_spread_db=float(spread_db),
    )


def _require_known(signals: PlaceSignals) -> None:
    stations = np.asarray(signals.facts.frequency_mhz).size
    lengths = (len(signals.field_dbuvm), len(signals.bearing_deg), len(signals.labels))
    if lengths != (stations,) * 3:
        raise InputError(
            f"field_dbuvm, bearing_deg and service must hold one value a station ({stations}), got {lengths}."
        )
    for name in ("field_dbuvm", "bearing_deg"):
        unknown = np.isnan(np.asarray(getattr(signals, name), np.float64))
        if unknown.any():
            raise InputError(
                f"{name} is NaN at station {int(np.argmax(unknown))}. Leave out what is not known."
            )
