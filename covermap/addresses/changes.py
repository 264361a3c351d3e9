"""What would need another antenna: one service given up, or one thing changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from covermap.addresses.answer import Answer, answer_of
from covermap.addresses.local_cover import cover_changes, wood_before
from covermap.addresses.paths import mount_heights_m
from covermap.addresses.plans import Question, Shift, as_aimed
from covermap.addresses.report import Change, Without
from covermap.addresses.second_opinion import other_model_shift_db
from covermap.propagation.foliage import leaf_loss_db
from covermap.reception import Tier
from covermap.reception.external_noise import NOISIER
from covermap.reception.rating import SHIFTS_DB, STRONGER, WEAKER
from covermap.scenario.records import Station

# compute_report.py leaves out only stations that are too weak even so much stronger
SHIFT_DB = SHIFTS_DB[STRONGER]
HIGHER_M = 3.0  # judgement
# Rough loss through the crowns of a row of trees in leaf: common practice, no source.
IN_LEAF_DB = {"low_vhf": 3.0, "high_vhf": 3.0, "uhf": 6.0}


def without_each(asked: Question, answer: Answer) -> tuple[Without, ...]:
    """Return what giving up each service would need; nothing for a list of one, or where some are enough."""
    wanted, record = asked.wanted, answer.record
    # Of a list of which some services are enough, giving up one is no question: the answer gives up what it
    # likes.
    if len(wanted.services) < 2 or wanted.at_least is not None:
        return ()
    found = []
    for number, service in enumerate(wanted.services):
        fewer = replace(
            wanted,
            services=wanted.services[:number] + wanted.services[number + 1 :],
            transmitters=wanted.transmitters[:number] + wanted.transmitters[number + 1 :],
        )
        rest = answer_of(replace(asked, wanted=fewer))
        # The record has worked this one out itself; taken from there, the sheet cannot say other than the map
        # does.
        tier = record.tier_without_deciding if service == record.deciding_service else rest.tier
        found.append(Without(service, tier or rest.tier, 100.0 * rest.plan.chance, rest.record.joined))
    return tuple(found)


def changes(asked: Question, answer: Answer) -> tuple[Change, ...]:
    """Return what each change would need: other signals, a higher mount, leaves, other cover, more noise.

    Weaker and stronger are the record's own, with the antennas as they are aimed.
    """
    noise, record = asked.options.noise_environment, answer.record
    found = [
        _shifted("weaker_3db", replace(asked, shift_db=_weaker), answer, record.tier_weaker),
        _shifted("stronger_3db", replace(asked, shift_db=_stronger), answer, record.tier_stronger),
    ]
    higher = tuple(replace(tier, height_m=tier.height_m + HIGHER_M) for tier in asked.tiers)
    tried = [("higher_3m", replace(asked, tiers=higher))]
    if NOISIER[noise] != noise:
        options = replace(asked.options, noise_environment=NOISIER[noise])
        tried.append(("noisier", replace(asked, options=options)))
    found += [_change(key, changed) for key, changed in tried]
    return (*found, *in_leaf(asked), *other_cover(asked), *_second_opinion(asked))


def in_leaf(asked: Question) -> tuple[Change, ...]:
    """Return what leaves would need: of the wood on the way where land cover is known, else a rough loss."""
    woods_m = wood_before(asked.place, mount_heights_m([tier.height_m for tier in asked.tiers]))
    foliage = asked.place.site.foliage
    if woods_m is None or foliage is None:
        return (_change("in_leaf", replace(asked, shift_db=_rough_leaves)),)

    def shift_db(station: Station, height_m: float) -> float:
        wood_m = woods_m[station.station_id, height_m]
        return -float(leaf_loss_db(foliage, station.frequency_mhz, wood_m))

    found = _change("in_leaf", replace(asked, shift_db=shift_db))
    return (replace(found, wood_m=max(woods_m.values(), default=0.0)),)


def other_cover(asked: Question) -> tuple[Change, ...]:
    """Return what one class of land cover more or less at the place would need."""
    place = asked.place
    found = []
    for key, tops_m, changes_db in cover_changes(
        place, mount_heights_m([tier.height_m for tier in asked.tiers]), asked.labels()
    ):
        # Nothing on the ground tells open land only where land cover is known; without it 0 m is just no
        # answer.
        open_land = tops_m == 0.0 and place.site.terrain.has_land_cover
        there = replace(place, clutter_height_m=tops_m, open_land=open_land)
        changed = replace(asked, place=there, shift_db=_less(changes_db))
        found.append(replace(_change(key, changed), tops_m=tops_m))
    return tuple(found)


def _less(losses_db: dict[tuple[str, float], float]) -> Shift:
    def shift_db(station: Station, height_m: float) -> float:
        return -losses_db[station.station_id, height_m]

    return shift_db


def _change(key: str, changed: Question) -> Change:
    """Return what a changed question needs."""
    other = answer_of(changed)
    return Change(key, other.tier, 100.0 * other.plan.chance, other.plan.azimuths_deg, other.needs_filter)


def _second_opinion(asked: Question) -> tuple[Change, ...]:
    """Return what another model's fields would need; nothing where none is asked for or it has no answer."""
    site = asked.place.site
    model = site.scenario.settings.prediction.second_opinion
    if model is None:
        return ()
    shifts = {path.station.station_id: other_model_shift_db(site, path) for path in asked.place.paths}
    # An opinion on half of the list is none: one carrier without an answer and the whole is left out.
    listed = [shifts[station.station_id] for station in asked.carriers()]
    if not listed or any(math.isnan(shift) for shift in listed):
        return ()

    def shift_db(station: Station, height_m: float) -> float:
        # Stations that only disturb, and of which the other model says nothing, keep their field.
        return float(np.nan_to_num(shifts[station.station_id]))

    found = _change("second_opinion", replace(asked, shift_db=shift_db))
    return (replace(found, other_db=float(np.median(listed)), model=model),)


def _shifted(key: str, asked: Question, answer: Answer, tier: int | None) -> Change:
    """Return what a tier's plan brings with every field moved; tier : of the record, 8 for none."""
    number = min(tier or len(asked.tiers), len(asked.tiers)) - 1
    # The record has turned every field and kept the aims; so must the chance told beside its tier.
    installation, plan = asked.tiers[number], answer.plans[number]
    moved = as_aimed(asked.signals(installation), installation, plan)
    # Of no class nobody buys a filter.
    promised = tier is not None and tier <= len(asked.tiers)
    return Change(
        key,
        tier or len(asked.tiers) + 1,
        100.0 * moved.chance,
        plan.azimuths_deg,
        promised and moved.overloads,
    )


def _weaker(station: Station, height_m: float) -> float:
    return SHIFTS_DB[WEAKER]


def _stronger(station: Station, height_m: float) -> float:
    return SHIFTS_DB[STRONGER]


def _rough_leaves(station: Station, height_m: float) -> float:
    return -IN_LEAF_DB[station.band]


def heights_to_compute_m(tiers: Sequence[Tier]) -> list[float]:
    """Return the heights of mounts that any question asks for."""
    # All of them at once, before anything is asked: the paths of a place are computed a single time.
    return [tier.height_m + more for tier in tiers for more in (0.0, HIGHER_M)]
