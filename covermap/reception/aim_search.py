"""The search for the best aim at one home: every degree, or the few that can be best."""

import math

from covermap.propagation.compiling import kernel
from covermap.reception.budget import FLOOR_DB, ROLLOFF, TOTAL_INVERSE
from covermap.reception.normal import log_share
from covermap.reception.pattern import off_axis_deg
from covermap.reception.plan import (
    BEARING_DEG,
    PULLING,
    SHARES,
    chance_bound,
    chance_of_list,
    choose_transmitters,
    least_of_masts,
    rank_of_list,
    set_aim,
    worst_margin_db,
)

# A plan found, as four numbers.
CHANCE = 0
WORST_DB = 1
AIM_DEG = 2
MOUNT = 3
PLAN_COLUMNS = 4

DRIFTS = 2  # turns towards the aim at which the masts pull equally
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
    set_aim(aim_deg, mount, figures, home)
    choose_transmitters(wanted, home)
    if chance_bound(wanted.services, needed, home) < plan[CHANCE]:
        return False
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
def turned(azimuth_deg):
    """Return an azimuth between -360 and 720 degrees as one from 0 up to 360."""
    if azimuth_deg >= 360.0:
        return azimuth_deg - 360.0
    return azimuth_deg + 360.0 if azimuth_deg < 0.0 else azimuth_deg


@kernel
def whole_azimuth(azimuth_deg):
    """Return an azimuth rounded to a whole degree, 0 to 359."""
    return turned(math.floor(azimuth_deg + 0.5))


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
            onward = turned(other_deg - bearing_deg) <= 180.0
            candidates[0, count] = whole_azimuth(bearing_deg + half_deg if onward else bearing_deg - half_deg)
            candidates[1, count] = half_deg
            count += 1
    for first in range(masts):
        candidates[0, first] = whole_azimuth(candidates[0, first])
    return count


@kernel
def set_and_rank(aim_deg, mount, needed, wanted, figures, home):
    """Set an aim and return its rank_of_list."""
    set_aim(aim_deg, mount, figures, home)
    choose_transmitters(wanted, home)
    return rank_of_list(needed, wanted, home)


@kernel
def drift_deg(aim_deg, needed, wanted, figures, home):
    """Return how far to turn from the aim that is set so that the wanted masts pull equally, in degrees.

    Where the rank is greatest, the masts' pulls are in balance: the angle to each, times the steepness of
    its lobe, times how much its logarithm grows with a decibel. This is the weighted mean of those angles;
    masts on the pattern's floor do not pull.
    """
    sign = 1.0 if needed == wanted.services else -1.0
    pull = 0.0
    weight = 0.0
    for mast in range(least_of_masts(sign, wanted, home)):
        item = home.index[PULLING, mast]
        angle_deg = home.values[BEARING_DEG, item] - aim_deg
        if angle_deg > 180.0:
            angle_deg -= 360.0
        elif angle_deg < -180.0:
            angle_deg += 360.0
        rolloff = figures[ROLLOFF, item]
        if rolloff * angle_deg * angle_deg < figures[FLOOR_DB, item]:
            growth = log_share(home.values[SHARES, mast])[1] * figures[TOTAL_INVERSE, item] * rolloff
            pull += growth * angle_deg
            weight += growth
    return pull / weight if weight > 0.0 else 0.0


@kernel
def _improved(aim_deg, rank, mount, needed, wanted, figures, home):
    """Return a better aim near one and its rank; steps of 4, 2 and 1 degrees where only some are needed."""
    if needed == 1 or needed == wanted.services:
        nearer_deg = aim_deg
        for _ in range(DRIFTS):
            set_aim(nearer_deg, mount, figures, home)
            choose_transmitters(wanted, home)
            nearer_deg = turned(nearer_deg + drift_deg(nearer_deg, needed, wanted, figures, home))
        nearer_deg = whole_azimuth(nearer_deg)
        nearer_rank = set_and_rank(nearer_deg, mount, needed, wanted, figures, home)
        return (nearer_deg, nearer_rank) if nearer_rank > rank else (aim_deg, rank)
    for turn in range(SIDE_STEPS):
        step_deg = FIRST_STEP_DEG / 2.0 ** (turn // 2)
        beside_deg = turned(aim_deg + (step_deg if turn % 2 == 0 else -step_deg))
        beside_rank = set_and_rank(beside_deg, mount, needed, wanted, figures, home)
        if beside_rank > rank:
            aim_deg, rank = beside_deg, beside_rank
    return aim_deg, rank


@kernel
def search_few(start_deg, enough, reach_deg, candidates, count, needed, wanted, figures, home, plan):
    """Find a best plan among the wanted bearings, their bisectors, and what lies best beside them.

    start_deg : an aim tried first, such as that of the tier below
    enough : a chance that ends the search at once; over 1 never
    reach_deg : of lobe_reach_deg; 0 for an installation that receives all directions alike
    candidates, count : of fill_candidates

    Aims are ranked by rank_of_list; the chance itself is worked out for start_deg and for the best two.

    Accuracy: the tier of search_every_degree in over 99.9 % of random homes (tests/test_aim.py).
    """
    forget_plan(plan)
    best_deg, best_mount, best_rank = start_deg if reach_deg > 0.0 else 0.0, wanted.mounts[0], -math.inf
    second_deg, second_mount, second_rank = best_deg, best_mount, -math.inf
    for trial in range(3):
        if trial == 1:
            if plan[CHANCE] >= enough or (reach_deg == 0.0 and wanted.mounts.size == 1):
                return
            for number in range(-1, count if reach_deg > 0.0 else 0):
                aim_deg = best_deg if number < 0 else candidates[0, number]
                if number >= 0 and candidates[1, number] > reach_deg:
                    continue
                for mount in wanted.mounts:
                    rank = set_and_rank(aim_deg, mount, needed, wanted, figures, home)
                    if rank > best_rank:
                        second_deg, second_mount, second_rank = best_deg, best_mount, best_rank
                        best_deg, best_mount, best_rank = aim_deg, mount, rank
                    elif rank > second_rank:
                        second_deg, second_mount, second_rank = aim_deg, mount, rank
        elif trial == 2:
            best_deg, best_mount, best_rank = second_deg, second_mount, second_rank
        if trial > 0 and reach_deg > 0.0:
            best_deg, best_rank = _improved(best_deg, best_rank, best_mount, needed, wanted, figures, home)
        try_aim(best_deg, best_mount, needed, wanted, figures, home, plan)
