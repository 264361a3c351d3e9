"""Which antenna a point needs: every tier's best plan, one service given up, one thing changed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from covermap.addresses.paths import PATH_HEIGHT_M, StationPath
from covermap.addresses.report import Change, TierPlan, Without
from covermap.addresses.site import Site
from covermap.constants import TIER_NOT_PROMISED
from covermap.reception import (
    AimPlan,
    PlaceSignals,
    ReceptionOptions,
    StationFacts,
    Tier,
    aim_plan,
    aim_range,
    best_aim,
)
from covermap.reception.external_noise import NOISIER
from covermap.scenario.records import Station, WantedList

WEAKER_DB = 3.0
HIGHER_M = 3.0
# Rough loss through the crowns of a row of trees in leaf: common practice, no source.
IN_LEAF_DB = {"low_vhf": 3.0, "high_vhf": 3.0, "uhf": 6.0}

Shift = Callable[[Station], float]


def _no_shift(station: Station) -> float:
    return 0.0


@dataclass(frozen=True, eq=False)
class Place:
    """A point with the paths of every station to it; paths holds the heights of every mount tried."""

    site: Site
    paths: tuple[StationPath, ...]
    clutter_height_m: float
    open_land: bool

    def known(self, index: int) -> bool:
        """Return whether a station's field is known at every height."""
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
    """What is asked of a place: a list, installations, noise, and how much every field is moved."""

    place: Place
    wanted: WantedList
    tiers: tuple[Tier, ...]
    options: ReceptionOptions
    shift_db: Shift = _no_shift

    def best_plans(self) -> list[AimPlan]:
        """Return the best plan of every installation."""
        return [best_aim(self.signals(tier), tier) for tier in self.tiers]

    def lowest(self, plans: Sequence[AimPlan]) -> tuple[int, AimPlan]:
        """Return the lowest tier that reaches the confidence (8: none) and its plan (8: the last)."""
        for tier, plan in zip(self.tiers, plans, strict=True):
            if 100.0 * plan.chance >= self.options.confidence_percent:
                return tier.tier, plan
        return TIER_NOT_PROMISED, plans[-1]

    def carriers(self) -> list[Station]:
        """Return the list's stations with a known path."""
        indices = (index for group in self.wanted.transmitters for index in group)
        return [self.place.paths[index].station for index in indices if self.place.known(index)]

    def signals(self, tier: Tier) -> PlaceSignals:
        """Return what arrives from the list's stations at an installation's mount."""
        stations, labels = [], []
        for service, group in zip(self.wanted.services, self.wanted.transmitters, strict=True):
            for index in group:
                if self.place.known(index):
                    stations.append(index)
                    labels.append(service)
        return self._signals(tier, stations, tuple(labels), self.wanted.at_least)

    def each_alone(self, tier: Tier) -> tuple[list[int], PlaceSignals]:
        """Return every known station as a service of its own: their indices and what arrives."""
        stations = [index for index in range(len(self.place.paths)) if self.place.known(index)]
        return stations, self._signals(tier, stations, (), None)

    def _signals(
        self, tier: Tier, stations: list[int], labels: tuple[str, ...], at_least: int | None
    ) -> PlaceSignals:
        place, height_m = self.place, max(PATH_HEIGHT_M, tier.height_m)
        paths = [place.paths[index] for index in stations]
        return PlaceSignals(
            facts=some_facts(place.site.facts, stations),
            field_dbuvm=np.array([p.wanted_dbuvm[height_m] + self.shift_db(p.station) for p in paths]),
            bearing_deg=np.array([path.profile.back_azimuth_deg for path in paths]),
            service=labels,
            at_least=at_least,
            clutter_height_m=place.clutter_height_m,
            open_land=place.open_land,
            options=self.options,
        )


def some_facts(facts: StationFacts, stations: Sequence[int]) -> StationFacts:
    """Return the facts of some stations."""
    index = np.array(stations, dtype=np.int64)
    return StationFacts(**{name: values[index] for name, values in vars(facts).items()})


def question(place: Place) -> Question:
    """Return the plain question of a place: the site's list, tiers and noise."""
    site = place.site
    return Question(place, site.wanted, site.tiers.tiers, site.options)


def tier_plans(asked: Question, plans: Sequence[AimPlan]) -> tuple[TierPlan, ...]:
    """Return the plans as the report keeps them."""
    return tuple(_tier_plan(asked, tier, plan) for tier, plan in zip(asked.tiers, plans, strict=True))


def _tier_plan(asked: Question, tier: Tier, plan: AimPlan) -> TierPlan:
    alone = {s: 100.0 * float(chance) for s, chance in zip(plan.services, plan.chances, strict=True)}
    return TierPlan(
        tier=tier.tier,
        name=tier.name,
        aims_deg=(plan.azimuth_deg,),
        directional=any(
            tier.beamwidth_deg[s.band] == tier.beamwidth_deg[s.band] and tier.front_to_back_db[s.band] > 0.0
            for s in asked.carriers()
        ),
        polarization=plan.polarization,
        chance_percent=100.0 * plan.chance,
        bounds_percent=(100.0 * plan.chance_bounds[0], 100.0 * plan.chance_bounds[1]),
        service_chance_percent=alone,
        margin_db={s: float(margin) for s, margin in zip(plan.services, plan.margins_db, strict=True)},
        lost=tuple(s for s in plan.services if alone[s] < asked.options.confidence_percent),
    )


def aim_window(asked: Question, tier: Tier, plan: AimPlan) -> tuple[int, int] | None:
    """Return the azimuths around a plan's aim that keep the confidence, None where it is not reached."""
    return aim_range(asked.signals(tier), plan, tier, asked.options.confidence_percent / 100.0)


def alone_at_plan(asked: Question, tier: Tier, plan: AimPlan) -> dict[int, tuple[float, float]]:
    """Return station index -> (margin in dB, chance in percent) of each station alone, with a plan's aim."""
    stations, signals = asked.each_alone(tier)
    if not stations:
        return {}
    found = aim_plan(signals, tier, plan.azimuth_deg, plan.polarization)
    return {
        index: (float(margin), 100.0 * float(chance))
        for index, margin, chance in zip(stations, found.margins_db, found.chances, strict=True)
    }


def without_each(asked: Question) -> tuple[Without, ...]:
    """Return what giving up each service would need; nothing for a list of one, or where some are enough."""
    wanted = asked.wanted
    if len(wanted.services) < 2 or wanted.at_least is not None:
        return ()
    found = []
    for number, service in enumerate(wanted.services):
        fewer = replace(
            wanted,
            services=wanted.services[:number] + wanted.services[number + 1 :],
            transmitters=wanted.transmitters[:number] + wanted.transmitters[number + 1 :],
        )
        rest = replace(asked, wanted=fewer)
        tier, plan = rest.lowest(rest.best_plans())
        found.append(Without(service, tier, 100.0 * plan.chance))
    return tuple(found)


def changes(asked: Question) -> tuple[Change, ...]:
    """Return what each change would need: weaker signals, a higher mount, leaves, more noise."""
    noise = asked.options.noise_environment
    higher = tuple(replace(tier, height_m=tier.height_m + HIGHER_M) for tier in asked.tiers)
    tried = [
        ("weaker_3db", f"Everything {WEAKER_DB:g} dB weaker", replace(asked, shift_db=_weaker)),
        ("higher_3m", f"{HIGHER_M:g} m more height", replace(asked, tiers=higher)),
        (
            "in_leaf",
            f"Trees in leaf in the way ({IN_LEAF_DB['uhf']:g} dB at UHF, {IN_LEAF_DB['high_vhf']:g} at VHF)",
            replace(asked, shift_db=_in_leaf),
        ),
    ]
    if NOISIER[noise] != noise:
        options = replace(asked.options, noise_environment=NOISIER[noise])
        words = f"House noise one class up ({NOISIER[noise].replace('_', ' ')})"
        tried.append(("noisier", words, replace(asked, options=options)))
    found = []
    for key, words, changed in tried:
        tier, plan = changed.lowest(changed.best_plans())
        found.append(Change(key, words, tier, 100.0 * plan.chance, (plan.azimuth_deg,)))
    return tuple(found)


def _weaker(station: Station) -> float:
    return -WEAKER_DB


def _in_leaf(station: Station) -> float:
    return -IN_LEAF_DB[station.band]


def heights_to_compute_m(tiers: Sequence[Tier]) -> list[float]:
    """Return the heights of mounts that any question asks for."""
    return [tier.height_m + more for tier in tiers for more in (0.0, HIGHER_M)]
