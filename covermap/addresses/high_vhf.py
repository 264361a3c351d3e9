"""Whether a list needs an antenna made for high VHF, and how large a one."""

from __future__ import annotations

from covermap.addresses.answer import Answer
from covermap.addresses.plans import Question, as_aimed
from covermap.addresses.report import HighVhf, HighVhfSize
from covermap.constants import TIER_NOT_PROMISED
from covermap.reception import AimPlan, ReceiverSignals, Tier
from covermap.reception.bands import band_of

BAND = "high_vhf"


def high_vhf_of(asked: Question, answer: Answer) -> HighVhf | None:
    """Return what the list needs on high VHF at the mount of the answer, None where nothing comes on it.

    An antenna not made for it hears there what the easiest tier's does, as on the map. Sizes are the high-VHF
    parts of the tier table up to that of the answer, at its mount and aims.
    """
    tier, plan = answer.installation, answer.plan
    signals = asked.signals(tier)
    services = _on_high_vhf(asked, plan, signals)
    if not services:
        return None
    # There is no figure for a UHF antenna on high VHF; the easiest class stands for one, here and on the map.
    easiest = asked.tiers[0]
    short = tier.with_part(
        BAND, gain_dbd=easiest.gain_dbd[BAND], directivity_dbd=easiest.directivity_dbd[BAND]
    )
    uhf_only = as_aimed(signals, short if easiest.gain_dbd[BAND] < tier.gain_dbd[BAND] else tier, plan)
    lost = _lost(asked, plan, uhf_only)
    # Where a class holds the record has the word, as on the map; where none does it says nothing, so it is
    # asked service by service.
    promised = answer.tier < TIER_NOT_PROMISED
    needs_own = "own_high_vhf" in answer.record.remarks if promised else bool(lost)
    sizes = _sizes(asked, tier, plan, signals)
    return HighVhf(
        services=services,
        needs_own=needs_own,
        uhf_only_chance_percent=100.0 * uhf_only.chance,
        uhf_only_lost=lost,
        sizes=sizes,
        smallest=next((size for size in sizes if size.holds), None) if needs_own else None,
    )


def _on_high_vhf(asked: Question, plan: AimPlan, signals: ReceiverSignals) -> tuple[str, ...]:
    """Return the services that a plan's best station brings on high VHF, in the order of the list."""
    found = {
        service
        for service, station in zip(plan.services, plan.station, strict=True)
        if band_of(float(signals.facts.frequency_mhz[int(station)])) == BAND
    }
    return tuple(service for service in asked.wanted.services if service in found)


def _lost(asked: Question, plan: AimPlan, other: AimPlan) -> tuple[str, ...]:
    """Return the services that a plan keeps, each alone, and the other does not."""
    confidence = asked.options.confidence_percent / 100.0
    chances = zip(plan.services, plan.chances, other.chances, strict=True)
    return tuple(service for service, kept, left in chances if left < confidence <= kept)


def _sizes(asked: Question, tier: Tier, plan: AimPlan, signals: ReceiverSignals) -> tuple[HighVhfSize, ...]:
    """Return the parts that gain more than the easiest tier's, the smallest first, one of each gain."""
    found: dict[float, HighVhfSize] = {}
    # Not beyond the answer's class: larger parts would be told as an advice that the answer does not need.
    for row in asked.tiers[: tier.tier]:
        gain_dbd = row.gain_dbd[BAND]
        # Several classes share a part: the first that has it names it.
        if gain_dbd in found or not gain_dbd > asked.tiers[0].gain_dbd[BAND]:
            continue
        changed = tier.with_part(
            BAND,
            gain_dbd=gain_dbd,
            directivity_dbd=row.directivity_dbd[BAND],
            beamwidth_deg=row.beamwidth_deg[BAND],
            front_to_back_db=row.front_to_back_db[BAND],
        )
        got = as_aimed(signals, changed, plan)
        found[gain_dbd] = HighVhfSize(row.tier, row.name, gain_dbd, 100.0 * got.chance, asked.reaches(got))
    return tuple(found[gain_dbd] for gain_dbd in sorted(found))
