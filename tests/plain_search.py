"""Plain searches at one place, to hold reception's loop over cells against."""

from dataclasses import replace

import numpy as np

from covermap.propagation.compiling import lean_kernel
from covermap.reception import AimPlan, best_aim
from covermap.reception.aim import columns_of, plan_of
from covermap.reception.plan import chance_bound, chance_of_list, set_plan
from covermap.reception.plan_columns import (
    AIM_DEG,
    CHANCE,
    COMBINED,
    DIPLEXED,
    JOINED,
    MOUNT,
    SECOND_DEG,
    SECOND_MOUNT,
)
from covermap.reception.receiver_site import receiver_site_with
from covermap.reception.two_antennas import aim_arrays, search_two

EVERY_DEG = 5  # steps of the search that tries all pairs

# Tier and antennas, least costly first: the built-in table's cost_order 1, 1.5, 3, 4, 6, 8, 25 and 4, 4, 4, 6
# for a second antenna; of equal cost the one antenna first.
ORDER = (
    (1, 1), (2, 1), (3, 1), (4, 1), (5, 1), (6, 1), (4, 2), (5, 2), (6, 2), (7, 1), (7, 2),
)  # fmt: skip
# The same with a second antenna at 0.5: 4, 4.5, 6, 6.5, 8, 8.5, 25, 25.5.
CHEAP_SECOND_ORDER = (
    (1, 1), (2, 1), (3, 1), (4, 1), (4, 2), (5, 1), (5, 2), (6, 1), (6, 2), (7, 1), (7, 2),
)  # fmt: skip


def best_two(signals, tier) -> AimPlan | None:
    """Return the best plan of two antennas, None where two do not reach the confidence."""
    one = replace(best_aim(signals, tier), chance=-1.0)
    confidence = signals.options.confidence_percent / 100.0
    found = columns_of(one)
    for joined in (COMBINED, DIPLEXED):
        site = receiver_site_with(signals, tier, joined)
        if joined == DIPLEXED and (site.wanted.uhf.all() or not site.wanted.uhf.any()):
            continue
        search_two(
            joined, confidence, signals.needed, site.wanted, site.figures, site.other_figures, site.pairs,
            site.receiver, aim_arrays(site.wanted), found,
        )  # fmt: skip
    plan = plan_of(signals, tier, found)
    return plan if plan.chance >= confidence and plan.second_azimuth_deg is not None else None


def answer_of(place_of_tier, tiers, singles, order=ORDER) -> tuple[int, AimPlan]:
    """Return tier (8 for none) and plan of the least costly installation that holds.

    place_of_tier : tier's number -> what arrives there. singles : the best plan of one antenna of each tier
    """
    for tier, antennas in order:
        signals = place_of_tier(tier)
        confidence = signals.options.confidence_percent / 100.0
        if antennas == 1:
            if singles[tier - 1].chance >= confidence:
                return tier, singles[tier - 1]
            continue
        several = np.unique(signals.facts.site[[i for i, s in enumerate(signals.labels) if s]]).size > 1
        plan = best_two(signals, tiers[tier]) if several or _two_polarizations(signals) else None
        if plan is not None:
            return tier, plan
    return 8, singles[-1]


def _two_polarizations(signals) -> bool:
    wanted = [i for i, label in enumerate(signals.labels) if label]
    return {0, 1} <= set(np.asarray(signals.facts.polarization)[wanted].tolist())


@lean_kernel
def every_pair(joined, enough, needed, wanted, figures, other_figures, pairs, receiver, plan):
    """Find the best plan of two antennas over all pairs of aims and mounts; stop at a chance of enough."""
    values, index, trial = receiver.values, receiver.numbers, receiver.trial
    steps = 360 // EVERY_DEG
    aims = steps * wanted.mounts.size
    plan[CHANCE] = -1.0
    for first in range(aims):
        for second in range(0 if joined == DIPLEXED else first + 1, aims):
            trial[AIM_DEG], trial[MOUNT] = float(EVERY_DEG * (first % steps)), wanted.mounts[first // steps]
            trial[SECOND_DEG] = float(EVERY_DEG * (second % steps))
            trial[SECOND_MOUNT] = wanted.mounts[second // steps]
            trial[JOINED] = joined
            set_plan(trial, 0.0, figures, other_figures, wanted, pairs, receiver)
            if chance_bound(wanted.services, needed, values, index) <= max(plan[CHANCE], 0.8):
                continue
            chance = chance_of_list(needed, wanted, receiver, receiver.points)
            if chance > plan[CHANCE]:
                plan[CHANCE] = chance
                for column in (AIM_DEG, MOUNT, SECOND_DEG, SECOND_MOUNT):
                    plan[column] = trial[column]
            if chance >= enough:
                return
