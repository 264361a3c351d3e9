"""Rates every tier at one home: its best plan, what else the plan stands, and the lowest that holds."""

import math

import numpy as np

from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_search import ROUNDS_TO_ALL
from covermap.reception.confidence import BEARING_DEG
from covermap.reception.home import find_plan, holds, set_tier
from covermap.reception.overload import may_overload, overload_of
from covermap.reception.plan import AIM_DEG, CHANCE, JOINED, copy_plan
from covermap.reception.scan import CIRCLE, KNOWN, fill_squares

MARGIN_TIER = 5  # the tier whose margin is a layer of its own
SHIFTS_DB = (-3.0, 3.0)  # how every field is tried again
NIGHT, UNDISTURBED = 2, 3  # columns of CellArrays.passes, behind the shifts
NOBODY = -1  # no service is given up
OVERLOADED, CLOSE = 2, 1  # values of CellArrays.overload


@inner_kernel
def look_again(tier, cell, shifted, watched, kind, asked, fields, model, work):
    """Fill passes and overload of a tier's plan; the tier set for it.

    shifted : whether fields are tried weaker and stronger. watched : whether anything can overload here.
    By day, and with nothing that disturbs, is only looked at where the plan misses the confidence.
    """
    plan = work.plans[tier]
    passes = work.passes[tier]
    passes[:] = False
    if watched:
        excess_db, _, spread_db = overload_of(
            tier, model.heights[tier], cell, model.loads.figures[kind, tier], plan, fields.median_dbuvm,
            fields.bearing_deg, model.loads,
        )  # fmt: skip
        work.overload[tier] = OVERLOADED if excess_db > 0.0 else (CLOSE if excess_db + spread_db > 0.0 else 0)
    else:
        work.overload[tier] = 0
    reaches = plan[CHANCE] >= asked.confidence
    some = work.home.disturbing.some[0]
    for trial in range(UNDISTURBED + 1):
        if trial < NIGHT and (not shifted or (trial == 0 and not reaches) or (trial == 1 and reaches)):
            passes[trial] = trial == 1 and reaches  # 3 dB more never lose what is there, nor 3 less gain it
            continue
        if trial >= NIGHT and (reaches or not some):
            continue
        if trial == NIGHT:
            set_tier(tier, int(plan[JOINED]), np.bool_(True), np.int64(NOBODY), kind, model, work)
        work.home.disturbing.some[0] = some and trial != UNDISTURBED
        shift_db = SHIFTS_DB[trial] if trial < NIGHT else 0.0
        passes[trial] = holds(plan, tier, shift_db, kind, asked, model, work)
    work.home.disturbing.some[0] = some


@inner_kernel
def next_task(task, tiers, stored, work):
    """Return the tier whose best plan is to be found, -1 for nothing to do.

    Tasks 0 to tiers - 1 rate each tier. Then come the plans that are kept: of the margin layer, the stored
    tier, the one below it, and at last the dead zone's (row tiers of work.plans).
    """
    if task < tiers:
        return task
    if task == tiers:
        tier = MARGIN_TIER - 1
    elif task == tiers + 1:
        tier = min(stored, tiers - 1)
    elif task == tiers + 2:
        tier = stored - 1
    else:
        return tiers
    return -1 if tier < 0 or work.searched[tier] else tier


@inner_kernel
def rate_home(cell, shifted, kind, asked, fields, model, work):
    """Fill work.plans for one cell: chance and, where it is kept, the best plan of every tier.

    The row behind the last tier's takes the dead zone's plan: the last tier's best aim for at least
    asked.dead_needed services. Return the index of the lowest tier whose plan holds, overload left out (a
    filter stops it); the number of tiers where none holds.

    Searches are skipped where whole percents do not depend on them.
    """
    tiers = model.directional.size
    stored = tiers
    watched = may_overload(cell, fields.median_dbuvm, model.loads)
    fill_squares(CIRCLE, 0, KNOWN, model.wanted, work.home.values, work.scan)
    start_deg = float(math.floor(work.home.values[BEARING_DEG, 0]))
    for task in range(tiers + 4):
        row = next_task(task, tiers, stored, work)
        if row < 0:
            continue
        tier = min(row, tiers - 1)
        plan = work.plans[row]
        needed = asked.dead_needed if row == tiers else asked.needed
        if row == tiers and needed <= asked.needed and work.plans[tier, CHANCE] >= ROUNDS_TO_ALL:
            copy_plan(work.plans[tier], plan)
            set_tier(tier, int(plan[JOINED]), np.bool_(False), np.int64(NOBODY), kind, model, work)
            continue
        quick = 0
        if task < tiers:
            quick = 2 if stored < tiers else 1
        elif row == tiers:
            quick = 2
        work.searched[row] = find_plan(
            tier, row, quick, start_deg, needed, np.int64(NOBODY), kind, asked, model, work
        )
        if row < tiers:
            look_again(tier, cell, shifted, watched, kind, asked, fields, model, work)
        if task < tiers and plan[CHANCE] >= asked.confidence:
            stored = min(stored, tier)
        if model.directional[tier]:
            start_deg = plan[AIM_DEG]
    return stored


@inner_kernel
def tier_holding(column, work):
    """Return the lowest tier whose plan passes a column of work.passes; the number of tiers: none."""
    for tier in range(work.overload.size):
        if work.passes[tier, column]:
            return tier
    return work.overload.size
