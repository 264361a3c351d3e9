"""The search for the best aim at one home: every degree, or the few that can be best."""

import math

import numpy as np

from covermap.propagation.compiling import kernel
from covermap.reception.budget import FLOOR_DB, ROLLOFF, TOTAL_INVERSE
from covermap.reception.normal import normal_hazard
from covermap.reception.pattern import off_axis_deg
from covermap.reception.plan import (
    BEARING_DEG,
    DEVIATION,
    aim_bound,
    chance_of_list,
    choose_transmitters,
    set_aim,
    worst_margin_db,
)

# A plan found, as four numbers.
CHANCE = 0
WORST_DB = 1
AIM_DEG = 2
MOUNT = 3
PLAN_COLUMNS = 4

DRIFTS = 3  # turns towards the aim at which the masts pull equally
FIRST_STEP_DEG = 4.0
SIDE_STEPS = 6  # two each of 4, 2 and 1 degrees


@kernel
def forget_plan(plan):
    """Empty a plan: whatever is tried next is better."""
    plan[CHANCE] = -1.0
    plan[WORST_DB] = -math.inf
    plan[AIM_DEG] = 0.0
    plan[MOUNT] = 0.0


@kernel
def is_better(chance, worst_db, aim_deg, mount, plan):
    """Return whether a plan ranks before another: chance, then worst margin, lower azimuth, lower mount."""
    if chance != plan[CHANCE]:
        return chance > plan[CHANCE]
    if worst_db != plan[WORST_DB]:
        return worst_db > plan[WORST_DB]
    if aim_deg != plan[AIM_DEG]:
        return aim_deg < plan[AIM_DEG]
    return mount < plan[MOUNT]


@kernel
def try_aim(aim_deg, mount, needed, wanted, figures, home, plan):
    """Keep an aim in plan if it ranks before what stands there; return whether it does."""
    if aim_bound(aim_deg, mount, needed, wanted, figures, home) < plan[CHANCE]:
        return False
    set_aim(aim_deg, mount, figures, home)
    choose_transmitters(wanted, home)
    chance = chance_of_list(needed, wanted, figures, home)
    if chance < plan[CHANCE]:
        return False
    worst_db = worst_margin_db(wanted.services, needed, home)
    if not is_better(chance, worst_db, aim_deg, mount, plan):
        return False
    plan[CHANCE] = chance
    plan[WORST_DB] = worst_db
    plan[AIM_DEG] = aim_deg
    plan[MOUNT] = mount
    return True


@kernel
def search_every_degree(needed, wanted, figures, home, plan):
    """Find the best plan over all whole degrees and mounts: the reference for search_few."""
    forget_plan(plan)
    for aim_deg in range(360):
        for mount in wanted.mounts:
            try_aim(float(aim_deg), mount, needed, wanted, figures, home, plan)


@kernel
def lobe_reach_deg(figures):
    """Return how far off its aim the widest lobe of the transmitters' bands still falls, in degrees."""
    reach_deg = 0.0
    for item in range(figures.shape[1]):
        if figures[ROLLOFF, item] > 0.0:
            reach_deg = max(reach_deg, math.sqrt(figures[FLOOR_DB, item] / figures[ROLLOFF, item]))
    return reach_deg


@kernel
def whole_azimuth(azimuth_deg):
    """Return an azimuth rounded to a whole degree, 0 to 359."""
    return np.floor(azimuth_deg + 0.5) % 360.0


@kernel
def fill_candidates(mast, home, candidates):
    """Write the aims worth trying at a home into candidates and return how many there are.

    candidates : (2, at least G (G + 1) / 2) aims, and how far the stations they serve stand off them:
        0 for the bearing of a mast, half the angle for the bisector of two.
    """
    count = 0
    for item in range(mast.size):
        if item > 0 and mast[item] == mast[item - 1]:
            continue
        candidates[0, count] = home.values[BEARING_DEG, item]
        candidates[1, count] = 0.0
        count += 1
    masts = count
    for first in range(masts):
        for second in range(first + 1, masts):
            bearing_deg, other_deg = candidates[0, first], candidates[0, second]
            half_deg = 0.5 * off_axis_deg(bearing_deg, other_deg)
            onward = (other_deg - bearing_deg) % 360.0 <= 180.0
            candidates[0, count] = whole_azimuth(bearing_deg + half_deg if onward else bearing_deg - half_deg)
            candidates[1, count] = half_deg
            count += 1
    for first in range(masts):
        candidates[0, first] = whole_azimuth(candidates[0, first])
    return count


@kernel
def drift_deg(aim_deg, wanted, figures, home):
    """Return how far to turn from an aim so that what the wanted masts gain and lose balances, in degrees.

    Where the chance of all services is greatest, each mast's pull is in balance: the angle to it, times
    the steepness of its lobe, times how much its chance grows with a decibel (the worst service of a mast
    counts). This is the weighted mean of those angles; masts on the pattern's floor do not pull.
    """
    pull = 0.0
    weight = 0.0
    item = 0
    while item < wanted.mast.size:
        worst = item
        item += 1
        while item < wanted.mast.size and wanted.mast[item] == wanted.mast[worst]:
            if home.values[DEVIATION, item] < home.values[DEVIATION, worst]:
                worst = item
            item += 1
        angle_deg = (home.values[BEARING_DEG, worst] - aim_deg + 540.0) % 360.0 - 180.0
        rolloff = figures[ROLLOFF, worst]
        if rolloff * angle_deg * angle_deg < figures[FLOOR_DB, worst]:
            growth = normal_hazard(home.values[DEVIATION, worst]) * figures[TOTAL_INVERSE, worst] * rolloff
            pull += growth * angle_deg
            weight += growth
    return pull / weight if weight > 0.0 else 0.0


@kernel
def balanced_aim_deg(aim_deg, mount, wanted, figures, home):
    """Return the whole azimuth near an aim at which the wanted masts pull equally."""
    for _ in range(DRIFTS):
        set_aim(aim_deg, mount, figures, home)
        aim_deg = (aim_deg + drift_deg(aim_deg, wanted, figures, home)) % 360.0
    return whole_azimuth(aim_deg)


@kernel
def _walk(needed, wanted, figures, home, plan):
    """Improve a plan: first the balanced aim near it, then steps of 4, 2 and 1 degrees to both sides."""
    mount = int(plan[MOUNT])
    turn = 0 if needed == wanted.services else 1
    while turn <= SIDE_STEPS:
        if turn == 0:
            aim_deg = balanced_aim_deg(plan[AIM_DEG], mount, wanted, figures, home)
        else:
            step_deg = FIRST_STEP_DEG / 2.0 ** ((turn - 1) // 2)
            aim_deg = (plan[AIM_DEG] + (step_deg if turn % 2 == 1 else -step_deg)) % 360.0
        found = try_aim(aim_deg, mount, needed, wanted, figures, home, plan)
        turn += 0 if found and turn > 0 else 1


@kernel
def search_few(start_deg, enough, reach_deg, candidates, count, needed, wanted, figures, home, plan):
    """Find a best plan from the wanted bearings, their bisectors and a walk from the best of them.

    start_deg : an aim tried first, such as that of the tier below
    enough : a chance that ends the search at once; over 1 never
    reach_deg : of lobe_reach_deg; 0 for an installation that receives all directions alike
    candidates, count : of fill_candidates

    Accuracy: the tier of search_every_degree in over 99.9 % of random homes (tests/test_aim.py).
    """
    forget_plan(plan)
    for number in range(count + 1 if reach_deg > 0.0 else 1):
        aim_deg = 0.0 if reach_deg == 0.0 else start_deg
        if number > 0:
            if candidates[1, number - 1] > reach_deg:
                continue
            aim_deg = candidates[0, number - 1]
        for mount in wanted.mounts:
            try_aim(aim_deg, mount, needed, wanted, figures, home, plan)
        if plan[CHANCE] >= enough:
            return
    if reach_deg > 0.0:
        _walk(needed, wanted, figures, home, plan)
