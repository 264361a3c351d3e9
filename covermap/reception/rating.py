"""Rates the installations at a receiver: their best plans, what else those stand, the cheapest that holds."""

import numpy as np

from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_search import ANY_AIM, JUST_MISSED, ROUNDS_TO_ALL
from covermap.reception.best_plans import (
    DEAD_ROW,
    NOBODY,
    OTHER_ROW,
    TWO_ROW,
    find_one,
    find_two,
    holds,
    set_tier,
)
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import BEARING_DEG, CHOSEN, CLEAR_DB, TOTAL_INVERSE
from covermap.reception.deciding import forget_deciding, is_touched
from covermap.reception.normal import normal_share
from covermap.reception.overload import overload_of
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan_columns import (
    AIM_DEG,
    BOUND,
    CHANCE,
    JOINED,
    MOUNT,
    SINGLE,
    WEAKEST,
    WEAKEST_DEVIATION,
    copy_plan,
)
from covermap.reception.search_arrays import CIRCLE, KNOWN, fill_squares

MARGIN_TIER = 5  # the tier whose margin is a layer of its own
SHIFTS_DB = (-3.0, 3.0)  # how every field is tried again
# Columns of CellArrays.passes: with every field shifted, and by day.
WEAKER, STRONGER, NIGHT = 0, 1, 2
# Missed in one home of 4,300; 20 such services arrive together in 99.5 %. Source: normal distribution.
SURE_DEVIATION, MOST_SURE = 3.5, 20
OVERLOADED, CLOSE = 2, 1  # what overload_state returns, or 0


@inner_kernel
def overload_state(tier, plan, cell, fields, model):
    """Return OVERLOADED, CLOSE or 0: what the strongest stations do to an installation with a plan's aims."""
    excess_db, _, spread_db = overload_of(
        tier, model.heights[tier], cell, model.loads.figures[fields.kind[cell], tier], plan,
        fields.median_dbuvm, fields.spread_level, fields.bearing_deg, model.loads,
    )  # fmt: skip
    return OVERLOADED if excess_db > 0.0 else (CLOSE if excess_db + spread_db > 0.0 else 0)


@inner_kernel
def may_hold_stronger(plan, asked, model, receiver):
    """Return whether the weakest service reaches the confidence at its own bearing with 3 dB more.

    plan : of one antenna, its tier set. True where some services are enough, or one has alternatives
    """
    wanted = model.wanted
    if asked.needed < wanted.services or wanted.items[0] > wanted.services:
        return True
    item = receiver.numbers[CHOSEN, int(plan[WEAKEST])]
    more = SHIFTS_DB[STRONGER] * receiver.values[TOTAL_INVERSE, item]
    return normal_share(plan[WEAKEST_DEVIATION] + more) >= asked.confidence


@inner_kernel
def look_again(tier, row, shifted, kind, asked, model, work):
    """Fill passes of a tier's plan, in a row of work.plans; the tier set for it.

    shifted : whether fields are tried weaker and stronger.
    By day is only looked at where the plan misses the confidence, and would not if nothing disturbed any aim.
    """
    plan, passes = work.plans[row], work.passes[row]
    passes[:] = False
    reaches = plan[CHANCE] >= asked.confidence
    passes[STRONGER] = reaches  # 3 dB more never lose what is there, nor 3 less gain
    for trial in range(NIGHT + 1):
        if trial == NIGHT:
            if reaches or not work.receiver.interfering.some[0]:
                continue
            if plan[BOUND] < asked.confidence - JUST_MISSED:
                continue
            set_tier(tier, int(plan[JOINED]), np.bool_(True), np.int64(NOBODY), kind, model, work)
        elif (
            not shifted
            or reaches != (trial == WEAKER)
            or (trial == STRONGER and not may_hold_stronger(plan, asked, model, work.receiver))
        ):
            continue
        shift_db = SHIFTS_DB[trial] if trial < NIGHT else 0.0
        passes[trial] = holds(plan, tier, shift_db, kind, asked, model, work)


@inner_kernel
def holds_undisturbed(plan, tier, kind, asked, model, work):
    """Return whether a plan that misses the confidence, its tier set, reaches it if nothing disturbs."""
    some = work.receiver.interfering.some[0]
    if not some or plan[CHANCE] >= asked.confidence or plan[BOUND] < asked.confidence - JUST_MISSED:
        return False
    work.receiver.interfering.some[0] = False
    forget_deciding(work.receiver.deciding)
    found = holds(plan, tier, 0.0, kind, asked, model, work)
    work.receiver.interfering.some[0] = some
    forget_deciding(work.receiver.deciding)
    return found


@inner_kernel
def choose_installation(shifted, kind, asked, model, work):
    """Return the rank in the order of cost of the first installation that holds; their number for none.

    Overload is left out (a filter stops it). Row TWO_ROW takes the plan of two antennas of the answer.
    """
    for rank in range(model.order.shape[0]):
        tier = model.order[rank, 0]
        row = model.tiers + TWO_ROW
        if model.order[rank, 1] == 1:
            if work.plans[tier, CHANCE] >= asked.confidence:
                return rank
        elif find_two(tier, row, asked.needed, np.int64(NOBODY), kind, asked, model, work):
            if not asked.tier_only:
                look_again(tier, row, shifted, kind, asked, model, work)
            return rank
    return model.order.shape[0]


@inner_kernel
def row_of(rank, model):
    """Return tier and row of work.plans of a rank in the order of cost; the last tier's where none holds."""
    if rank == model.order.shape[0]:
        return model.tiers - 1, model.tiers - 1
    tier = model.order[rank, 0]
    return tier, tier if model.order[rank, 1] == 1 else model.tiers + TWO_ROW


@inner_kernel
def next_task(task, rank, model, work):
    """Return the row of work.plans whose plan is to be found, -1 for nothing to do.

    Tasks 0 to tiers - 1 rate each tier. Then come the plans that are kept: of the margin layer, the answer,
    the tier below it, and at last the dead zone's.
    """
    if task < model.tiers:
        return task
    if task == model.tiers + 3:
        return model.tiers + DEAD_ROW
    answer = model.tiers if rank == model.order.shape[0] else model.order[rank, 0]
    tier = answer - 1  # of the tier below
    if task == model.tiers:
        tier = MARGIN_TIER - 1
    elif task == model.tiers + 1:
        tier = min(answer, model.tiers - 1)
    return -1 if tier < 0 or work.searched[tier] else tier


@inner_kernel
def surely_some(needed, plan, tier, kind, model, work):
    """Return whether a plan of one antenna all but certainly brings some services, every field 3 dB weaker.

    The tier set. Services that something disturbs are not counted on.
    """
    figures, values, wanted = model.figures[kind, SINGLE, tier], work.receiver.values, model.wanted
    found = 0
    for service in range(wanted.services if needed <= MOST_SURE else 0):
        for position in range(wanted.service_start[service], wanted.service_start[service + 1]):
            item = wanted.by_service[position]
            if is_touched(item, work.receiver.interfering):
                continue
            loss_db = off_axis_loss_db(
                off_axis_deg(plan[AIM_DEG], values[BEARING_DEG, item]), figures[ROLLOFF, item],
                figures[FLOOR_DB, item], figures[CROSS_DB + int(plan[MOUNT]), item],
            )  # fmt: skip
            margin_db = values[CLEAR_DB, item] + SHIFTS_DB[WEAKER] - loss_db
            if margin_db * values[TOTAL_INVERSE, item] >= SURE_DEVIATION:
                found += 1
                break
        if found == needed:
            return True
    return False


@inner_kernel
def rate_receiver(shifted, kind, asked, model, work):
    """Fill work.plans for one cell: chance and, where it is kept, the best plan of every tier.

    DEAD_ROW takes the dead zone's plan: the last tier's best aim for at least asked.dead_needed services.
    Return what choose_installation does; the last tier stays set for the dead zone's plan.

    Searches are skipped where whole percents do not depend on them, and where asked.tier_only is set those
    that the tier does not depend on.
    """
    tiers = model.tiers
    rank, some_holds, rated = 0, False, False
    fill_squares(CIRCLE, 0, KNOWN, model.wanted, work.receiver.values, work.by_aim)
    start_deg = float(int(work.receiver.values[BEARING_DEG, 0]))
    for task in range(tiers + 4):
        if task == tiers:
            rank = choose_installation(shifted, kind, asked, model, work)
            if asked.tier_only:
                return rank
        if task < tiers and rated:
            continue
        row = next_task(task, rank, model, work)
        if row < 0:
            continue
        tier = min(row, tiers - 1)
        plan = work.plans[row]
        needed = asked.needed if row < tiers else asked.dead_needed
        if row >= tiers and work.sure[0]:
            copy_plan(work.plans[tier], plan)
            plan[CHANCE] = 1.0
            continue
        if row >= tiers and needed <= asked.needed and work.plans[tier, CHANCE] >= ROUNDS_TO_ALL:
            copy_plan(work.plans[tier], plan)
            set_tier(tier, int(plan[JOINED]), np.bool_(False), np.int64(NOBODY), kind, model, work)
            continue
        quick = 0
        if asked.tier_only:
            quick = ANY_AIM
        elif task < tiers:
            quick = 2 if some_holds else 1
        elif row >= tiers:
            quick = 2
        if task >= tiers and model.directional[tier]:
            start_deg = work.plans[tier, AIM_DEG]
        found = find_one(tier, row, quick, start_deg, needed, np.int64(NOBODY), kind, asked, model, work)
        if row < tiers:
            if tier == tiers - 1 and not asked.tier_only:
                work.sure[0] = surely_some(asked.dead_needed, plan, tier, kind, model, work)
            work.searched[tier] = found
            if not asked.tier_only:
                look_again(tier, row, shifted, kind, asked, model, work)
        if task < tiers:
            reaches = plan[CHANCE] >= asked.confidence
            some_holds = some_holds or reaches
            rated = asked.tier_only and reaches and model.settled[tier]
            if model.directional[tier]:
                start_deg = plan[AIM_DEG]
    return rank


@inner_kernel
def tier_weaker(rank, kind, asked, model, work):
    """Return the tier of the least costly installation that holds with weaker fields, or how many tiers.

    What costs less than the answer does not hold as it is.
    """
    for later in range(rank, model.order.shape[0]):
        tier, row = row_of(later, model)
        if later == rank or row == tier:
            passes = work.passes[row, WEAKER]
        else:
            row = model.tiers + OTHER_ROW
            passes = find_two(tier, row, asked.needed, np.int64(NOBODY), kind, asked, model, work)
            passes = passes and holds(work.plans[row], tier, SHIFTS_DB[WEAKER], kind, asked, model, work)
        if passes:
            return tier
    return model.tiers


@inner_kernel
def tier_stronger(rank, model, work):
    """Return the tier of the least costly installation that holds with stronger fields, or how many tiers.

    Of two antennas only the answer's: others have no plan that holds as it is.
    """
    for earlier in range(model.order.shape[0]):
        tier, row = row_of(earlier, model)
        if (earlier == rank or row == tier) and work.passes[row, STRONGER]:
            return tier
    return model.tiers
