"""Antennas of the catalogue at a point: what each brings at a height, and the few that are worth buying."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from covermap.addresses.answer import Answer, answer_of, as_cell
from covermap.addresses.installed_records import InstallationAtPlace, Recommended
from covermap.addresses.plans import Question, as_aimed
from covermap.catalogue import AntennaCatalogue, Device, Installed, Variant, installed
from covermap.reception import AimPlan, TierTable, best_aim
from covermap.reception.installed import InstallationCounter, Receiving
from covermap.reception.ladder import ladder
from covermap.reception.tiers import Tier
from covermap.reception.turned import best_turned
from covermap.scenario.wanted import MOST_SERVICES, carriers_of, every_service

BEST_FEW = 3
MOST_PAIRS = 40  # that are tried at a place; each is a search of its own (judgement)
SURER = 5.0  # percent more of the list's chance that are worth telling (judgement)


@dataclass(frozen=True, eq=False)
class Shop:
    """What of a catalogue is asked for at every address.

    put_up : installations to be tabled; tiers : of the scenario, whose mounts hold
    catalogue : from which the few worth buying are named; None: none are
    amplifier : the only one tried, None: those worth trying
    mast_price : of the mast that the mount "mast" needs
    """

    tiers: TierTable
    put_up: tuple[Installed, ...] = ()
    catalogue: AntennaCatalogue | None = None
    amplifier: Device | None = None
    mast_price: float = 0.0
    heights_m: tuple[float, ...] = field(default=())


def installations_at(asked: Question, put_up: Sequence[Installed]) -> tuple[InstallationAtPlace, ...]:
    """Return what installations bring at the point, each without an amplifier and with the best one.

    Of the amplifiers tried with it that is the least costly one that holds the list and needs no filter, else
    the least costly that holds it with one, else the surest.

    The paths of the point must have been computed for every height.
    """
    found: list[InstallationAtPlace] = []
    for one in put_up:
        plain, *amplified = (_at(asked, one, variant) for variant in one.variants)
        found += [plain, *best_amplified(amplified)]
    return tuple(found)


def _clean_of(
    asked: Question, one: Installed, found: InstallationAtPlace, answered: AimPlan | None
) -> InstallationAtPlace:
    """Return another amplifier's instead, where the one that holds is overloaded and another one is not."""
    if not (found.amplifier and found.needs_filter):
        return found
    # variants[0] has no amplifier; the rest stand in order of price, which best_amplified() counts on.
    return best_amplified([_at(asked, one, variant, answered) for variant in one.variants[1:]])[0]


def best_amplified(amplified: Sequence[InstallationAtPlace]) -> tuple[InstallationAtPlace, ...]:
    """Return the one to be told of an installation's amplifiers, in order of price; none without any."""
    holding = [one for one in amplified if one.holds]
    clean = [one for one in holding if not one.needs_filter]
    if holding:
        return ((clean or holding)[0],)
    return tuple(sorted(amplified, key=lambda one: -one.chance_percent)[:1])


def recommended(
    asked: Question,
    shop: Shop,
    answer: Answer | None = None,
) -> tuple[Recommended, ...]:
    """Return the few least costly installations of a shop's catalogue that hold the list at the point.

    Where none does, the surest that was tried.

    answer : of the same question; what holds the list as the answer is aimed is told with that aim, so that
        a place has one
    """
    if shop.catalogue is None:
        return ()
    has_aim = answer is not None and _tells_directions(asked, answer.installation)
    answered = answer.plan if answer is not None and has_aim else None
    held: list[InstallationAtPlace] = []
    surest: InstallationAtPlace | None = None
    pairs = 0
    for one, variant in _by_cost(shop.catalogue, shop.tiers, shop.amplifier, shop.mast_price):
        pairs += len(one.antennas) > 1
        # Passed over, not stopped at: single antennas that cost more still come.
        if len(one.antennas) > 1 and pairs > MOST_PAIRS:
            continue
        # The same antennas at another mount or with another amplifier, and dearer, are no second choice.
        if any(one.name == kept.name for kept in held):
            continue
        plan = _plan(asked, variant.tier, answered)
        if asked.reaches(plan):
            held.append(_clean_of(asked, one, _told(asked, one, variant, plan), answered))
        elif surest is None or 100.0 * plan.chance > surest.chance_percent:
            surest = _told(asked, one, variant, plan)
        if len(held) == BEST_FEW:
            break
    if not held:
        return () if surest is None else (Recommended(surest, "surest", _weakness(surest)),)
    return tuple(
        Recommended(one, "cheapest" if number == 0 else _reason(held[0], one), _weakness(one))
        for number, one in enumerate(held)
    )


def candidates(catalogue: AntennaCatalogue) -> Iterable[str]:
    """Yield what of a catalogue may be put up: every antenna, and every one for UHF with one for VHF."""
    yield from catalogue.antennas
    uhf = [key for key, one in catalogue.antennas.items() if one.kind == "uhf"]
    vhf = [key for key, one in catalogue.antennas.items() if one.kind in ("high_vhf", "low_vhf")]
    yield from (f"{one}+{other}" for one, other in product(uhf, vhf))


def _by_cost(
    catalogue: AntennaCatalogue, tiers: TierTable, amplifier: Device | None, mast_price: float
) -> list[tuple[Installed, Variant]]:
    """Return every installation at every mount that suits it, the least costly first; one antenna before two.

    Where every antenna has a price, by price, else by the cost order of the mounts.
    """
    prices = [antenna.price for antenna in catalogue.antennas.values()]
    tried = catalogue.devices.values() if amplifier is None else [amplifier]
    prices += [device.price for device in tried if device.kind == "amplifier"]
    # All or none: one antenna without a price would be sorted as free, or as last, and either is a guess.
    priced = not any(math.isnan(price) for price in prices)
    found = []
    for key in candidates(catalogue):
        antennas = [catalogue.antennas[part] for part in key.split("+")]
        for mount in antennas[0].mounts:
            if not all(mount in antenna.mounts for antenna in antennas):
                continue
            one = installed(f"{key}@{mount}", catalogue, tiers, amplifier=amplifier)
            for place, variant in enumerate(one.variants):
                # Without prices a second antenna or the next amplifier counts 2 on the scale of the tier
                # table (judgement).
                order = variant.tier.cost_order + 2.0 * place + 2.0 * (len(antennas) - 1)
                price = one.price(variant.amplifier) + (mast_price if mount == "mast" else 0.0)
                rank = (price if priced else order, len(antennas), order)
                found.append((rank, one, variant))
    # By rank alone and stable: installations have no order, and what costs the same keeps the catalogue's.
    found.sort(key=lambda item: item[0])
    return [(one, variant) for _, one, variant in found]


def _plan(asked: Question, tier: Tier, answered: AimPlan | None = None) -> AimPlan:
    """Return the plan of an installation: the answer's where that holds the list with it, else its best."""
    best = _best_plan(asked, tier)
    alike = answered is not None and answered.joined == best.joined and not tier.turned_deg
    if answered is None or not alike or not asked.reaches(best):
        return best
    same = as_aimed(asked.signals(tier), tier, answered)
    return same if asked.reaches(same) else best


def _best_plan(asked: Question, tier: Tier) -> AimPlan:
    """Return an installation's best plan; of a pair, with an aim for each antenna where that reaches."""
    if tier.turned_deg:
        return best_turned(asked.signals(tier), tier)
    # Two behind a diplexer are told by its loss; only those are asked for an aim each.
    if tier.diplexer_loss_db <= 0.0:
        return best_aim(asked.signals(tier), tier)
    site = replace(asked.place.site, receivers={})  # nobody asks for this one again
    alone = replace(asked, place=replace(asked.place, site=site), tiers=ladder([tier]).tiers)
    # A ladder of this one class, so that the search of two aims is reception's own.
    return answer_of(alone).plans[0]


def _at(
    asked: Question, one: Installed, variant: Variant, answered: AimPlan | None = None
) -> InstallationAtPlace:
    return _told(asked, one, variant, _plan(asked, variant.tier, answered))


def _told(asked: Question, one: Installed, variant: Variant, plan: AimPlan) -> InstallationAtPlace:
    tier = variant.tier
    confidence = asked.options.confidence_percent / 100.0
    lowest = int(np.argmin(plan.chances))
    return InstallationAtPlace(
        key=one.key,
        name=one.name,
        mount=one.mount,
        height_m=tier.height_m,
        amplifier=variant.amplifier_name,
        amplifier_price=math.nan if variant.amplifier is None else variant.amplifier.price,
        chance_percent=100.0 * plan.chance,
        holds=asked.reaches(plan),
        aims_deg=plan.azimuths_deg,
        directional=_tells_directions(asked, tier),
        joined=plan.joined,
        polarization=plan.polarization,
        needs_filter=plan.overloads,
        lost=tuple(
            service
            for service, chance in zip(plan.services, plan.chances, strict=True)
            if chance < confidence
        ),
        unserved=one.unserved(carriers_of(asked.wanted, asked.place.site.scenario.stations)),
        weakest=plan.services[lowest],
        weakest_percent=100.0 * float(plan.chances[lowest]),
        services=_services(asked, tier),
        price=one.price(variant.amplifier),
    )


def _tells_directions(asked: Question, tier: Tier) -> bool:
    figures = [tier.at(station.frequency_mhz) for station in asked.carriers()]
    # NaN beamwidth: receives alike all around, so an aim would be a made-up figure.
    return any(not math.isnan(one.beamwidth_deg) and one.front_to_back_db > 0.0 for one in figures)


def _services(asked: Question, tier: Tier) -> tuple[str, ...]:
    """Return which services of the station file arrive, each alone, at the aim that brings most of them."""
    every = every_service(asked.place.site.scenario.stations)
    if len(every.services) > MOST_SERVICES:
        return ()
    signals = as_cell(replace(asked, tiers=(tier,)))
    around = Receiving(
        asked.place.site.facts,
        asked.options,
        signals.heights_m,
        signals.surroundings,
    )
    # 1 arrives, 0 does not, other values: not known. Only the first counts as a service.
    bits = InstallationCounter([tier], every, around).count(signals)[:, 0]
    return tuple(service for service, bit in zip(every.services, bits, strict=True) if bit == 1)


def _reason(first: InstallationAtPlace, other: InstallationAtPlace) -> str:
    """Return what speaks for one that costs more than the first."""
    if first.amplifier and not other.amplifier:
        return "no_amplifier"
    if first.joined != "single" and other.joined == "single":
        return "one_antenna"
    if other.height_m < first.height_m:
        return "lower_mount"
    if other.chance_percent >= first.chance_percent + SURER:
        return "surer"
    # the mast decides its place among prices and stands in no price that is told
    return "next_with_mast" if other.mount == "mast" and first.mount != "mast" else "next"


def _weakness(one: InstallationAtPlace) -> str:
    """Return the one weakness worth telling."""
    if one.needs_filter:
        return "filter"
    if one.mount == "mast":
        return "mast"
    if len(one.aims_deg) > 1:
        return "two_antennas"
    return "weakest"
