"""The search for the best aim at one home: every degree, or a coarse circle and what lies near its best."""

import math

from covermap.propagation.compiling import kernel
from covermap.reception.aim_ranking import (
    AIMS_DEG,
    CIRCLE,
    CIRCLE_AIMS,
    NEAR,
    NEAR_AIMS,
    RANK,
    fill_squares,
    rank_aims,
)
from covermap.reception.budget import FLOOR_DB, ROLLOFF
from covermap.reception.plan import (
    chance_bound,
    chance_of_list,
    choose_transmitters,
    set_aim,
    set_clear,
    worst_margin_db,
)

# A plan found, as four numbers.
CHANCE = 0
WORST_DB = 1
AIM_DEG = 2
MOUNT = 3
PLAN_COLUMNS = 4

ROUNDS_TO_NONE = 0.005  # chances below and from these round to 0 and 100 %
ROUNDS_TO_ALL = 0.9951
JUST_MISSED = 0.03  # more than ranks are off by


@kernel
def forget_plan(plan):
    """Empty a plan: whatever is tried next is better."""
    plan[CHANCE] = -1.0
    plan[WORST_DB] = -math.inf
    plan[AIM_DEG] = 0.0
    plan[MOUNT] = 0.0


@kernel
def keep_better(chance, worst_db, aim_deg, mount, plan):
    """Keep the better of two plans: greater chance, then worst margin, lower azimuth, lower mount."""
    if chance != plan[CHANCE]:
        better = chance > plan[CHANCE]
    elif worst_db != plan[WORST_DB]:
        better = worst_db > plan[WORST_DB]
    elif aim_deg != plan[AIM_DEG]:
        better = aim_deg < plan[AIM_DEG]
    else:
        better = mount < plan[MOUNT]
    if better:
        plan[CHANCE] = chance
        plan[WORST_DB] = worst_db
        plan[AIM_DEG] = aim_deg
        plan[MOUNT] = mount


@kernel
def search_every_degree(needed, wanted, figures, home, plan):
    """Find the best plan over all whole degrees and mounts: the reference for search_circle."""
    values, index = home.values, home.numbers
    forget_plan(plan)
    for aim_deg in range(360):
        for mount in wanted.mounts:
            set_aim(float(aim_deg), mount, figures, values)
            choose_transmitters(wanted, values, index)
            chance = chance_of_list(needed, wanted, figures, values, index, home.points)
            worst_db = worst_margin_db(wanted.services, needed, values, index)
            keep_better(chance, worst_db, aim_deg, mount, plan)


@kernel
def is_directional(figures):
    """Return whether an installation tells any of its transmitters' directions apart."""
    for item in range(figures.shape[1]):
        if figures[ROLLOFF, item] > 0.0 and figures[FLOOR_DB, item] > 0.0:
            return True
    return False


@kernel
def best_ranked(needed, wanted, figures, home, scan):
    """Return the aim and mount that rank highest: of the coarse circle, then of the degrees around its best.

    Leaves the degrees around the best in row NEAR of the aims.
    """
    best_deg, best_mount = 0.0, wanted.mounts[0]
    for stage in range(CIRCLE, NEAR + 1):
        if stage == NEAR:
            for number in range(NEAR_AIMS):
                near_deg = math.floor(best_deg + 0.5) + float(number - NEAR_AIMS // 2)
                near_deg += 360.0 if near_deg < 0.0 else 0.0
                scan.aims[NEAR, AIMS_DEG, number] = near_deg - 360.0 if near_deg >= 360.0 else near_deg
            fill_squares(NEAR, NEAR_AIMS, wanted, home.values, scan)
        count = NEAR_AIMS if stage == NEAR else CIRCLE_AIMS
        best_rank = -math.inf
        for mount in wanted.mounts:
            rank_aims(stage, count, needed, mount, wanted, figures, home, scan)
            for number in range(count):
                if scan.rows[RANK, number] > best_rank:
                    best_rank = scan.rows[RANK, number]
                    best_deg, best_mount = scan.aims[stage, AIMS_DEG, number], mount
    return best_deg, best_mount


@kernel
def search_circle(start_deg, quick, confidence, directional, needed, wanted, figures, home, scan, plan):
    """Find the best plan; return False where its chance rounds to 0 or 100 % and no aim was looked for.

    start_deg : a whole azimuth, such as the tier below's
    quick : 0 always look for the best aim; 1 not where the chance rounds to 0 % whatever the aim; 2 nor
        where it rounds to 100 % at start_deg
    confidence : a chance that just misses it is looked at again, at every degree near the best
    directional : of is_directional; without, all aims are alike and 0 stands for them
    scan : the circle's squares filled for the home

    Accuracy: the tier of search_every_degree in over 99.9 % of random homes (tests/test_aim.py).
    """
    values, index = home.values, home.numbers
    forget_plan(plan)
    aim_deg, mount = start_deg if directional else 0.0, wanted.mounts[0]
    plan[AIM_DEG] = aim_deg
    # The chance is worked out in one place of this loop, as each further one would be compiled anew:
    # first as if all stood at the aim, then at start_deg, at the best ranked aim, at those around it.
    for trial in range(-1, 2 + NEAR_AIMS if directional else wanted.mounts.size):
        if (trial == -1 and quick < 1) or (trial == 0 and directional and quick < 2):
            continue
        if trial == -1:
            set_clear(figures, values)
        else:
            if trial == 1 and directional:
                aim_deg, mount = best_ranked(needed, wanted, figures, home, scan)
            elif trial == 1:
                mount = wanted.mounts[1]
            elif trial > 1:
                aim_deg = scan.aims[NEAR, AIMS_DEG, trial - 2]
            set_aim(aim_deg, mount, figures, values)
        choose_transmitters(wanted, values, index)
        chance = chance_bound(wanted.services, needed, values, index)
        if chance >= plan[CHANCE] and (trial >= 0 or chance >= ROUNDS_TO_NONE):
            chance = chance_of_list(needed, wanted, figures, values, index, home.points)
        if trial == -1:
            if chance >= ROUNDS_TO_NONE:
                continue
            plan[CHANCE] = chance
            return False
        if chance >= plan[CHANCE]:
            worst_db = worst_margin_db(wanted.services, needed, values, index)
            keep_better(chance, worst_db, aim_deg, mount, plan)
        if trial == 0 and quick == 2 and plan[CHANCE] >= ROUNDS_TO_ALL:
            return not directional
        if trial == 1 and not confidence - JUST_MISSED <= plan[CHANCE] < confidence:
            return True
    return True
