"""What an amplifier changes at a point, station by station; what it is good for is the record's to say."""

from __future__ import annotations

import math

from covermap.addresses.answer import Answer
from covermap.addresses.plans import Question, alone_at_plan, as_aimed
from covermap.addresses.report import Amplifier, Ports
from covermap.addresses.strong_signals import ports_of
from covermap.reception import AimPlan, Tier, best_aim
from covermap.reception.amplifier import HALF, HALF_DB
from covermap.reception.installations import with_amplifier, without_amplifier
from covermap.reception.required_field import chain_of


def amplifier_effect(asked: Question, answer: Answer) -> Amplifier | None:
    """Return what an amplifier does to each station of the list, None where no tier has one.

    The installation of the answer with it and without; margins at the same aims, chances each at its best.
    """
    amplifier = next((tier for tier in asked.tiers if tier.has_amplifier), None)
    if amplifier is None:
        return None
    # An amplifier is judged at the mount of the answer, with and without, else a change of height would be
    # counted as its doing (docs/decisions/reception_plans.md). A class of the answer that has one of its own
    # keeps it; any other borrows that of the first class that has one.
    own = answer.installation
    with_it = own if own.has_amplifier else with_amplifier(own, amplifier)
    without = without_amplifier(own)
    plan, bare = (as_aimed(asked.signals(tier), tier, answer.plan) for tier in (with_it, without))
    amplified_alone, bare_alone = alone_at_plan(asked, with_it, plan), alone_at_plan(asked, without, plan)
    listed = [index for group in asked.wanted.transmitters for index in group if index in bare_alone]
    by_id = {index: asked.place.paths[index].station.station_id for index in listed}
    return Amplifier(
        verdict=answer.record.amplifier,
        mount=own.name,
        effect_db={
            by_id[index]: amplified_alone[index].margin_db - bare_alone[index].margin_db
            for index in listed
            # Two combined antennas that hear a station alike leave a margin of -inf: a difference says
            # nothing there.
            if math.isfinite(bare_alone[index].margin_db)
        },
        noise_limited=tuple(by_id[index] for index in listed if _noise_limited(asked, without, plan, index)),
        interference_limited=tuple(
            by_id[index] for index in listed if amplified_alone[index].interference_db > HALF_DB
        ),
        chance_without_percent=100.0 * _best(asked, without, bare, own),
        chance_with_percent=100.0 * _best(asked, with_it, plan, own),
        ports=ports(asked, with_it, plan),
        ports_without=ports(asked, without, bare),
    )


def ports(asked: Question, tier: Tier, plan: AimPlan) -> Ports:
    """Return the powers at an installation's ports from every station of the file with a known path."""
    stations = [asked.place.paths[index].station for index in asked.order(asked.labels())]
    return ports_of(asked.signals(tier), stations, tier, plan)


def _best(asked: Question, tier: Tier, plan: AimPlan, own: Tier) -> float:
    """Return the chance of an installation's best plan; plan : at the answer's aims."""
    # As it stands in the answer: its plan has been searched already.
    if tier.has_amplifier == own.has_amplifier:
        return plan.chance
    # At least the aims of the answer: those may be of two antennas, which best_aim() does not try.
    return max(plan.chance, best_aim(asked.signals(tier), tier).chance)


def _noise_limited(asked: Question, tier: Tier, plan: AimPlan, index: int) -> bool:
    station = asked.place.paths[index].station
    chain = chain_of(tier, station.frequency_mhz, station.bandwidth_mhz, asked.options, plan.joined)
    return chain.external_noise_share > HALF
