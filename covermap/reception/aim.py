"""Aim plans at one receiver site: the best one, any one asked for, and how far an aim may be off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.reception.aim_search import search_every_degree
from covermap.reception.confidence import (
    CHOSEN,
    INTERFERENCE_DB,
    MARGIN_DB,
    TOTAL_DEVIATION,
)
from covermap.reception.joint import confidence_bounds
from covermap.reception.network import strongest_interferer
from covermap.reception.normal import normal_share
from covermap.reception.overload import (
    AMPLIFIER_INPUT,
    AMPLIFIER_OUTPUT,
    DISTRIBUTION,
    TUNER,
    load_figures,
    loads_of,
    overload_of,
)
from covermap.reception.pattern import HORIZONTAL, VERTICAL
from covermap.reception.plan_columns import (
    AIM_DEG,
    CHANCE,
    JOINED,
    JOINED_AS,
    MOUNT,
    PLAN_COLUMNS,
    SECOND_DEG,
    SECOND_MOUNT,
    SINGLE,
)
from covermap.reception.receiver_site import ReceiverSignals, by_mast, levels_of, one_cell, receiver_site_with
from covermap.reception.tiers import Tier

POLARIZATIONS = {"horizontal": HORIZONTAL, "vertical": VERTICAL}
PORTS = {
    AMPLIFIER_INPUT: "amplifier input",
    AMPLIFIER_OUTPUT: "amplifier output",
    TUNER: "tuner",
    DISTRIBUTION: "distribution amplifier",
}


@dataclass(frozen=True, eq=False)
class AimPlan:
    """One antenna at one aim, or two, and what they bring; arrays hold one value a service.

    azimuth_deg : clockwise from true north. polarization : of the mount
    chance : that the needed services arrive together, 0 to 1, overload left out
    chance_bounds : elementary bounds of the chance of all
    margins_db : median C/N minus required C/N, interference in it. chances : of each service alone
    station : index of the station that brings each service best
    interference_db : what interference takes from each margin; interferer : index of the station that takes
        most of it, -1 where none does
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
    interferer: NDArray[np.int64]
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


def best_aim(signals: ReceiverSignals, tier: Tier) -> AimPlan:
    """Best aim of one antenna: the greatest chance that the needed services arrive together.

    Parameters
    ----------
    signals : ReceiverSignals
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
    site = receiver_site_with(signals, tier, SINGLE)
    plan = np.empty(PLAN_COLUMNS)
    search_every_degree(
        signals.needed, site.wanted, site.figures, site.other_figures, site.pairs, site.receiver, plan
    )
    return plan_of(signals, tier, plan)


def aim_plan(
    signals: ReceiverSignals,
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
    return plan_of(signals, tier, plan)


def chance_by_azimuth(
    signals: ReceiverSignals, tier: Tier, polarization: str = "horizontal", plan: AimPlan | None = None
) -> NDArray[np.float64]:
    """Chance that the needed services arrive together at each whole azimuth, shape (360,), 0 to 1.

    plan : one whose first antenna is turned, any second one standing; without, one antenna alone
    """
    columns = np.zeros(PLAN_COLUMNS)
    columns[SECOND_DEG] = -1.0
    columns[MOUNT] = POLARIZATIONS[polarization]
    if plan is not None:
        columns = columns_of(plan)
    site = receiver_site_with(signals, tier, int(columns[JOINED]))
    chances = np.empty(360)
    for azimuth_deg in range(360):
        columns[AIM_DEG] = float(azimuth_deg)
        chances[azimuth_deg] = site.chance(columns, signals.needed)
    return chances


def aim_range(signals: ReceiverSignals, plan: AimPlan, tier: Tier, chance: float) -> tuple[int, int] | None:
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


def columns_of(plan: AimPlan) -> NDArray[np.float64]:
    """Return a plan as the kernels keep it."""
    columns = np.zeros(PLAN_COLUMNS)
    columns[CHANCE], columns[AIM_DEG] = plan.chance, plan.azimuth_deg
    columns[MOUNT], columns[SECOND_DEG] = POLARIZATIONS[plan.polarization], -1.0
    if plan.second_azimuth_deg is not None:
        columns[SECOND_DEG] = plan.second_azimuth_deg
        columns[SECOND_MOUNT] = POLARIZATIONS[plan.second_polarization]
    columns[JOINED] = JOINED_AS.index(plan.joined)
    return columns


def plan_of(signals: ReceiverSignals, tier: Tier, plan: NDArray[np.float64]) -> AimPlan:
    """Return what a plan brings at a receiver site, from the plan as the kernels keep it, (PLAN_COLUMNS,)."""
    joined = int(plan[JOINED])
    site = receiver_site_with(signals, tier, joined)
    chance = site.chance(plan, signals.needed)
    values = site.receiver.values
    chosen = site.receiver.numbers[CHOSEN, : site.wanted.services]
    chances = np.array([normal_share(deviation) for deviation in values[TOTAL_DEVIATION, chosen]])
    polarization = {number: name for name, number in POLARIZATIONS.items()}
    around = (np.array([float(signals.clutter_height_m)]), np.array([bool(signals.open_land)]))
    figures = load_figures((tier,), signals.facts, *around, signals.options)
    loads = loads_of((tier,), signals.facts, figures, signals.options)
    median = one_cell(signals, signals.median_dbuvm)
    excess_db, port, spread_db = overload_of(
        0, 0, 0, loads.figures[0, 0], plan, median, levels_of(signals)[:, None], by_mast(signals)[0], loads
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
        station=site.wanted.station[chosen],
        interference_db=values[INTERFERENCE_DB, chosen].copy(),
        interferer=np.array(
            [strongest_interferer(item, site.pairs, site.receiver.interfering) for item in chosen], np.int64
        ),
        second_azimuth_deg=None if joined == SINGLE else float(plan[SECOND_DEG]),
        second_polarization="" if joined == SINGLE else polarization[int(plan[SECOND_MOUNT])],
        joined=JOINED_AS[joined],
        overload_db=float(excess_db),
        overload_port=PORTS.get(port, ""),
        overload_spread_db=float(spread_db),
    )
