"""A point and what is asked of it: what arrives at each mount, plans as reported, each station alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.paths import PATH_HEIGHT_M, StationPath
from covermap.addresses.report import TierPlan
from covermap.addresses.site import Site
from covermap.reception import (
    AimPlan,
    ReceiverSignals,
    ReceptionOptions,
    StationFacts,
    Tier,
    aim_plan,
)
from covermap.scenario.records import Station, WantedList

MOST_SERVICES = 250  # reception tells up to 254 apart

Shift = Callable[[Station, float], float]  # of a station at a mount's height [m]: dB added to its field


def _no_shift(station: Station, height_m: float) -> float:
    return 0.0


@dataclass(frozen=True, eq=False)
class Place:
    """A point with the paths of every station to it; paths holds the heights of every mount tried.

    latitude_deg, longitude_deg : WGS 84; NaN: what stands around it is not looked at
    """

    site: Site
    paths: tuple[StationPath, ...]
    clutter_height_m: float
    open_land: bool
    latitude_deg: float = math.nan
    longitude_deg: float = math.nan

    def known(self, index: int) -> bool:
        """Return whether a station's field is known at every height."""
        # At every height: a station known at one mount only would join and leave the list between tiers.
        return not any(math.isnan(field) for field in self.paths[index].wanted_dbuvm.values())

    def missing_services(self, wanted: WantedList) -> list[str]:
        """Return the services of a list that no station with a known path carries."""
        return [
            service
            for service, group in zip(wanted.services, wanted.transmitters, strict=True)
            if not any(self.known(index) for index in group)
        ]


@dataclass(frozen=True, eq=False)
class Question:
    """What is asked of a place: a list, installations, noise, and how much every field is moved.

    by_day : stations that disturb do so with their field at half of the time, not at the time rule's
    """

    place: Place
    wanted: WantedList
    tiers: tuple[Tier, ...]
    options: ReceptionOptions
    shift_db: Shift = _no_shift
    by_day: bool = False

    def reaches(self, plan: AimPlan) -> bool:
        """Return whether a plan reaches the confidence, overload left out."""
        return 100.0 * plan.chance >= self.options.confidence_percent

    def carriers(self) -> list[Station]:
        """Return the list's stations with a known path."""
        indices = (index for group in self.wanted.transmitters for index in group)
        return [self.place.paths[index].station for index in indices if self.place.known(index)]

    def labels(self) -> dict[int, str]:
        """Return station index -> service of the list, in the list's order."""
        return {
            index: service
            for service, group in zip(self.wanted.services, self.wanted.transmitters, strict=True)
            for index in group
        }

    def order(self, labels: dict[int, str]) -> list[int]:
        """Return the stations of signals in their order: known ones, those with a label first."""
        paths = range(len(self.place.paths))
        # Services are numbered by their first appearance, so the list's stations come first, in the list's
        # order.
        order = [*labels, *(index for index in paths if index not in labels)]
        return [index for index in order if self.place.known(index)]

    def signals(self, tier: Tier) -> ReceiverSignals:
        """Return what arrives at an installation's mount: the list, and all other stations, which disturb."""
        return self._signals(tier, self.labels(), self.wanted.at_least)

    def each_alone(self, tier: Tier) -> Iterable[tuple[list[int], ReceiverSignals]]:
        """Return every known station as a service of its own: their indices and what arrives, in portions."""
        known = [index for index in range(len(self.place.paths)) if self.place.known(index)]
        for start in range(0, len(known), MOST_SERVICES):
            some = known[start : start + MOST_SERVICES]
            yield some, self._signals(tier, {index: str(index) for index in some}, None)

    def _signals(self, tier: Tier, labels: dict[int, str], at_least: int | None) -> ReceiverSignals:
        """Return what arrives; labels : station index -> service, in the order services are to have."""
        # Lower mounts take the field at 10 m; what they lose is a figure of the tier.
        place, height_m = self.place, max(PATH_HEIGHT_M, tier.height_m)
        stations = self.order(labels)
        paths = [place.paths[index] for index in stations]
        shift_db = np.array([self.shift_db(path.station, height_m) for path in paths])
        median = np.array([path.by_day_dbuvm[height_m] for path in paths]) + shift_db
        unwanted = np.array([path.unwanted_dbuvm[height_m] for path in paths]) + shift_db
        if self.by_day:
            unwanted = median
        return ReceiverSignals(
            facts=some_facts(place.site.facts, stations),
            field_dbuvm=np.array([path.wanted_dbuvm[height_m] for path in paths]) + shift_db,
            bearing_deg=np.array([path.profile.back_azimuth_deg for path in paths]),
            service=tuple(labels.get(index, "") for index in stations),
            at_least=at_least,
            clutter_height_m=place.clutter_height_m,
            open_land=place.open_land,
            options=self.options,
            unwanted_dbuvm=unwanted,
            median_dbuvm=median,
            distance_km=np.array([path.profile.length_km for path in paths]),
            path_class=np.array([path.path_class for path in paths], np.uint8),
        )


def some_facts(facts: StationFacts, stations: Sequence[int]) -> StationFacts:
    """Return the facts of some stations."""
    index = np.array(stations, dtype=np.int64)
    return StationFacts(**{name: values[index] for name, values in vars(facts).items()})


def question(place: Place) -> Question:
    """Return the plain question of a place: the site's list, tiers and noise."""
    site = place.site
    return Question(place, site.wanted, site.tiers.tiers, site.options)


def as_aimed(signals: ReceiverSignals, tier: Tier, plan: AimPlan) -> AimPlan:
    """Return what an installation brings with the aims of a plan."""
    if plan.second_azimuth_deg is None:
        return aim_plan(signals, tier, plan.azimuth_deg, plan.polarization)
    return aim_plan(
        signals,
        tier,
        plan.azimuth_deg,
        plan.polarization,
        second_azimuth_deg=plan.second_azimuth_deg,
        second_polarization=plan.second_polarization,
        joined=plan.joined,
    )


def tier_plans(asked: Question, plans: Sequence[AimPlan]) -> tuple[TierPlan, ...]:
    """Return the plans as the report keeps them."""
    return tuple(_tier_plan(asked, tier, plan) for tier, plan in zip(asked.tiers, plans, strict=True))


def _tier_plan(asked: Question, tier: Tier, plan: AimPlan) -> TierPlan:
    # The same aims: by day nobody turns the antenna.
    by_day = as_aimed(replace(asked, by_day=True).signals(tier), tier, plan)
    alone = _by_service(plan, 100.0 * plan.chances)
    confidence = asked.options.confidence_percent
    upright = (plan.polarization, plan.second_polarization)[: len(plan.azimuths_deg)]
    return TierPlan(
        tier=tier.tier,
        name=tier.name,
        aims_deg=plan.azimuths_deg,
        directional=any(_has_lobe(tier, station.band) for station in asked.carriers()),
        polarization=plan.polarization,
        polarizations=upright,
        joined=plan.joined,
        chance_percent=100.0 * plan.chance,
        chance_by_day_percent=100.0 * by_day.chance,
        bounds_percent=(100.0 * plan.chance_bounds[0], 100.0 * plan.chance_bounds[1]),
        service_chance_percent=alone,
        margin_db=_by_service(plan, plan.margins_db),
        interference_db=_by_service(plan, plan.interference_db),
        lost=tuple(s for s in plan.services if alone[s] < confidence),
        lost_at_night=tuple(
            s
            for s, chance in _by_service(by_day, 100.0 * by_day.chances).items()
            if alone[s] < confidence <= chance
        ),
        overload_db=plan.overload_db,
        overload_port=plan.overload_port,
        overloads=plan.overloads,
        may_overload=plan.may_overload and not plan.overloads,
    )


def _by_service(plan: AimPlan, values: NDArray[np.float64]) -> dict[str, float]:
    return {service: float(value) for service, value in zip(plan.services, values, strict=True)}


def _has_lobe(tier: Tier, band: str) -> bool:
    return not math.isnan(tier.beamwidth_deg[band]) and tier.front_to_back_db[band] > 0.0


@dataclass(frozen=True)
class Alone:
    """One station as if it were the whole list, with a plan's aims; chance_by_day as Question.by_day.

    interferer : index of the place's path that takes most of interference_db, -1 where none does
    """

    margin_db: float
    chance_percent: float
    chance_by_day_percent: float
    interference_db: float
    interferer: int


NOT_KNOWN = Alone(math.nan, math.nan, math.nan, math.nan, -1)


def alone_at_plan(asked: Question, tier: Tier, plan: AimPlan) -> dict[int, Alone]:
    """Return station index -> each known station alone, with a plan's aims."""
    found: dict[int, Alone] = {}
    by_day = replace(asked, by_day=True).each_alone(tier)
    for (stations, signals), (_, day_signals) in zip(asked.each_alone(tier), by_day, strict=True):
        night, day = as_aimed(signals, tier, plan), as_aimed(day_signals, tier, plan)
        order = [*asked.order(dict.fromkeys(stations, "")), -1]  # an interferer of -1 stays one
        for number, index in enumerate(stations):
            found[index] = Alone(
                float(night.margins_db[number]),
                100.0 * float(night.chances[number]),
                100.0 * float(day.chances[number]),
                float(night.interference_db[number]),
                order[int(night.interferer[number])],
            )
    return found
