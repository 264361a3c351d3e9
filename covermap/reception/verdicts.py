"""What follows from the plans at a receiver site: the tier without a service, room to turn, and remarks."""

import numpy as np

from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_search import ANY_AIM, JUST_MISSED
from covermap.reception.best_plans import OTHER_ROW, TRIAL_ROW, find_one, find_two, holds
from covermap.reception.budget import SHORT_DB
from covermap.reception.confidence import CLEAR_DB
from covermap.reception.deciding import forget_deciding
from covermap.reception.normal import normal_share
from covermap.reception.plan_columns import (
    AIM_DEG,
    CHANCE,
    DIPLEXED,
    JOINED,
    MOUNT,
    NEXT_DEVIATION,
    SECOND_DEG,
    SECOND_MOUNT,
    WEAKEST,
    WEAKEST_DEVIATION,
    copy_plan,
)
from covermap.reception.rating import CLOSE, NIGHT, OVERLOADED, row_of
from covermap.reception.signals import DIPLEXED as DIPLEXED_BIT
from covermap.reception.signals import (
    LOST_AT_NIGHT,
    MAY_OVERLOAD,
    NEEDS_FILTER,
    OWN_HIGH_VHF,
    SECOND_VERTICAL,
    VERTICAL_MOUNT,
)

FULL_TURN = 360  # degrees


@inner_kernel
def bound_without(given_up, plan):
    """Return a chance that no plan of an installation exceeds for the list without a service.

    plan : of its one antenna, rated for the whole list
    """
    return normal_share(plan[NEXT_DEVIATION if int(plan[WEAKEST]) == given_up else WEAKEST_DEVIATION])


@inner_kernel
def tier_without(given_up, rank, kind, asked, model, work):
    """Return the tier of the least costly installation that holds a list with one service given up.

    rank : of the answer in the order of cost. The answer's own tier where nothing cheaper does; the number
    of tiers for none.
    """
    answer = model.tiers if rank == model.order.shape[0] else model.order[rank, 0]
    if asked.needed < model.wanted.services or model.wanted.services == 1:
        return answer
    row = model.tiers + OTHER_ROW
    for earlier in range(rank):
        tier = model.order[earlier, 0]
        if bound_without(given_up, work.plans[tier]) < asked.confidence - JUST_MISSED:
            continue
        if model.order[earlier, 1] == 1:
            start_deg = work.plans[tier, AIM_DEG]
            find_one(
                tier, row, np.int64(ANY_AIM), start_deg, asked.needed, given_up, kind, asked, model, work
            )
            reaches = work.plans[row, CHANCE] >= asked.confidence
        else:
            reaches = find_two(tier, row, asked.needed, given_up, kind, asked, model, work)
        if reaches:
            return tier
    return answer


@inner_kernel
def reach_of_aim(side, column, plan, tier, kind, asked, model, work):
    """Return how many degrees to one side (1 or -1) one antenna of a plan may turn and keep the confidence.

    column : AIM_DEG or SECOND_DEG. Steps of 8 and then 20 degrees to the first that fails, then halving; 359
    where none fails. The tier set for the plan.
    """
    trial = work.plans[model.tiers + TRIAL_ROW]
    good, bad, step = 0, FULL_TURN, 8
    while bad - good > 1:
        turned = good + (bad - good) // 2 if bad < FULL_TURN else min(good + step, FULL_TURN - 1)
        copy_plan(plan, trial)
        trial[column] = (plan[column] + side * turned + 360.0) % 360.0
        if holds(trial, tier, 0.0, kind, asked, model, work):
            good = turned
            step = 20
        else:
            bad = turned
    return good


@inner_kernel
def write_aim_range(cell, column, plan, tier, kind, asked, model, work, aim_from, aim_to):
    """Write the azimuths of one antenna that keep the confidence; column, plan and tier as reach_of_aim."""
    aim_from[cell], aim_to[cell] = 0, 359
    if not model.directional[tier]:
        return
    before = reach_of_aim(-1.0, column, plan, tier, kind, asked, model, work)
    after = reach_of_aim(1.0, column, plan, tier, kind, asked, model, work)
    if before + after < 359:
        aim_from[cell] = (int(plan[column]) - before) % 360
        aim_to[cell] = (int(plan[column]) + after) % 360


@inner_kernel
def lost_at_night(rank, model, work):
    """Return whether one antenna that costs less than the answer would do but for interference at night."""
    for earlier in range(rank):
        tier, row = row_of(earlier, model)
        if row == tier and work.passes[row, NIGHT]:
            return True
    return False


@inner_kernel
def plan_flags(rank, tier, row, overload, kind, asked, model, work):
    """Return the flags of the answer's plan, of a tier and in a row of work.plans; the tier set for it.

    overload : of overload_state
    """
    plan, promised = work.plans[row], rank < model.order.shape[0]
    flags = 0
    if overload == OVERLOADED and promised:
        flags |= NEEDS_FILTER
    elif overload == CLOSE:
        flags |= MAY_OVERLOAD
    if lost_at_night(rank, model, work):
        flags |= LOST_AT_NIGHT
    if plan[MOUNT] == 1.0:
        flags |= VERTICAL_MOUNT
    if plan[SECOND_DEG] >= 0.0 and plan[SECOND_MOUNT] == 1.0:
        flags |= SECOND_VERTICAL
    if plan[JOINED] == DIPLEXED:
        flags |= DIPLEXED_BIT
    if model.high_vhf and promised:
        figures = model.figures[kind, int(plan[JOINED]), tier]
        for item in range(model.wanted.items[0]):
            work.receiver.values[CLEAR_DB, item] -= figures[SHORT_DB, item]
        forget_deciding(work.receiver.deciding)
        if not holds(plan, tier, 0.0, kind, asked, model, work):
            flags |= OWN_HIGH_VHF
    return flags
