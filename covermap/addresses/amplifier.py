"""What an amplifier at the antenna changes at a point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from covermap.addresses.plans import Lowest, Question, alone_at_plan, as_aimed
from covermap.addresses.report import Amplifier, Ports
from covermap.addresses.strong_signals import ports_of
from covermap.reception import AimPlan, Tier
from covermap.reception.required_field import chain_of
from covermap.reception.verdicts import LEAST_HELP

LIMITED_SHARE = 0.8  # judgement: of the system noise from outside; an amplifier cannot better that
LIMITING_DB = 6.0  # judgement: interference that takes this much is what limits


def amplifier_effect(asked: Question, plans: Sequence[AimPlan], lowest: Lowest) -> Amplifier | None:
    """Return what an amplifier does to each station of the list, None where no tier has one.

    plans : the best plan of every tier. Tried at the mount of the answer where that has one, else of the
    first tier with one; the same installation and aims with and without it.
    """
    amplified = [tier for tier in asked.tiers if tier.has_amplifier]
    if not amplified:
        return None
    with_it = next((tier for tier in amplified if tier.tier == lowest.tier), amplified[0])
    if lowest.tier > len(asked.tiers):
        with_it = amplified[-1]
    without = replace(
        with_it,
        amplifier_gain_db=math.nan,
        amplifier_noise_figure_db=math.nan,
        amp_in_max_dbm=math.inf,
        amp_out_max_dbm=math.inf,
    )
    plan = plans[with_it.tier - 1]
    bare = as_aimed(asked.signals(without), without, plan)
    amplified_alone, bare_alone = alone_at_plan(asked, with_it, plan), alone_at_plan(asked, without, plan)
    listed = [index for group in asked.wanted.transmitters for index in group if index in bare_alone]
    by_id = {index: asked.place.paths[index].station.station_id for index in listed}
    return Amplifier(
        verdict=_verdict(asked, plan, bare),
        mount=with_it.name,
        effect_db={
            by_id[index]: amplified_alone[index].margin_db - bare_alone[index].margin_db
            for index in listed
            if math.isfinite(bare_alone[index].margin_db)
        },
        noise_limited=tuple(by_id[index] for index in listed if _noise_limited(asked, without, plan, index)),
        interference_limited=tuple(
            by_id[index] for index in listed if bare_alone[index].interference_db >= LIMITING_DB
        ),
        chance_without_percent=100.0 * bare.chance,
        chance_with_percent=100.0 * plan.chance,
        ports=ports(asked, with_it, plan),
        ports_without=ports(asked, without, bare),
    )


def ports(asked: Question, tier: Tier, plan: AimPlan) -> Ports:
    """Return the powers at an installation's ports from every station of the file with a known path."""
    stations = [asked.place.paths[index].station for index in asked.order(asked.labels())]
    return ports_of(asked.signals(tier), stations, tier, plan)


def _verdict(asked: Question, plan: AimPlan, bare: AimPlan) -> str:
    """Return the verdict, by the map's rule."""
    if plan.overloads and not bare.overloads:
        return "overloads"
    if asked.reaches(bare):
        return "not_needed"
    if plan.chance - bare.chance < LEAST_HELP:
        return "does_nothing"
    return "may_overload" if plan.may_overload else "helps"


def _noise_limited(asked: Question, tier: Tier, plan: AimPlan, index: int) -> bool:
    station = asked.place.paths[index].station
    chain = chain_of(tier, station.frequency_mhz, station.bandwidth_mhz, asked.options, plan.joined)
    return chain.external_noise_share >= LIMITED_SHARE
