"""The answer at a point: reception's record for the exact fields there, and the plans behind it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.paths import PATH_HEIGHT_M, StationPath, mount_heights_m
from covermap.addresses.plans import Question, as_aimed
from covermap.addresses.report import Night, TierPlan
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.reception import AimPlan, CellSignals, ListReceiver, ReceiverRecord, Tier, TierTable
from covermap.reception.aim import plan_of
from covermap.reception.causes import Obstructions
from covermap.reception.plan_columns import CHANCE
from covermap.reception.record import record_with_plans
from covermap.reception.services import ClassServices, ServiceCounter
from covermap.scenario.wanted import MOST_SERVICES, every_service


@dataclass(frozen=True, eq=False)
class Answer:
    """A record, and the best plan of every tier.

    singles : of one antenna. plans : the same, but of two for the tier of an answer that has two
    installation : the row of the tier table the answer speaks of; tier 8: the last one
    """

    record: ReceiverRecord
    singles: tuple[AimPlan, ...]
    plans: tuple[AimPlan, ...]
    installation: Tier

    @property
    def tier(self) -> int:
        """Return the tier, 8 where none holds."""
        return self.record.tier or len(self.plans) + 1

    @property
    def plan(self) -> AimPlan:
        """Return the answer's plan; tier 8: the last tier's."""
        return self.plans[self.installation.tier - 1]

    @property
    def needs_filter(self) -> bool:
        """Return whether strong signals overload the answer's plan."""
        return "needs_filter" in self.record.remarks


def answer_of(asked: Question) -> Answer:
    """Return the answer to a question: that of a cell with the same fields."""
    signals = as_cell(asked)
    smooth_earth = any(path.status == "smooth_earth" for path in asked.place.paths)
    record, columns = record_with_plans(
        receiver_of(asked, signals), signals, as_obstructions(asked), smooth_earth
    )
    # tier is None where unknown and 8 where none holds: of both the last row of the table is told.
    installation = asked.tiers[min(record.tier or len(asked.tiers), len(asked.tiers)) - 1]
    singles = [plan_of(asked.signals(tier), tier, columns[n]) for n, tier in enumerate(asked.tiers)]
    plans = list(singles)
    # The row behind the tiers' is that of two antennas; a chance of -1 there: the answer has one.
    if columns[-1, CHANCE] >= 0.0:
        of_two = plan_of(asked.signals(installation), installation, columns[-1])
        plans[installation.tier - 1] = of_two
    return Answer(record, tuple(singles), tuple(plans), installation)


def night_of(asked: Question, answer: Answer, kept: Sequence[TierPlan]) -> Night | None:
    """Return what is fine by day and lost on nights of good propagation, None where nothing is.

    kept : the answer's plans as reported. That one antenna that costs less would do by day is the record's to
    say; here it is named.
    """
    tier_by_day, chance_by_day = None, math.nan
    if "lost_at_night" in answer.record.remarks:
        by_day, confidence = replace(asked, by_day=True), asked.options.confidence_percent / 100.0
        for tier, plan in zip(asked.tiers, answer.singles, strict=True):
            found = as_aimed(by_day.signals(tier), tier, plan).chance
            if plan.chance < confidence <= found:
                tier_by_day, chance_by_day = tier.tier, 100.0 * found
                break
    lost = kept[answer.installation.tier - 1].lost_at_night
    return Night(tier_by_day, chance_by_day, lost) if tier_by_day is not None or lost else None


def receiver_of(asked: Question, signals: CellSignals) -> ListReceiver:
    """Return what works out reception for a question; the site keeps it for the next point."""
    site, place = asked.place.site, asked.place
    around = place.clutter_height_m, place.open_land
    # A receiver works out limits and tables for a list, its installations, noise, surroundings and stations,
    # which takes longer than one point does; points alike in all of them share it. Tiers hold dicts and so
    # have no hash: their repr stands for them.
    key = asked.wanted, repr(asked.tiers), *_options(asked), *around, _stations(asked)
    if key not in site.receivers:
        site.receivers[key] = ListReceiver(
            site.facts,
            TierTable(asked.tiers),
            asked.wanted,
            asked.options,
            signals.heights_m,
            signals.surroundings,
        )
    return site.receivers[key]


def services_at(asked: Question) -> tuple[ClassServices, ...]:
    """Return which services of the station file each class of antenna brings at the point, each alone."""
    site, place, signals = asked.place.site, asked.place, as_cell(asked)
    every = every_service(site.scenario.stations)
    if len(every.services) > MOST_SERVICES:
        # A service is told by one byte, as in wanted.py: of more none is counted.
        return ()
    # Without list and tiers: services are counted of the whole file, with the tiers of the plain question.
    key = place.clutter_height_m, place.open_land, *_options(asked), _stations(asked)
    if key not in site.counters:
        site.counters[key] = ServiceCounter(
            site.facts,
            TierTable(asked.tiers),
            every,
            asked.options,
            signals.heights_m,
            signals.surroundings,
        )
    return site.counters[key].count(signals).at(0)


def as_cell(asked: Question) -> CellSignals:
    """Return what arrives at the point as reception reads a tile of one cell."""
    place, facts = asked.place, asked.place.site.facts
    heights_m = mount_heights_m([tier.height_m for tier in asked.tiers])
    shift_db = np.array([[asked.shift_db(path.station, h) for h in heights_m] for path in place.paths])

    def fields(name: str) -> NDArray[np.float32]:
        at = [[getattr(path, name)[height] for height in heights_m] for path in place.paths]
        # float32 as the map's tiles, so that the same field gives the same answer here and there.
        return (np.array(at) + shift_db)[:, :, None].astype(np.float32)

    # Bearings and distances go by mast, as in a tile: all stations of a mast have the same. A mast whose
    # stations were all left out as too weak keeps its row, which nothing reads.
    bearing_deg = np.full((int(np.max(facts.mast)) + 1, 1), np.nan, np.float32)
    distance_km = np.zeros_like(bearing_deg)
    for mast, path in zip(facts.mast, place.paths, strict=True):
        bearing_deg[mast] = path.profile.back_azimuth_deg
        distance_km[mast] = path.profile.length_km
    return CellSignals(
        heights_m=np.array(heights_m),
        field_dbuvm=fields("wanted_dbuvm"),
        bearing_deg=bearing_deg,
        clutter_height_m=np.array([place.clutter_height_m], np.float32),
        open_land=np.array([place.open_land]),
        unwanted_field_dbuvm=fields("by_day_dbuvm" if asked.by_day else "unwanted_dbuvm"),
        median_field_dbuvm=fields("by_day_dbuvm"),
        distance_km=distance_km,
        path_class=_path_classes(asked),
    )


def _path_classes(asked: Question) -> NDArray[np.uint8]:
    return np.array([path.path_class for path in asked.place.paths], np.uint8)[:, None]


def as_obstructions(asked: Question) -> Obstructions:
    """Return what stands between the stations and the point as reception reads it of a tile of one cell."""

    def of_paths(values: list[float], kind: type) -> NDArray:
        return np.array(values, kind)[:, None]

    paths = asked.place.paths
    return Obstructions(
        of_paths([path.obstacle_db[PATH_HEIGHT_M] for path in paths], np.float32),
        _path_classes(asked),
        of_paths([_null_db(path) for path in paths], np.float32),
        asked.options.has_land_cover,
    )


def _options(asked: Question) -> tuple[str, str]:
    """Return what the options say of the place: its noise and its building."""
    return asked.options.noise_environment, asked.options.building


def _stations(asked: Question) -> tuple[str, ...]:
    """Return the ids of the stations that are counted at the point, which differ from point to point."""
    return tuple(path.station.station_id for path in asked.place.paths)


def _null_db(path: StationPath) -> float:
    # Only a steep ray is in the mast's null, as on the map; sideways the pattern is meant to be low.
    return -path.pattern_db if path.departure_deg < STEEP_RAY_DEG else 0.0
