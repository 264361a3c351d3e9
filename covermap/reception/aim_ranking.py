"""Ranks many aims of one antenna at one home at once, by chances with a coarse integral."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.propagation.vector_math import LOG2_OF_10, exp2, log2_positive
from covermap.reception.budget import (
    COMMON_RATIO,
    CROSS_DB,
    FLOOR_DB,
    NOISE_DB,
    OWN_INVERSE,
    ROLLOFF,
    WantedTransmitters,
)
from covermap.reception.confidence import BEARING_DEG, CLEAR_DB
from covermap.reception.interference import (
    ADDS,
    FAINTEST_DB,
    OVER_NOISE_DB,
    PAIR_BEARING_DEG,
    PAIR_CROSS_DB,
    PAIR_FLOOR_DB,
    PAIR_ROLLOFF,
    ROLE,
    SILENT,
)
from covermap.reception.normal import POINT, WEIGHT, integral_points, normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan import spread_with

# Multiples of 16 fill the vectors of the loops over aims. The circle's aims lie 11.25 degrees apart; the
# narrowest lobe of the built-in tiers is 25 degrees wide.
CIRCLE_AIMS = 32
NEAR_AIMS = 16

# Two sets of aims: first axis of ScanArrays.aims.
CIRCLE = 0
NEAR = 1
# Its second axis: the aims, then for each group of transmitters the squared angle to each.
AIMS_DEG = 0
SQUARES = 1

# Rows of ScanArrays.rows, one column an aim.
RANK = 0
FIXED = 1
PRODUCT = 2
LEAST = 3
WORST = 4
BEST = 5
MEAN = 6
VARIANCE = 7
SPREAD = 8
SIGNAL = 9
DISTURBANCE = 10
SCAN_ROWS = 11

LOG2_OF_DB = LOG2_OF_10 / 10.0  # a level's power is 2^(LOG2_OF_DB level)
LARGEST_DEVIATION = 100.0
TIE_WEIGHT = 1e-13  # of the worst margin, where chances are equal to the last digit
NARROWEST = 1e-9  # of a variance, so that it can be divided by


class ScanArrays(NamedTuple):
    """Work arrays of the ranking, made once a thread.

    aims : (2, 1 + W, CIRCLE_AIMS). rows : (SCAN_ROWS, CIRCLE_AIMS). few_points : a coarse integral
    item : (W + 1,), the transmitters that decide: of each group the worst undisturbed one, and every
        disturbed one; -1 behind the last
    deviation, ratio : (W, CIRCLE_AIMS), m / s_i and s_c / s_i of the disturbed ones at each aim
    """

    aims: NDArray[np.float64]
    rows: NDArray[np.float64]
    few_points: NDArray[np.float64]
    item: NDArray[np.int64]
    deviation: NDArray[np.float64]
    ratio: NDArray[np.float64]


def scan_arrays(wanted: WantedTransmitters) -> ScanArrays:
    """Return work arrays for a wanted list, the circle's aims filled."""
    count = wanted.station.size
    aims = np.zeros((2, SQUARES + count, CIRCLE_AIMS))
    aims[CIRCLE, AIMS_DEG] = np.arange(CIRCLE_AIMS) * (360.0 / CIRCLE_AIMS)
    return ScanArrays(
        aims,
        np.empty((SCAN_ROWS, CIRCLE_AIMS)),
        integral_points(3),
        np.full(count + 1, -1),
        np.empty((count, CIRCLE_AIMS)),
        np.empty((count, CIRCLE_AIMS)),
    )


@lean_kernel
def fill_squares(stage, count, wanted, values, scan):
    """Fill the squared angle between each group's bearing and each aim of a set, in square degrees."""
    aims = scan.aims
    for group in range(wanted.group_start.size - 1):
        bearing_deg = values[BEARING_DEG, wanted.group_start[group]]
        for number in range(count):
            angle_deg = off_axis_deg(aims[stage, AIMS_DEG, number], bearing_deg)
            aims[stage, SQUARES + group, number] = angle_deg * angle_deg


@inner_kernel
def choose_deciding(sign, wanted, figures, home, scan):
    """Choose the transmitters that decide at every aim, in mast order.

    One aim takes as much from every undisturbed transmitter of a group, so the one with the least margin
    (sign 1), or the greatest (sign -1), stands for all.
    """
    touched, values = home.disturbing.touched, home.values
    count = 0
    for group in range(wanted.group_start.size - 1):
        chosen, least = -1, math.inf
        for item in range(wanted.group_start[group], wanted.group_start[group + 1]):
            if touched[item]:
                scan.item[count] = item
                count += 1
                continue
            deviation = sign * values[CLEAR_DB, item] * figures[OWN_INVERSE, item]
            if chosen < 0 or deviation < least:
                chosen, least = item, deviation
        if chosen >= 0:
            scan.item[count] = chosen
            count += 1
    scan.item[count] = -1


@lean_kernel
def _start_disturbed(stage, count, group, item, mount, figures, values, aims, rows):
    """Fill row SIGNAL with a transmitter's power over its need at each aim, and row DISTURBANCE with none."""
    clear_db, cross_db = values[CLEAR_DB, item], figures[CROSS_DB + mount, item]
    rolloff, floor_db = figures[ROLLOFF, item], figures[FLOOR_DB, item]
    for number in range(count):
        loss_db = rolloff * aims[stage, SQUARES + group, number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        rows[SIGNAL, number] = exp2(LOG2_OF_DB * (clear_db - loss_db))
        rows[DISTURBANCE, number] = 0.0


@lean_kernel
def _add_pair(stage, count, row, pair, mount, pair_figures, pair_values, aims, rows):
    """Add what a pair brings at each aim to a row of powers."""
    bearing_deg, over_db = pair_values[PAIR_BEARING_DEG, pair], pair_values[OVER_NOISE_DB, pair]
    rolloff, floor_db = pair_figures[PAIR_ROLLOFF, pair], pair_figures[PAIR_FLOOR_DB, pair]
    cross_db = pair_figures[PAIR_CROSS_DB + mount, pair]
    for number in range(count):
        angle_deg = off_axis_deg(aims[stage, AIMS_DEG, number], bearing_deg)
        loss_db = off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db)
        rows[row, number] += exp2(LOG2_OF_DB * (over_db - loss_db))


@lean_kernel
def _end_disturbed(count, item, figures, rows, deviations, ratios):
    """Fill deviation and ratio of a disturbed transmitter from the powers at each aim, as disturbed()."""
    own_inverse, common_ratio = figures[OWN_INVERSE, item], figures[COMMON_RATIO, item]
    noise_db = figures[NOISE_DB, item]
    for number in range(count):
        over_noise = 1.0 + rows[DISTURBANCE, number]
        margin_db = (log2_positive(rows[SIGNAL, number]) - log2_positive(over_noise)) * (1.0 / LOG2_OF_DB)
        inverse, ratio = spread_with(
            rows[DISTURBANCE, number] / over_noise, own_inverse, common_ratio, noise_db
        )
        deviations[item, number] = margin_db * inverse
        ratios[item, number] = ratio


@inner_kernel
def _fill_disturbed(stage, count, item, mount, figures, pair_figures, wanted, pairs, home, scan):
    """Fill rows deviation and ratio of a disturbed transmitter at each aim; as disturbed(), for many aims."""
    pair_values = home.disturbing.values
    group = wanted.group[item]
    _start_disturbed(stage, count, group, item, mount, figures, home.values, scan.aims, scan.rows)
    for pair in range(pairs.start[item], pairs.start[item + 1]):
        role = pair_values[ROLE, pair]
        if role == SILENT or (role != ADDS and pair_values[OVER_NOISE_DB, pair] < FAINTEST_DB):
            continue
        row = SIGNAL if role == ADDS else DISTURBANCE
        _add_pair(stage, count, row, pair, mount, pair_figures, pair_values, scan.aims, scan.rows)
    _end_disturbed(count, item, figures, scan.rows, scan.deviation, scan.ratio)


@lean_kernel
def _fill_least_disturbed(count, common, sign, start, item, deviations, ratios, rows):
    """Fill row LEAST as _fill_least for a disturbed transmitter, from its numbers at each aim."""
    for number in range(count):
        deviation = sign * deviations[item, number] + ratios[item, number] * common
        held = LARGEST_DEVIATION if start else rows[LEAST, number]
        rows[LEAST, number] = deviation if deviation < held else held


@lean_kernel
def _fill_least(stage, count, group, item, common, mount, sign, start, figures, values, aims, rows):
    """Fill row LEAST with the smallest margin so far at each aim, in own standard deviations times sign.

    start : 1 for the first transmitter of a mast. common : the home's common deviation.
    The loss is off_axis_loss_db's, from the square of the angle.
    """
    clear_db = values[CLEAR_DB, item]
    rolloff = figures[ROLLOFF, item]
    floor_db = figures[FLOOR_DB, item]
    cross_db = figures[CROSS_DB + mount, item]
    inverse = sign * figures[OWN_INVERSE, item]
    shift = figures[COMMON_RATIO, item] * common
    reset = LARGEST_DEVIATION if start else 0.0
    for number in range(count):
        loss_db = rolloff * aims[stage, SQUARES + group, number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        deviation = (clear_db - loss_db) * inverse + shift
        held = rows[LEAST, number] if reset == 0.0 else reset
        rows[LEAST, number] = deviation if deviation < held else held


@lean_kernel
def _multiply_by_shares(row, count, rows):
    """Multiply a row by the shares of row LEAST, and keep the smallest in row WORST."""
    for number in range(count):
        least = rows[LEAST, number]
        rows[row, number] *= normal_share(least)
        rows[WORST, number] = least if least < rows[WORST, number] else rows[WORST, number]


@inner_kernel
def _multiply_masts(sharing, stage, count, common, mount, sign, row, wanted, figures, home, scan):
    """Multiply a row by the shares of the masts that have, or have not, something in common (sharing).

    Return whether there was such a mast.
    """
    some = False
    first = 0
    while scan.item[first] >= 0:
        last = first
        shares = False
        while scan.item[last] >= 0 and wanted.mast[scan.item[last]] == wanted.mast[scan.item[first]]:
            shares = shares or figures[COMMON_RATIO, scan.item[last]] > 0.0
            last += 1
        if shares == sharing:
            some = True
            for place in range(first, last):
                item, start = scan.item[place], place == first
                if home.disturbing.touched[item]:
                    _fill_least_disturbed(
                        count, common, sign, start, item, scan.deviation, scan.ratio, scan.rows
                    )
                    continue
                _fill_least(
                    stage, count, wanted.group[item], item, common, mount, sign, start, figures, home.values,
                    scan.aims, scan.rows,
                )  # fmt: skip
            _multiply_by_shares(row, count, scan.rows)
        first = last
    return some


@lean_kernel
def _set_row(row, count, number, rows):
    """Fill a row with a number."""
    for place in range(count):
        rows[row, place] = number


@lean_kernel
def _copy_row(source, row, count, rows):
    """Copy one row to another."""
    for place in range(count):
        rows[row, place] = rows[source, place]


@lean_kernel
def _add_row(weight, row, count, rows):
    """Add a row's weighted numbers to row RANK."""
    for place in range(count):
        rows[RANK, place] += weight * rows[row, place]


@inner_kernel
def _rank_by_masts(stage, count, sign, mount, wanted, figures, home, scan):
    """Rank aims where every service has one transmitter and all (sign 1), or one (sign -1), are needed.

    The chance that all arrive, or the chance that not all fail less 1.
    """
    few_points, rows = scan.few_points, scan.rows
    _set_row(RANK, count, 0.0, rows)
    _set_row(FIXED, count, 1.0, rows)
    _set_row(WORST, count, LARGEST_DEVIATION, rows)
    # The first turn takes the masts that share nothing; then one turn a point for the others.
    for point in range(-1, few_points.shape[1]):
        sharing = point >= 0
        row = PRODUCT if sharing else FIXED
        common = few_points[POINT, point] if sharing else 0.0
        if sharing:
            _copy_row(FIXED, PRODUCT, count, rows)
        some = _multiply_masts(sharing, stage, count, common, mount, sign, row, wanted, figures, home, scan)
        if not sharing:
            continue
        _add_row(few_points[WEIGHT, point] if some else 1.0, PRODUCT, count, rows)
        if not some:
            break
    for number in range(count):
        rows[RANK, number] = sign * (rows[RANK, number] + TIE_WEIGHT * rows[WORST, number])


@lean_kernel
def _better_disturbed(count, common, item, deviations, ratios, rows):
    """Raise row BEST to a disturbed transmitter's deviation at a home's common one, where that is greater."""
    for number in range(count):
        deviation = deviations[item, number] + ratios[item, number] * common
        rows[BEST, number] = deviation if deviation > rows[BEST, number] else rows[BEST, number]


@lean_kernel
def _better(stage, count, common, group, item, mount, figures, values, aims, rows):
    """Raise row BEST to a transmitter's deviation at a home's common one, where that is greater."""
    clear_db, own_inverse = values[CLEAR_DB, item], figures[OWN_INVERSE, item]
    rolloff, floor_db = figures[ROLLOFF, item], figures[FLOOR_DB, item]
    cross_db = figures[CROSS_DB + mount, item]
    shift = figures[COMMON_RATIO, item] * common
    for number in range(count):
        loss_db = rolloff * aims[stage, SQUARES + group, number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        deviation = (clear_db - loss_db) * own_inverse + shift
        rows[BEST, number] = deviation if deviation > rows[BEST, number] else rows[BEST, number]


@lean_kernel
def _count_best(count, rows):
    """Add what row BEST says of one service to the number of services and to its mast's spread."""
    for number in range(count):
        best = rows[BEST, number]
        chance = normal_share(best)
        rows[PRODUCT, number] *= chance
        rows[MEAN, number] += chance
        rows[SPREAD, number] += math.sqrt(chance * (1.0 - chance))
        rows[WORST, number] = best if best < rows[WORST, number] else rows[WORST, number]


@lean_kernel
def _end_mast(count, rows):
    """Add the spread of a mast's services, which come and go together, to the variance of their number."""
    for number in range(count):
        rows[VARIANCE, number] += rows[SPREAD, number] * rows[SPREAD, number]
        rows[SPREAD, number] = 0.0


@lean_kernel
def _add_number(count, needed, every, weight, rows):
    """Add the chance of at least needed services, or of every one, at one common deviation to row RANK."""
    for number in range(count):
        spare = rows[MEAN, number] - needed + 0.5
        share = normal_share(spare / math.sqrt(rows[VARIANCE, number]))
        rows[RANK, number] += weight * (rows[PRODUCT, number] if every else share)


@inner_kernel
def _rank_by_services(stage, count, needed, mount, wanted, figures, home, scan):
    """Rank aims by the number of services: chances multiplied where all are needed, else mean and variance.

    Source: normal approximation of the number's distribution at each common deviation, with the half added
        for whole numbers; services of one mast come and go together.
    """
    rows = scan.rows
    _set_row(RANK, count, 0.0, rows)
    _set_row(WORST, count, LARGEST_DEVIATION, rows)
    for point in range(scan.few_points.shape[1]):
        common = scan.few_points[POINT, point]
        _set_row(PRODUCT, count, 1.0, rows)
        _set_row(MEAN, count, 0.0, rows)
        _set_row(SPREAD, count, 0.0, rows)
        _set_row(VARIANCE, count, NARROWEST, rows)
        mast = -1
        for place in range(wanted.services):
            service = wanted.service_order[place]
            first = wanted.service_start[service]
            if wanted.mast[wanted.by_service[first]] != mast:
                _end_mast(count, rows)
                mast = wanted.mast[wanted.by_service[first]]
            _set_row(BEST, count, -LARGEST_DEVIATION, rows)
            for carrier in range(first, wanted.service_start[service + 1]):
                item = wanted.by_service[carrier]
                if home.disturbing.touched[item]:
                    _better_disturbed(count, common, item, scan.deviation, scan.ratio, rows)
                    continue
                group = wanted.group[item]
                _better(stage, count, common, group, item, mount, figures, home.values, scan.aims, rows)
            _count_best(count, rows)
        _end_mast(count, rows)
        _add_number(count, needed, needed == wanted.services, scan.few_points[WEIGHT, point], rows)
    for number in range(count):
        rows[RANK, number] += TIE_WEIGHT * rows[WORST, number]


@inner_kernel
def rank_aims(stage, count, needed, mount, wanted, figures, pair_figures, pairs, home, scan):
    """Fill row RANK for a set of aims; greater is better.

    Source: as all_confidence, with 3 points in place of 16, where each service has one transmitter and all,
        or one, are needed; else by the number of services.
    Accuracy: the best ranked aim and those around it are looked at again with the whole integral.
    """
    sign = 1.0 if needed == wanted.services else -1.0
    choose_deciding(sign, wanted, figures, home, scan)
    for item in range(wanted.station.size if home.disturbing.some[0] else 0):
        if home.disturbing.touched[item]:
            _fill_disturbed(stage, count, item, mount, figures, pair_figures, wanted, pairs, home, scan)
    if wanted.service.size == wanted.services and (needed == 1 or needed == wanted.services):
        _rank_by_masts(stage, count, sign, mount, wanted, figures, home, scan)
    else:
        _rank_by_services(stage, count, needed, mount, wanted, figures, home, scan)
