"""Ranks many aims of one antenna at one home at once, by chances with a coarse integral."""

import math

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_ranking_services import rank_by_services
from covermap.reception.budget import COMMON_RATIO, CROSS_DB, FLOOR_DB, OWN_INVERSE, ROLLOFF
from covermap.reception.confidence import CLEAR_DB
from covermap.reception.normal import POINT, WEIGHT, normal_share
from covermap.reception.scan import (
    FIXED,
    LARGEST_DEVIATION,
    LEAST,
    PRODUCT,
    RANK,
    SQUARES,
    TIE_WEIGHT,
    WORST,
    set_row,
)
from covermap.reception.scan_disturbed import fill_disturbed


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
        while scan.item[last] >= 0 and wanted.site[scan.item[last]] == wanted.site[scan.item[first]]:
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
    set_row(RANK, count, 0.0, rows)
    set_row(FIXED, count, 1.0, rows)
    set_row(WORST, count, LARGEST_DEVIATION, rows)
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
            fill_disturbed(stage, count, item, mount, figures, pair_figures, wanted, pairs, home, scan)
    if wanted.service.size == wanted.services and (needed == 1 or needed == wanted.services):
        _rank_by_masts(stage, count, sign, mount, wanted, figures, home, scan)
    else:
        rank_by_services(stage, count, needed, mount, wanted, figures, home, scan)
