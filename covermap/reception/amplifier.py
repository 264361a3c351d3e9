"""What an amplifier does at the answer's mount: the best plan with one against the best plan without."""

import numpy as np

from covermap.constants import UNKNOWN_UINT8
from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_chance import bound_plans
from covermap.reception.best_plans import NOBODY, TWIN_ROW, chance_at, find_one, set_tier
from covermap.reception.budget import EXTERNAL_SHARE
from covermap.reception.confidence import CHOSEN, INTERFERENCE_DB, TOTAL_DEVIATION
from covermap.reception.plan_columns import AIM_DEG, BOUND, CHANCE, JOINED, SINGLE, copy_plan
from covermap.reception.rating import OVERLOADED, overload_state
from covermap.reception.signals import (
    AMPLIFIER_HARMS,
    AMPLIFIER_HELPS,
    AMPLIFIER_HELPS_WITH_FILTER,
    AMPLIFIER_NO_USE_INTERFERENCE,
    AMPLIFIER_NO_USE_NOISE,
    AMPLIFIER_NO_USE_SIGNAL,
    AMPLIFIER_NOT_NEEDED,
)

LEAST_HELP = 0.05  # of the list's chance; an amplifier that brings less is of no use (judgement)
HALF_DB = 10.0 * np.log10(2.0)  # of noise and interference together: then each holds half
HALF = 0.5


@inner_kernel
def chance_of_twin(twin, row, least, kind, asked, model, work):
    """Return the chance of the best plan of the answer's installation with an amplifier added or left out.

    row : of the answer's plan. Of two antennas, at the answer's aims. Row TWIN_ROW takes the plan of one.
    least : where no plan reaches this chance, a bound is as good and no plan is looked for
    """
    plan, start_deg = work.plans[row], work.plans[row, AIM_DEG]
    found = model.tiers + TWIN_ROW
    if plan[JOINED] == SINGLE and twin < model.tiers:
        copy_plan(work.plans[twin], work.plans[found])
        return work.plans[found, CHANCE]
    set_tier(twin, np.int64(SINGLE), np.bool_(False), np.int64(NOBODY), kind, model, work)
    bound_plans(
        least, asked.needed, model.figures[kind, SINGLE, twin], model.other_figures[kind, twin],
        model.wanted, model.pairs, work.receiver, work.plans[found],
    )  # fmt: skip
    if work.plans[found, BOUND] < least:
        return work.plans[found, BOUND]
    find_one(twin, found, np.int64(1), start_deg, asked.needed, np.int64(NOBODY), kind, asked, model, work)
    chance = work.plans[found, CHANCE]
    if plan[JOINED] == SINGLE:
        return chance
    set_tier(twin, int(plan[JOINED]), np.bool_(False), np.int64(NOBODY), kind, model, work)
    return max(chance, chance_at(plan, twin, 0.0, asked.needed, kind, model, work))


@inner_kernel
def why_no_use(tier, bare, plan, kind, asked, model, work):
    """Return what keeps an amplifier from helping the service that has the lowest chance with it.

    tier, plan : the installation with it; bare : without. Interference where that holds over half of noise
    and interference together; noise from outside where that holds over half of the noise without the
    amplifier; else the signal is too far below.
    """
    joined = int(plan[JOINED])
    set_tier(tier, joined, np.bool_(False), np.int64(NOBODY), kind, model, work)
    chance_at(plan, tier, 0.0, asked.needed, kind, model, work)
    values, chosen = work.receiver.values, work.receiver.numbers[CHOSEN]
    lowest = chosen[0]
    for number in range(model.wanted.services):
        if values[TOTAL_DEVIATION, chosen[number]] < values[TOTAL_DEVIATION, lowest]:
            lowest = chosen[number]
    if values[INTERFERENCE_DB, lowest] > HALF_DB:
        return AMPLIFIER_NO_USE_INTERFERENCE
    outside = model.figures[kind, joined, bare, EXTERNAL_SHARE, lowest] > HALF
    return AMPLIFIER_NO_USE_NOISE if outside else AMPLIFIER_NO_USE_SIGNAL


@inner_kernel
def amplifier_code(cell, tier, row, watched, overload, kind, asked, fields, model, work):
    """Return what an amplifier does at the mount of the answer, a tier's plan in a row; 255: there is none.

    The same installation with and without; each with its best plan. Where an amplifier is overloaded and
    without it nothing is, it harms, unless it helps behind a filter. watched : whether anything can overload
    here. overload : of overload_state, of the answer
    """
    twin = model.twin[tier]
    if twin < 0:
        return UNKNOWN_UINT8
    plan, amplified = work.plans[row], model.amplified[tier]
    other_overloads = watched and overload_state(twin, plan, cell, fields, model) == OVERLOADED
    own_overloads = overload == OVERLOADED
    overloads = own_overloads if amplified else other_overloads
    only_with = overloads and not (other_overloads if amplified else own_overloads)
    chance = plan[CHANCE]
    other = 0.0
    if amplified and chance >= LEAST_HELP:
        least = min(
            asked.confidence, chance - LEAST_HELP
        )  # below, an amplifier helps whatever the exact chance
        other = chance_of_twin(twin, row, least, kind, asked, model, work)
    elif not amplified and chance < asked.confidence:
        other = chance_of_twin(twin, row, -1.0, kind, asked, model, work)
    without, with_it = (other, chance) if amplified else (chance, other)
    if without >= asked.confidence:
        return AMPLIFIER_HARMS if only_with else AMPLIFIER_NOT_NEEDED
    if with_it - without >= LEAST_HELP:
        return AMPLIFIER_HELPS_WITH_FILTER if overloads else AMPLIFIER_HELPS
    if only_with:
        return AMPLIFIER_HARMS
    if amplified:
        return why_no_use(tier, twin, plan, kind, asked, model, work)
    return why_no_use(twin, tier, work.plans[model.tiers + TWIN_ROW], kind, asked, model, work)
