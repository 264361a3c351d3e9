"""Ranks many aims of one antenna at one home at once, by chances with a coarse integral."""

import math

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.propagation.vector_math import LOG2_OF_E, exp2
from covermap.reception.aim_interference import fill_interfered
from covermap.reception.aim_ranking_services import rank_by_services
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF, SITE_SHARE
from covermap.reception.confidence import (
    APART_INVERSE,
    CLEAR_DB,
    DEVIATION,
    FARTHEST,
    HOME_PART,
    HOME_RATIO,
    SITE_PART,
    worst_of_group,
)
from covermap.reception.extremes import DENSITY_AT_MEAN, SMALLEST
from covermap.reception.normal import POINT, WEIGHT, normal_share
from covermap.reception.search_arrays import (
    HOME_OF,
    LARGEST_DEVIATION,
    MEAN_OF,
    OTHER,
    PRODUCT,
    RANK,
    SHARED,
    SITE_OF,
    SQUARES,
    TIE_WEIGHT,
    VARIANCE_OF,
    WORST,
    set_row,
)

CERTAIN = 8.0  # deviations apart; beyond, the density is nothing


@inner_kernel
def choose_deciding(sign, wanted, figures, home, by_aim):
    """Choose the transmitters that decide at every aim, in order of site and band.

    An aim takes as much from every transmitter of a group without interference, so that the worst (sign 1)
    or best (sign -1) of them is worked out once, before any loss, and stands for all.
    """
    touched, values = home.interfering.touched, home.values
    count = 0
    for group in range(wanted.group_start.size - 1):
        together, worst, least = 0, -1, math.inf
        for item in range(wanted.group_start[group], wanted.group_start[group + 1]):
            if touched[item]:
                by_aim.item[count] = item
                count += 1
                continue
            deviation = values[CLEAR_DB, item] * values[APART_INVERSE, item]
            values[DEVIATION, together] = min(FARTHEST, max(-FARTHEST, deviation))
            values[HOME_PART, together] = values[HOME_RATIO, item]
            values[SITE_PART, together] = figures[SITE_SHARE, item]
            together += 1
            if worst < 0 or sign * deviation < least:
                worst, least = item, sign * deviation
        if worst >= 0:
            mean, variance, home_part, site_part = worst_of_group(sign, 0, together, values)
            by_aim.stand_in[MEAN_OF, worst] = mean
            by_aim.stand_in[VARIANCE_OF, worst] = variance
            by_aim.stand_in[HOME_OF, worst] = home_part
            by_aim.stand_in[SITE_OF, worst] = site_part
            by_aim.item[count] = worst
            count += 1
    by_aim.item[count] = -1


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
def _fill_item(stage, row, count, sign, group, item, mount, figures, values, by_aim):
    """Fill four rows with what stands for a group's transmitters without interference at each aim, as above.

    The loss is off_axis_loss_db's, from the square of the angle.
    """
    rows, aims = by_aim.rows, by_aim.aims
    mean, variance = by_aim.stand_in[MEAN_OF, item], by_aim.stand_in[VARIANCE_OF, item]
    home_part, site_part = by_aim.stand_in[HOME_OF, item], by_aim.stand_in[SITE_OF, item]
    rolloff, floor_db = figures[ROLLOFF, item], figures[FLOOR_DB, item]
    cross_db = figures[CROSS_DB + mount, item]
    inverse = sign * values[APART_INVERSE, item]
    for number in range(count):
        loss_db = rolloff * aims[stage, SQUARES + group, number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        rows[row + MEAN_OF, number] = mean - loss_db * inverse
        rows[row + VARIANCE_OF, number] = variance
        rows[row + HOME_OF, number] = home_part
        rows[row + SITE_OF, number] = site_part


@lean_kernel
def _take_lesser(count, rows):
    """Put the lesser of rows SHARED and OTHER into SHARED at each aim, as least_moments()."""
    for number in range(count):
        mean, other = rows[SHARED + MEAN_OF, number], rows[OTHER + MEAN_OF, number]
        variance, other_variance = rows[SHARED + VARIANCE_OF, number], rows[OTHER + VARIANCE_OF, number]
        site, other_site = rows[SHARED + SITE_OF, number], rows[OTHER + SITE_OF, number]
        apart = variance + other_variance - 2.0 * site * other_site
        apart = math.sqrt(apart if apart > SMALLEST else SMALLEST)
        gap = other - mean
        ratio = gap / apart
        ratio = ratio if ratio < CERTAIN else CERTAIN
        ratio = ratio if ratio > -CERTAIN else -CERTAIN
        first = normal_share(ratio)
        second = 1.0 - first
        density = DENSITY_AT_MEAN * exp2(-0.5 * LOG2_OF_E * ratio * ratio)
        step = gap * second - apart * density
        square = variance * first + (other_variance + gap * gap) * second - gap * apart * density
        square -= step * step
        rows[SHARED + MEAN_OF, number] = mean + step
        rows[SHARED + VARIANCE_OF, number] = square if square > SMALLEST else SMALLEST
        rows[SHARED + SITE_OF, number] = site * first + other_site * second
        home, other_home = rows[SHARED + HOME_OF, number], rows[OTHER + HOME_OF, number]
        rows[SHARED + HOME_OF, number] = home * first + other_home * second


@lean_kernel
def _multiply_by_shares(count, few_points, rows):
    """Multiply the product at each point by the shares of rows SHARED, and keep the smallest in row WORST."""
    for number in range(count):
        inverse = 1.0 / math.sqrt(rows[SHARED + VARIANCE_OF, number])
        rows[SHARED + MEAN_OF, number] *= inverse
        rows[SHARED + HOME_OF, number] *= inverse
        mean = rows[SHARED + MEAN_OF, number]
        rows[WORST, number] = mean if mean < rows[WORST, number] else rows[WORST, number]
    for point in range(few_points.shape[1]):
        common = few_points[POINT, point]
        for number in range(count):
            deviation = rows[SHARED + MEAN_OF, number] + rows[SHARED + HOME_OF, number] * common
            rows[PRODUCT + point, number] *= normal_share(deviation)


@inner_kernel
def _rank_by_sites(stage, count, sign, mount, wanted, figures, home, by_aim):
    """Rank aims where every service has one transmitter and all (sign 1), or one (sign -1), are needed.

    The chance that all arrive, or the chance that not all fail less 1.
    """
    few_points, rows = by_aim.few_points, by_aim.rows
    set_row(RANK, count, 0.0, rows)
    set_row(WORST, count, LARGEST_DEVIATION, rows)
    for point in range(few_points.shape[1]):
        set_row(PRODUCT + point, count, 1.0, rows)
    place = 0
    while by_aim.item[place] >= 0:
        shared, row = wanted.shared[by_aim.item[place]], SHARED
        while by_aim.item[place] >= 0 and wanted.shared[by_aim.item[place]] == shared:
            item = by_aim.item[place]
            if home.interfering.touched[item]:
                _fill_interfered_item(row, count, sign, item, by_aim)
            else:
                group = wanted.group[item]
                _fill_item(stage, row, count, sign, group, item, mount, figures, home.values, by_aim)
            if row == OTHER:
                _take_lesser(count, rows)
            row = OTHER
            place += 1
        _multiply_by_shares(count, few_points, rows)
    for point in range(few_points.shape[1]):
        weight = few_points[WEIGHT, point]
        for number in range(count):
            rows[RANK, number] += weight * rows[PRODUCT + point, number]
    for number in range(count):
        rows[RANK, number] = sign * (rows[RANK, number] + TIE_WEIGHT * rows[WORST, number])


@inner_kernel
def rank_aims(stage, count, needed, mount, wanted, figures, pair_figures, pairs, home, by_aim):
    """Fill row RANK for a set of aims; greater is better.

    Source: as all_confidence, with 3 points in place of 8, where each service has one transmitter and all,
        or one, are needed; else by the number of services.
    Accuracy: the best ranked aim and those around it are looked at again with the whole integral.
    """
    for item in range(wanted.station.size if home.interfering.some[0] else 0):
        if home.interfering.touched[item]:
            fill_interfered(stage, count, item, mount, figures, pair_figures, wanted, pairs, home, by_aim)
    if wanted.service.size == wanted.services and (needed == 1 or needed == wanted.services):
        sign = 1.0 if needed == wanted.services else -1.0
        choose_deciding(sign, wanted, figures, home, by_aim)
        _rank_by_sites(stage, count, sign, mount, wanted, figures, home, by_aim)
    else:
        rank_by_services(stage, count, needed, mount, wanted, figures, home, by_aim)
