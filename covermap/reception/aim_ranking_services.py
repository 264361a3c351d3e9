"""Ranks many aims by the number of services: for lists of which some are enough, or with alternatives."""

import math

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import APART_INVERSE, CLEAR_DB, HOME_RATIO
from covermap.reception.normal import POINT, WEIGHT, normal_share
from covermap.reception.search_arrays import (
    BEST,
    LARGEST_DEVIATION,
    MEAN,
    PRODUCT,
    RANK,
    SITE_PRODUCT,
    SITE_WORST,
    SPREAD,
    SQUARES,
    TIE_WEIGHT,
    VARIANCE,
    WORST,
    set_row,
)

# Correlation of two services of one site and band that both arrive in half of the homes, given the home's
# part: of deviations correlated by 0.8, 2 / pi arcsin(0.8). A rank needs no more.
TOGETHER = 0.59
NARROWEST = 1e-9  # of a variance, so that it can be divided by


@lean_kernel
def _better_interfered(count, common, item, deviations, ratios, rows):
    """Raise row BEST to the deviation at a home's common one, where that is greater."""
    for number in range(count):
        deviation = deviations[item, number] + ratios[item, number] * common
        rows[BEST, number] = deviation if deviation > rows[BEST, number] else rows[BEST, number]


@lean_kernel
def _better(stage, count, common, group, item, mount, figures, values, aims, rows):
    """Raise row BEST to a transmitter's deviation at a home's common one, where that is greater."""
    clear_db, inverse = values[CLEAR_DB, item], values[APART_INVERSE, item]
    rolloff, floor_db = figures[ROLLOFF, item], figures[FLOOR_DB, item]
    cross_db = figures[CROSS_DB + mount, item]
    shift = values[HOME_RATIO, item] * common
    for number in range(count):
        loss_db = rolloff * aims[stage, SQUARES + group, number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        deviation = (clear_db - loss_db) * inverse + shift
        rows[BEST, number] = deviation if deviation > rows[BEST, number] else rows[BEST, number]


@lean_kernel
def _count_best(count, rows):
    """Add what row BEST says of one service to the number of services and to its site's spread."""
    for number in range(count):
        best = rows[BEST, number]
        chance = normal_share(best)
        rows[SITE_PRODUCT, number] *= chance
        worst = rows[SITE_WORST, number]
        rows[SITE_WORST, number] = best if best < worst else worst
        rows[MEAN, number] += chance
        alone = chance * (1.0 - chance)
        rows[VARIANCE, number] += (1.0 - TOGETHER) * alone
        rows[SPREAD, number] += math.sqrt(alone)
        rows[WORST, number] = best if best < rows[WORST, number] else rows[WORST, number]


@lean_kernel
def _end_site(count, rows):
    """Count the services of a site and band, which in part come and go together."""
    for number in range(count):
        worst = normal_share(rows[SITE_WORST, number])
        rows[PRODUCT, number] *= TOGETHER * worst + (1.0 - TOGETHER) * rows[SITE_PRODUCT, number]
        rows[SITE_PRODUCT, number] = 1.0
        rows[SITE_WORST, number] = LARGEST_DEVIATION
        rows[VARIANCE, number] += TOGETHER * rows[SPREAD, number] * rows[SPREAD, number]
        rows[SPREAD, number] = 0.0


@lean_kernel
def _add_number(count, needed, every, weight, rows):
    """Add the chance of at least needed services, or of every one, at one common deviation to row RANK."""
    for number in range(count):
        spare = rows[MEAN, number] - needed + 0.5
        share = normal_share(spare / math.sqrt(rows[VARIANCE, number]))
        rows[RANK, number] += weight * (rows[PRODUCT, number] if every else share)


@inner_kernel
def rank_by_services(stage, count, needed, mount, wanted, figures, home, by_aim):
    """Rank aims by the number of services: sites' chances multiplied where all are needed.

    Source: normal approximation of the number's distribution at each common deviation, with the half added
        for whole numbers; services of one site and band come and go together in part.
    """
    rows = by_aim.rows
    set_row(RANK, count, 0.0, rows)
    set_row(WORST, count, LARGEST_DEVIATION, rows)
    for point in range(by_aim.few_points.shape[1]):
        common = by_aim.few_points[POINT, point]
        set_row(PRODUCT, count, 1.0, rows)
        set_row(SITE_PRODUCT, count, 1.0, rows)
        set_row(SITE_WORST, count, LARGEST_DEVIATION, rows)
        set_row(MEAN, count, 0.0, rows)
        set_row(SPREAD, count, 0.0, rows)
        set_row(VARIANCE, count, NARROWEST, rows)
        shared = -1
        for place in range(wanted.services):
            service = wanted.service_order[place]
            first = wanted.service_start[service]
            if wanted.shared[wanted.by_service[first]] != shared:
                _end_site(count, rows)
                shared = wanted.shared[wanted.by_service[first]]
            set_row(BEST, count, -LARGEST_DEVIATION, rows)
            for carrier in range(first, wanted.service_start[service + 1]):
                item = wanted.by_service[carrier]
                if home.interfering.touched[item]:
                    _better_interfered(count, common, item, by_aim.deviation, by_aim.ratio, rows)
                    continue
                group = wanted.group[item]
                _better(stage, count, common, group, item, mount, figures, home.values, by_aim.aims, rows)
            _count_best(count, rows)
        _end_site(count, rows)
        _add_number(count, needed, needed == wanted.services, by_aim.few_points[WEIGHT, point], rows)
    for number in range(count):
        rows[RANK, number] += TIE_WEIGHT * rows[WORST, number]
