"""Ranks many aims of one antenna at one receiver site at once, by chances with a coarse integral."""

import math

import numpy as np

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_by_loss import fill_follows, set_site_by_loss
from covermap.reception.aim_interference import fill_interfered
from covermap.reception.aim_ranking_services import fill_alternatives, rank_by_services
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import APART_INVERSE
from covermap.reception.deciding import choose_deciding, is_coarse, is_touched
from covermap.reception.extremes import HOME_OF, MEAN_OF, SITE_OF, VARIANCE_OF, take_lesser
from covermap.reception.normal import POINT, WEIGHT
from covermap.reception.search_arrays import (
    CIRCLE,
    DEVIATION_OF,
    FAILED,
    HOME_PART_OF,
    LARGEST_DEVIATION,
    LOSS_STEPS,
    LOSSES,
    OTHER,
    RANK,
    SHARED,
    SPARE,
    TIE_WEIGHT,
    WORST,
    set_row,
)
from covermap.reception.single_precision import ONE, lobe_loss, share_above


@lean_kernel
def _fill_interfered_item(row, count, sign, item, by_aim):
    """Fill four rows with the mean times sign, variance and parts at each aim."""
    rows = by_aim.rows
    for number in range(count):
        rows[row + MEAN_OF, number] = sign * by_aim.deviation[item, number]
        rows[row + VARIANCE_OF, number] = 1.0
        rows[row + HOME_OF, number] = by_aim.ratio[item, number]
        rows[row + SITE_OF, number] = by_aim.site[item, number]


@lean_kernel
def _fill_item(stage, row, count, sign, group, item, mount, figures, receiver, by_aim):
    """Fill the same of what stands for a group's transmitters without interference."""
    rows, found = by_aim.rows, receiver.deciding.values
    mean, variance = found[MEAN_OF, item], found[VARIANCE_OF, item]
    home_part, site_part = found[HOME_OF, item], found[SITE_OF, item]
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    cross_db = np.float32(figures[CROSS_DB + mount, item])
    inverse = sign * receiver.values[APART_INVERSE, item]
    for number in range(count):
        loss_db = lobe_loss(by_aim.squares[stage, group, number], rolloff, floor_db, cross_db)
        rows[row + MEAN_OF, number] = mean - loss_db * inverse
        rows[row + VARIANCE_OF, number] = variance
        rows[row + HOME_OF, number] = home_part
        rows[row + SITE_OF, number] = site_part


@lean_kernel
def _set_site(count, rows, fast):
    """Fill rows DEVIATION_OF and HOME_PART_OF of a site and band from rows SHARED."""
    for number in range(count):
        inverse = 1.0 / math.sqrt(rows[SHARED + VARIANCE_OF, number])
        fast[DEVIATION_OF, number] = rows[SHARED + MEAN_OF, number] * inverse
        fast[HOME_PART_OF, number] = rows[SHARED + HOME_OF, number] * inverse


@lean_kernel
def _set_lone_site(stage, count, sign, group, item, mount, figures, receiver, by_aim):
    """Fill the same of a site and band for which one transmitter without interference stands."""
    found, fast = receiver.deciding.values, by_aim.fast
    inverse = 1.0 / math.sqrt(found[VARIANCE_OF, item])
    mean, home_part = np.float32(found[MEAN_OF, item] * inverse), np.float32(found[HOME_OF, item] * inverse)
    slope = np.float32(sign * receiver.values[APART_INVERSE, item] * inverse)
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    cross_db = np.float32(figures[CROSS_DB + mount, item])
    for number in range(count):
        loss_db = lobe_loss(by_aim.squares[stage, group, number], rolloff, floor_db, cross_db)
        fast[DEVIATION_OF, number] = mean - loss_db * slope
    set_row(HOME_PART_OF, count, home_part, fast)


@lean_kernel
def _end_site(count, few_points, fast):
    """Add a site and band to the chance that some fail at each point, and keep the smallest in row WORST."""
    for number in range(count):
        mean = fast[DEVIATION_OF, number]
        fast[WORST, number] = mean if mean < fast[WORST, number] else fast[WORST, number]
    for point in range(few_points.shape[1]):
        common, row = np.float32(few_points[POINT, point]), FAILED + point
        for number in range(count):
            fails = share_above(fast[DEVIATION_OF, number] + fast[HOME_PART_OF, number] * common)
            fast[row, number] += fails * (ONE - fast[row, number])


@inner_kernel
def _set_merged_site(stage, count, position, sign, mount, wanted, figures, receiver, by_aim):
    """Fill the same from all deciding transmitters of the site and band that begins at a place among them."""
    items, first = receiver.deciding.item, position
    shared = wanted.shared[items[first]]
    while items[position] >= 0 and wanted.shared[items[position]] == shared:
        item, row = items[position], SHARED if position == first else OTHER
        if is_touched(item, receiver.interfering):
            _fill_interfered_item(row, count, sign, item, by_aim)
        else:
            _fill_item(stage, row, count, sign, wanted.group[item], item, mount, figures, receiver, by_aim)
        if row == OTHER:
            take_lesser(count, SHARED, OTHER, SPARE, by_aim.rows)
        position += 1
    _set_site(count, by_aim.rows, by_aim.fast)


@lean_kernel
def next_site(position, items, wanted):
    """Return the place among the deciding transmitters where the next site and band begins."""
    shared = wanted.shared[items[position]]
    while items[position] >= 0 and wanted.shared[items[position]] == shared:
        position += 1
    return position


@inner_kernel
def _rank_by_sites(stage, count, sign, mount, wanted, figures, receiver, by_aim):
    """Rank aims where every service has one transmitter and all (sign 1), or one (sign -1), are needed.

    The chance that all arrive, or the chance that not all fail less 1.
    """
    few_points, rows, fast, items = by_aim.few_points, by_aim.rows, by_aim.fast, receiver.deciding.item
    set_row(WORST, count, np.float32(LARGEST_DEVIATION), fast)
    for point in range(few_points.shape[1]):
        set_row(FAILED + point, count, np.float32(0.0), fast)
    position = 0
    while items[position] >= 0:
        item, following = items[position], next_site(position, items, wanted)
        group = wanted.group[item]
        if by_aim.follows[group]:
            set_site_by_loss(stage, count, group, item, figures, by_aim)
        elif following == position + 1 and not is_touched(item, receiver.interfering):
            _set_lone_site(stage, count, sign, group, item, mount, figures, receiver, by_aim)
        else:
            _set_merged_site(stage, count, position, sign, mount, wanted, figures, receiver, by_aim)
        _end_site(count, few_points, fast)
        position = following
    for number in range(count):
        rows[RANK, number] = 1.0 + TIE_WEIGHT * fast[WORST, number]
    for point in range(few_points.shape[1]):
        weight = few_points[WEIGHT, point]
        for number in range(count):
            rows[RANK, number] -= weight * fast[FAILED + point, number]
    for number in range(count):
        rows[RANK, number] *= sign


@inner_kernel
def _fill_by_loss(sign, mount, wanted, figures, receiver, by_aim):
    """Fill what groups that follow their loss are at each of LOSSES, their transmitters filled there."""
    items, fast, position = receiver.deciding.item, by_aim.fast, 0
    while items[position] >= 0:
        group = wanted.group[items[position]]
        if by_aim.follows[group]:
            _set_merged_site(LOSSES, LOSS_STEPS, position, sign, mount, wanted, figures, receiver, by_aim)
            for number in range(LOSS_STEPS):
                by_aim.by_loss[DEVIATION_OF, group, number] = fast[DEVIATION_OF, number]
                by_aim.by_loss[HOME_PART_OF, group, number] = fast[HOME_PART_OF, number]
        position = next_site(position, items, wanted)


@inner_kernel
def rank_aims(stage, count, needed, mount, wanted, figures, other_figures, pairs, receiver, by_aim):
    """Fill row RANK for a set of aims; greater is better.

    Source: as all_confidence, with 3 points in place of 8 and in single precision, where each service has one
        transmitter and all, or one, are needed; else by the number of services.
    Accuracy: the best ranked aim and those around it are looked at again with the whole integral.
    """
    coarse = is_coarse(needed, wanted, receiver)
    sign = 1.0 if needed == wanted.services else -1.0
    if stage == CIRCLE:
        by_aim.table_mount[0] = -1
        fill_follows(coarse, wanted, figures, other_figures, pairs, receiver, by_aim)
    if not coarse:
        choose_deciding(sign, wanted, figures, receiver)
    # At each of LOSSES, then at each aim: in one place, as each further one would be compiled anew.
    for at_aims in range(2):
        if at_aims == 0 and (coarse or by_aim.table_mount[0] == mount):
            continue
        for item in range(wanted.items[0] if receiver.interfering.some[0] and not coarse else 0):
            passed = not receiver.interfering.touched[item] or receiver.deciding.left_out[item]
            if not passed and by_aim.follows[wanted.group[item]] == (at_aims == 0):
                fill_interfered(
                    stage if at_aims == 1 else LOSSES, count if at_aims == 1 else LOSS_STEPS, item, mount,
                    figures, other_figures, wanted, pairs, receiver, by_aim,
                )  # fmt: skip
        if at_aims == 0:
            by_aim.table_mount[0] = mount
            _fill_by_loss(sign, mount, wanted, figures, receiver, by_aim)
    if coarse:
        if receiver.interfering.some[0]:
            fill_alternatives(stage, count, mount, figures, other_figures, wanted, pairs, receiver, by_aim)
        rank_by_services(stage, count, needed, mount, wanted, figures, receiver, by_aim)
    else:
        _rank_by_sites(stage, count, sign, mount, wanted, figures, receiver, by_aim)
