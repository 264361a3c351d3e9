"""What follows from a home's plans: the tier without a service, room to turn, amplifier and remarks."""

import numpy as np

from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_search import ANY_AIM
from covermap.reception.budget import SHORT_DB
from covermap.reception.confidence import CLEAR_DB
from covermap.reception.home import find_plan, holds
from covermap.reception.plan import AIM_DEG, CHANCE, DIPLEXED, JOINED, MOUNT, copy_plan
from covermap.reception.rating import CLOSE, NIGHT, OVERLOADED
from covermap.reception.signals import (
    AMPLIFIER_DOES_NOTHING,
    AMPLIFIER_HARMS,
    AMPLIFIER_HELPS,
    MAY_OVERLOAD,
    NEEDS_FILTER,
)
from covermap.reception.signals import DIPLEXED as DIPLEXED_BIT
from covermap.reception.signals import LOST_AT_NIGHT as NIGHT_BIT
from covermap.reception.signals import OWN_HIGH_VHF as HIGH_VHF_BIT
from covermap.reception.signals import VERTICAL_MOUNT as VERTICAL_BIT

LEAST_HELP = 0.05  # of the list's chance; an amplifier that brings less does nothing (judgement)
FULL_TURN = 360  # degrees


@inner_kernel
def tier_without(deciding, stored, kind, asked, model, work):
    """Return the lowest tier that holds the rest of a list with its deciding service given up."""
    tiers = model.directional.size
    if asked.needed < model.wanted.services or model.wanted.services == 1:
        return stored
    for tier in range(min(stored, tiers)):
        start_deg = work.plans[tier, AIM_DEG]
        find_plan(
            tier, tiers + 1, np.int64(ANY_AIM), start_deg, asked.needed, deciding, kind, asked, model, work
        )
        if work.plans[tiers + 1, CHANCE] >= asked.confidence:
            return tier
    return stored


@inner_kernel
def reach_of_aim(side, plan, tier, kind, asked, model, work):
    """Return how many degrees to one side (1 or -1) a plan's first antenna may turn and keep the confidence.

    Steps of 8 and then 20 degrees to the first that fails, then halving; 359 where none fails. The plan set.
    """
    trial = work.plans[work.plans.shape[0] - 1]
    good, bad, step = 0, FULL_TURN, 8
    while bad - good > 1:
        turned = good + (bad - good) // 2 if bad < FULL_TURN else min(good + step, FULL_TURN - 1)
        copy_plan(plan, trial)
        trial[AIM_DEG] = (plan[AIM_DEG] + side * turned + 360.0) % 360.0
        if holds(trial, tier, 0.0, kind, asked, model, work):
            good = turned
            step = 20
        else:
            bad = turned
    return good


@inner_kernel
def write_aim_range(cell, plan, tier, kind, asked, model, work, aim_from, aim_to):
    """Write the azimuths of a plan's first antenna that keep the confidence; the tier set for the plan."""
    aim_from[cell], aim_to[cell] = 0, 359
    if not model.directional[tier]:
        return
    before = reach_of_aim(-1.0, plan, tier, kind, asked, model, work)
    after = reach_of_aim(1.0, plan, tier, kind, asked, model, work)
    if before + after < 359:
        aim_from[cell] = (int(plan[AIM_DEG]) - before) % 360
        aim_to[cell] = (int(plan[AIM_DEG]) + after) % 360


@inner_kernel
def amplifier_verdict(asked, model, work):
    """Return what an amplifier does at the mount of the first tier that has one; 255 where none has.

    Compared with the tier below it, which is the same installation without.
    """
    tier = model.amplified
    if tier < 1:
        return 255
    if work.overload[tier] == OVERLOADED and work.overload[tier - 1] != OVERLOADED:
        return AMPLIFIER_HARMS
    without, chance = work.plans[tier - 1, CHANCE], work.plans[tier, CHANCE]
    helps = without < asked.confidence and chance - without >= LEAST_HELP
    return AMPLIFIER_HELPS if helps else AMPLIFIER_DOES_NOTHING


@inner_kernel
def plan_flags(plan, tier, stored, kind, asked, model, work):
    """Return the flags of the stored plan; the tier set for it. stored : number of tiers for tier 8."""
    tiers = model.directional.size
    flags = 0
    if work.overload[tier] == OVERLOADED and stored < tiers:
        flags |= NEEDS_FILTER
    elif work.overload[tier] == CLOSE:
        flags |= MAY_OVERLOAD
    for lower in range(min(stored, tiers)):
        if work.passes[lower, NIGHT]:
            flags |= NIGHT_BIT
    if plan[MOUNT] == 1.0:
        flags |= VERTICAL_BIT
    if plan[JOINED] == DIPLEXED:
        flags |= DIPLEXED_BIT
    if model.high_vhf and stored < tiers:
        figures = model.figures[kind, int(plan[JOINED]), tier]
        for item in range(model.wanted.station.size):
            work.home.values[CLEAR_DB, item] -= figures[SHORT_DB, item]
        if not holds(plan, tier, 0.0, kind, asked, model, work):
            flags |= HIGH_VHF_BIT
    return flags
