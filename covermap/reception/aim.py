"""Aim plans at one place: the best one, any one asked for, and how far an aim may be off."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.reception.aim_search import AIM_DEG, MOUNT, PLAN_COLUMNS, search_every_degree
from covermap.reception.budget import NEED_DBUVM, WantedTransmitters, tier_figures, wanted_transmitters
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    MARGIN_DB,
    TOTAL_DEVIATION,
    confidence_bounds,
)
from covermap.reception.normal import normal_share
from covermap.reception.options import ReceptionOptions
from covermap.reception.pattern import HORIZONTAL, VERTICAL
from covermap.reception.plan import HomeArrays, chance_of_list, choose_transmitters, home_arrays, set_aim
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import Tier

POLARIZATIONS = {"horizontal": HORIZONTAL, "vertical": VERTICAL}


@dataclass(frozen=True, eq=False)
class PlaceSignals:
    """What arrives at one place from S stations.

    facts : of the stations
    field_dbuvm : (S,) median at the wanted time percentage, at 10 m; for a mount above 10 m at its height
    bearing_deg : (S,) azimuth from the place to each station, clockwise from true north
    service : (S,) labels; stations of one label are alternatives. Empty: each its own service
    at_least : how many services must arrive; None means all
    clutter_height_m : of the land-cover class, 0 where none; open_land : open land or water
    options : noise and uncertainty
    """

    facts: StationFacts
    field_dbuvm: NDArray[np.float64]
    bearing_deg: NDArray[np.float64]
    service: tuple[str, ...] = ()
    at_least: int | None = None
    clutter_height_m: float = 0.0
    open_land: bool = False
    options: ReceptionOptions = field(default_factory=ReceptionOptions)

    @property
    def labels(self) -> tuple[str, ...]:
        """Return one label a station."""
        return self.service or tuple(str(number) for number in range(len(self.field_dbuvm)))

    @property
    def services(self) -> tuple[str, ...]:
        """Return the services in the order of their first station."""
        return tuple(dict.fromkeys(self.labels))

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
    """One antenna at one aim, and what it brings; arrays hold one value a service.

    azimuth_deg : clockwise from true north. polarization : of the mount
    chance : that the needed services arrive together, 0 to 1
    chance_bounds : elementary bounds of the chance of all
    margins_db : median C/N minus required C/N. chances : of each service alone
    station : index of the station that brings each service best
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
    The tier's own lobe (common practice), cross-polar rule of ITU-R BT.419-3; chances as joint_confidence.
    """
    transmitters, figures, home = _at_place(signals, tier)
    plan = np.empty(PLAN_COLUMNS)
    search_every_degree(signals.needed, transmitters, figures, home, plan)
    return _plan(signals, tier, float(plan[AIM_DEG]), int(plan[MOUNT]))


def aim_plan(
    signals: PlaceSignals, tier: Tier, azimuth_deg: float, polarization: str = "horizontal"
) -> AimPlan:
    """What one antenna of a tier brings at a given aim; arguments and errors as best_aim."""
    if polarization not in POLARIZATIONS:
        raise InputError(f"polarization must be horizontal or vertical, got {polarization!r}.")
    return _plan(signals, tier, float(azimuth_deg) % 360.0, POLARIZATIONS[polarization])


def chance_by_azimuth(
    signals: PlaceSignals, tier: Tier, polarization: str = "horizontal"
) -> NDArray[np.float64]:
    """Chance that the needed services arrive together at each whole azimuth, shape (360,), 0 to 1."""
    mount = POLARIZATIONS[polarization]
    transmitters, figures, home = _at_place(signals, tier)
    chances = np.empty(360)
    for azimuth_deg in range(360):
        set_aim(float(azimuth_deg), mount, figures, home.values)
        choose_transmitters(transmitters, home.values, home.numbers)
        chances[azimuth_deg] = chance_of_list(
            signals.needed, transmitters, figures, home.values, home.numbers, home.points
        )
    return chances


def aim_range(signals: PlaceSignals, plan: AimPlan, tier: Tier, chance: float) -> tuple[int, int] | None:
    """Whole azimuths, first and last clockwise, around a plan's aim that keep a chance (0 to 1).

    (0, 359) means all around; None that the plan itself does not reach it.
    """
    keeps = chance_by_azimuth(signals, tier, plan.polarization) >= chance
    aim_deg = round(plan.azimuth_deg) % 360
    if not keeps[aim_deg]:
        return None
    if keeps.all():
        return 0, 359
    turned = np.roll(keeps, -aim_deg)
    return (aim_deg - int(np.argmin(turned[::-1]))) % 360, (aim_deg + int(np.argmin(turned)) - 1) % 360


def _at_place(signals: PlaceSignals, tier: Tier) -> tuple[WantedTransmitters, NDArray, HomeArrays]:
    """Return transmitters, the tier's figures and a home filled with the place's signals."""
    _require_known(signals)
    transmitters = wanted_transmitters(signals, signals.facts)
    figures = tier_figures(
        (tier,),
        signals.facts,
        transmitters.station,
        np.array([float(signals.clutter_height_m)]),
        np.array([bool(signals.open_land)]),
        signals.options,
    )[0, 0]
    home = home_arrays(transmitters)
    stations = slice(0, transmitters.station.size)
    home.values[BEARING_DEG, stations] = np.asarray(signals.bearing_deg)[transmitters.station] % 360.0
    field_dbuvm = np.asarray(signals.field_dbuvm, np.float64)[transmitters.station]
    home.values[CLEAR_DB, stations] = field_dbuvm - figures[NEED_DBUVM]
    return transmitters, figures, home


def _plan(signals: PlaceSignals, tier: Tier, azimuth_deg: float, mount: int) -> AimPlan:
    transmitters, figures, home = _at_place(signals, tier)
    set_aim(azimuth_deg, mount, figures, home.values)
    choose_transmitters(transmitters, home.values, home.numbers)
    chosen = home.numbers[CHOSEN, : transmitters.services]
    chances = np.array([normal_share(deviation) for deviation in home.values[TOTAL_DEVIATION, chosen]])
    return AimPlan(
        tier=tier.tier,
        azimuth_deg=azimuth_deg,
        polarization=next(name for name, number in POLARIZATIONS.items() if number == mount),
        chance=float(
            chance_of_list(signals.needed, transmitters, figures, home.values, home.numbers, home.points)
        ),
        chance_bounds=confidence_bounds(chances),
        services=signals.services,
        margins_db=home.values[MARGIN_DB, chosen].copy(),
        chances=chances,
        station=transmitters.station[chosen],
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
