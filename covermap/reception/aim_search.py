"""The search for the best aim at one home: every degree, or a coarse circle and the degrees around its best."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import kernel
from covermap.reception.budget import (
    COMMON_RATIO,
    CROSS_DB,
    FLOOR_DB,
    OWN_INVERSE,
    ROLLOFF,
    WantedTransmitters,
)
from covermap.reception.normal import POINT, WEIGHT, normal_share
from covermap.reception.pattern import off_axis_deg
from covermap.reception.plan import (
    BEARING_DEG,
    CLEAR_DB,
    chance_bound,
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

# Multiples of 16 fill the vectors of the loops over aims. The circle's aims lie 11.25 degrees apart; the
# narrowest lobe of the built-in tiers is 25 degrees wide.
CIRCLE_AIMS = 32
NEAR_AIMS = 16
JUST_MISSED = 0.03  # more than ranks are off by
LARGEST_DEVIATION = 100.0
TIE_WEIGHT = 1e-13  # of the worst margin, where chances are equal to the last digit


class ScanArrays(NamedTuple):
    """Work arrays of the ranking of aims, made once a thread.

    circle_deg (CIRCLE_AIMS,), near_deg (NEAR_AIMS,) : aims
    circle_square, near_square : (W, aims) squared angle between each transmitter and each aim
    rank, fixed, product, least, worst, deviations : (aims,)
    """

    circle_deg: NDArray[np.float64]
    circle_square: NDArray[np.float64]
    near_deg: NDArray[np.float64]
    near_square: NDArray[np.float64]
    rank: NDArray[np.float64]
    fixed: NDArray[np.float64]
    product: NDArray[np.float64]
    least: NDArray[np.float64]
    worst: NDArray[np.float64]
    deviations: NDArray[np.float64]


def scan_arrays(wanted: WantedTransmitters) -> ScanArrays:
    """Return work arrays for a wanted list."""
    transmitters = wanted.station.size
    return ScanArrays(
        np.arange(CIRCLE_AIMS) * (360.0 / CIRCLE_AIMS),
        np.empty((transmitters, CIRCLE_AIMS)),
        np.empty(NEAR_AIMS),
        np.empty((transmitters, NEAR_AIMS)),
        *(np.empty(CIRCLE_AIMS) for _ in range(6)),
    )


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
    """Keep an aim in plan if it ranks before what stands there."""
    set_aim(aim_deg, mount, figures, home)
    choose_transmitters(wanted, home)
    if chance_bound(wanted.services, needed, home) < plan[CHANCE]:
        return
    chance = chance_of_list(needed, wanted, figures, home, home.points)
    if chance < plan[CHANCE]:
        return
    worst_db = worst_margin_db(wanted.services, needed, home)
    if is_better(chance, worst_db, aim_deg, mount, plan):
        plan[CHANCE] = chance
        plan[WORST_DB] = worst_db
        plan[AIM_DEG] = aim_deg
        plan[MOUNT] = mount


@kernel
def search_every_degree(needed, wanted, figures, home, plan):
    """Find the best plan over all whole degrees and mounts: the reference for search_circle."""
    forget_plan(plan)
    for aim_deg in range(360):
        for mount in wanted.mounts:
            try_aim(float(aim_deg), mount, needed, wanted, figures, home, plan)


@kernel
def is_directional(figures):
    """Return whether an installation tells any of its transmitters' directions apart."""
    for item in range(figures.shape[1]):
        if figures[ROLLOFF, item] > 0.0 and figures[FLOOR_DB, item] > 0.0:
            return True
    return False


@kernel
def fill_squares(aims_deg, wanted, home, square):
    """Fill the squared angle between each transmitter's bearing and each aim, in square degrees."""
    for item in range(wanted.mast.size):
        bearing_deg = home.values[BEARING_DEG, item]
        for number in range(aims_deg.size):
            angle_deg = off_axis_deg(aims_deg[number], bearing_deg)
            square[item, number] = angle_deg * angle_deg


@kernel
def _fill_deviations(item, sign, shift, mount, figures, home, square, deviations):
    """Fill one transmitter's margin at each aim, in own standard deviations times sign, plus shift.

    The loss is off_axis_loss_db's, from the square of the angle.
    """
    clear_db = home.values[CLEAR_DB, item]
    rolloff = figures[ROLLOFF, item]
    floor_db = figures[FLOOR_DB, item]
    cross_db = figures[CROSS_DB + mount, item]
    inverse = sign * figures[OWN_INVERSE, item]
    for number in range(square.size):
        loss_db = rolloff * square[number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        deviations[number] = (clear_db - loss_db) * inverse + shift


@kernel
def _keep_least(values, least):
    """Keep the smaller of two rows in the second."""
    for number in range(values.size):
        least[number] = values[number] if values[number] < least[number] else least[number]


@kernel
def _multiply_shares(deviations, product):
    """Multiply a row by the shares of the normal distribution below another."""
    for number in range(deviations.size):
        product[number] *= normal_share(deviations[number])


@kernel
def _multiply_masts(sharing, common, sign, mount, wanted, figures, home, square, scan, product):
    """Multiply product by the shares of the masts that have, or have not, something in common (sharing).

    common : the home's common deviation. Return whether there was such a mast.
    """
    least, deviations = scan.least[: square.shape[1]], scan.deviations[: square.shape[1]]
    some = False
    first = 0
    while first < wanted.mast.size:
        last = first
        shares = False
        while last < wanted.mast.size and wanted.mast[last] == wanted.mast[first]:
            shares = shares or figures[COMMON_RATIO, last] > 0.0
            last += 1
        if shares == sharing:
            some = True
            for item in range(first, last):
                shift = figures[COMMON_RATIO, item] * common
                row = least if item == first else deviations
                _fill_deviations(item, sign, shift, mount, figures, home, square[item], row)
                if item > first:
                    _keep_least(deviations, least)
            _multiply_shares(least, product)
            _keep_least(least, scan.worst[: square.shape[1]])
        first = last
    return some


@kernel
def _rank_by_masts(needed, mount, wanted, figures, home, square, scan):
    """Rank aims at once where every service has one transmitter and all, or one, are needed.

    The chance that all arrive, or the chance that not all fail (less 1), with a coarse integral.
    """
    sign = 1.0 if needed == wanted.services else -1.0
    aims = square.shape[1]
    rank, fixed, product = scan.rank[:aims], scan.fixed[:aims], scan.product[:aims]
    fixed[:] = 1.0
    scan.worst[:] = LARGEST_DEVIATION
    _multiply_masts(False, 0.0, sign, mount, wanted, figures, home, square, scan, fixed)
    rank[:] = 0.0
    for point in range(home.few_points.shape[1]):
        product[:] = fixed
        common = home.few_points[POINT, point]
        some = _multiply_masts(True, common, sign, mount, wanted, figures, home, square, scan, product)
        weight = home.few_points[WEIGHT, point] if some else 1.0
        for number in range(aims):
            rank[number] += weight * product[number]
        if not some:
            break
    for number in range(aims):
        rank[number] = sign * (rank[number] + TIE_WEIGHT * scan.worst[number])


@kernel
def _rank_one_by_one(needed, mount, aims_deg, wanted, figures, home, scan):
    """Rank aims where services choose among transmitters, or more than one but not all are needed."""
    for number in range(aims_deg.size):
        set_aim(aims_deg[number], mount, figures, home)
        choose_transmitters(wanted, home)
        scan.rank[number] = chance_of_list(needed, wanted, figures, home, home.few_points)


@kernel
def best_of_near(needed, wanted, figures, home, scan):
    """Return the aim and mount that rank highest: of the coarse circle, then of the degrees around its best.

    Accuracy: ranks are chances with an integral of 3 points, within 0.02 of those with 16.
    """
    aims_deg, square = scan.circle_deg, scan.circle_square
    by_masts = wanted.service.size == wanted.services and (needed == 1 or needed == wanted.services)
    best_deg, best_mount = 0.0, wanted.mounts[0]
    for stage in range(2):
        if stage == 1:
            aims_deg, square = scan.near_deg, scan.near_square
            for number in range(NEAR_AIMS):
                near_deg = math.floor(best_deg + 0.5) + number - NEAR_AIMS // 2
                aims_deg[number] = near_deg + 360.0 if near_deg < 0.0 else near_deg
                aims_deg[number] -= 360.0 if near_deg >= 360.0 else 0.0
            fill_squares(aims_deg, wanted, home, square)
        best_rank = -math.inf
        for mount in wanted.mounts:
            if by_masts:
                _rank_by_masts(needed, mount, wanted, figures, home, square, scan)
            else:
                _rank_one_by_one(needed, mount, aims_deg, wanted, figures, home, scan)
            for number in range(aims_deg.size):
                if scan.rank[number] > best_rank:
                    best_deg, best_mount, best_rank = aims_deg[number], mount, scan.rank[number]
    return best_deg, best_mount


@kernel
def search_circle(start_deg, enough, confidence, directional, needed, wanted, figures, home, scan, plan):
    """Find the best of a coarse circle of aims, then of the whole degrees around it.

    start_deg : a whole azimuth, such as the tier below's, tried first where that may be enough
    enough : a chance at start_deg that ends the search; over 1 never
    confidence : a chance that just misses it is looked at again, at every aim near the best
    directional : of is_directional; without, all aims are alike and 0 stands for them
    scan : circle_square filled for the home

    Accuracy: the tier of search_every_degree in over 99.9 % of random homes (tests/test_aim.py).
    """
    forget_plan(plan)
    mount = wanted.mounts[0]
    aim_deg = start_deg if directional else 0.0
    for trial in range(2 + NEAR_AIMS if directional else wanted.mounts.size):
        if trial == 0 and directional and enough > 1.0:
            continue
        if trial == 1 and directional:
            aim_deg, mount = best_of_near(needed, wanted, figures, home, scan)
        elif trial == 1:
            mount = wanted.mounts[1]
        elif trial > 1:
            aim_deg = scan.near_deg[trial - 2]
        try_aim(aim_deg, mount, needed, wanted, figures, home, plan)
        if plan[CHANCE] >= enough:
            return
        if trial == 1 and not confidence - JUST_MISSED <= plan[CHANCE] < confidence:
            return
