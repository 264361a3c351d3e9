"""Ranks many aims by the number of services: for lists of which some are enough, or with alternatives."""

import math

import numpy as np

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_interference import fill_interfered
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import (
    APART_INVERSE,
    CLEAR_DB,
    HOME_RATIO,
    TAKEN_DB,
    TOTAL_INVERSE,
    UPPER_DB,
)
from covermap.reception.deciding import is_touched
from covermap.reception.normal import POINT, WEIGHT, normal_share
from covermap.reception.search_arrays import (
    BEST,
    DEVIATION_OF,
    FAILED,
    LARGEST_DEVIATION,
    MEAN,
    RANK,
    SHARE_OF,
    SITE_FAILED,
    SITE_WORST,
    SPREAD,
    TIE_WEIGHT,
    VARIANCE,
    WORST,
    set_row,
)
from covermap.reception.single_precision import ONE, ZERO, lobe_loss, share_above
from covermap.reception.spreads import LEAST_SPREAD, MOST_SPREAD

# Correlation of two services of one site and band that both arrive in half of the homes, given the home's
# part: of deviations correlated by 0.8, 2 / pi arcsin(0.8). A rank needs no more.
TOGETHER = np.float32(0.59)
ALONE = ONE - TOGETHER
NARROWEST = np.float32(1e-9)  # of a variance, so that it can be divided by
FARTHEST_OFF = np.float32(LARGEST_DEVIATION)
SURE = np.float32(5.0)  # deviations: more or less decides nothing
WIDE, NARROW = np.float32(1.0 / MOST_SPREAD), np.float32(1.0 / LEAST_SPREAD)


@lean_kernel
def _lead(stage, count, item, mount, wanted, figures, receiver, by_aim):
    """Return by how much a transmitter may exceed row BEST at some aim, whatever disturbs it.

    In total deviations; 0 or less: it does nowhere.
    """
    values, group = receiver.values, wanted.group[item]
    disturbed = is_touched(item, receiver.interfering)
    if disturbed and values[UPPER_DB, item] > values[CLEAR_DB, item]:  # stations of its network may join
        return LARGEST_DEVIATION
    inverse, clear_db = np.float32(values[TOTAL_INVERSE, item]), np.float32(values[CLEAR_DB, item])
    taken_db = np.float32(values[TAKEN_DB, item]) if disturbed else ZERO
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    cross_db = np.float32(figures[CROSS_DB + mount, item])
    most = -FARTHEST_OFF
    for number in range(count):
        margin_db = clear_db - lobe_loss(by_aim.squares[stage, group, number], rolloff, floor_db, cross_db)
        left_db = margin_db - taken_db
        left_db *= NARROW if left_db > ZERO else WIDE
        left_db = left_db if left_db < margin_db else margin_db
        deviation = left_db * inverse
        deviation = deviation if deviation < SURE else SURE
        lead = deviation - by_aim.fast[BEST, number]
        most = lead if lead > most else most
    return most


@lean_kernel
def _raise_best(stage, count, item, mount, wanted, figures, receiver, by_aim):
    """Raise row BEST to what a transmitter has at each aim, where that is more; its rows filled."""
    values, group, fast = receiver.values, wanted.group[item], by_aim.fast
    if is_touched(item, receiver.interfering):
        for number in range(count):
            ratio = by_aim.ratio[item, number]
            deviation = by_aim.deviation[item, number] / math.sqrt(ONE + ratio * ratio)
            fast[BEST, number] = deviation if deviation > fast[BEST, number] else fast[BEST, number]
        return
    inverse, clear_db = np.float32(values[TOTAL_INVERSE, item]), np.float32(values[CLEAR_DB, item])
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    cross_db = np.float32(figures[CROSS_DB + mount, item])
    for number in range(count):
        loss_db = lobe_loss(by_aim.squares[stage, group, number], rolloff, floor_db, cross_db)
        deviation = (clear_db - loss_db) * inverse
        fast[BEST, number] = deviation if deviation > fast[BEST, number] else fast[BEST, number]


@inner_kernel
def fill_alternatives(stage, count, mount, figures, other_figures, wanted, pairs, receiver, by_aim):
    """Fill the rows of the transmitters that something disturbs, where one may be a service's best at an aim.

    The likely one first; the others are passed where they are not the best at any of the aims.
    """
    for service in range(wanted.services):
        first, last = wanted.service_start[service], wanted.service_start[service + 1]
        set_row(BEST, count, -SURE, by_aim.fast)
        likely, most = wanted.by_service[first], -LARGEST_DEVIATION
        for position in range(first, last if last > first + 1 else first):
            item = wanted.by_service[position]
            lead = _lead(stage, count, item, mount, wanted, figures, receiver, by_aim)
            if lead > most:
                likely, most = item, lead
        for position in range(first - 1, last):
            item = likely if position < first else wanted.by_service[position]
            if position >= first and item == likely:
                continue
            passed = receiver.deciding.left_out[item]
            if position >= first and not passed:
                passed = _lead(stage, count, item, mount, wanted, figures, receiver, by_aim) <= 0.0
            by_aim.passed[item] = passed
            if passed:
                continue
            if is_touched(item, receiver.interfering):
                fill_interfered(
                    stage, count, item, mount, figures, other_figures, wanted, pairs, receiver, by_aim
                )
            if last > first + 1:
                _raise_best(stage, count, item, mount, wanted, figures, receiver, by_aim)


@lean_kernel
def _better_interfered(count, common, item, deviations, ratios, fast):
    """Raise row DEVIATION_OF to the deviation at a home's common one, where that is greater."""
    for number in range(count):
        deviation = deviations[item, number] + ratios[item, number] * common
        best = fast[DEVIATION_OF, number]
        fast[DEVIATION_OF, number] = deviation if deviation > best else best


@lean_kernel
def _better(stage, count, common, group, item, mount, figures, values, squares, fast):
    """Raise row DEVIATION_OF to a transmitter's deviation at a home's common one, where that is greater."""
    inverse = np.float32(values[APART_INVERSE, item])
    at_aim = np.float32(values[CLEAR_DB, item]) * inverse + np.float32(values[HOME_RATIO, item]) * common
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    cross_db = np.float32(figures[CROSS_DB + mount, item])
    for number in range(count):
        deviation = at_aim - lobe_loss(squares[stage, group, number], rolloff, floor_db, cross_db) * inverse
        best = fast[DEVIATION_OF, number]
        fast[DEVIATION_OF, number] = deviation if deviation > best else best


@lean_kernel
def _count_best(count, every, fast):
    """Add what row DEVIATION_OF says of one service to its site; where not every is needed, to the number."""
    for number in range(count):
        best = fast[DEVIATION_OF, number]
        fast[SHARE_OF, number] = share_above(best)
        fast[WORST, number] = best if best < fast[WORST, number] else fast[WORST, number]
    for number in range(count):
        best, worst = fast[DEVIATION_OF, number], fast[SITE_WORST, number]
        fast[SITE_WORST, number] = best if best < worst else worst
        fast[SITE_FAILED, number] += fast[SHARE_OF, number] * (ONE - fast[SITE_FAILED, number])
    if every:
        return
    for number in range(count):
        fails = fast[SHARE_OF, number]
        fast[MEAN, number] += ONE - fails
        fast[VARIANCE, number] += ALONE * fails * (ONE - fails)
    for number in range(count):
        fails = fast[SHARE_OF, number]
        fast[SPREAD, number] += math.sqrt(fails * (ONE - fails))


@lean_kernel
def _end_site(count, every, fast):
    """Count the services of a site and band, which in part come and go together."""
    if every:
        for number in range(count):
            worst = share_above(fast[SITE_WORST, number])
            fails = TOGETHER * worst + ALONE * fast[SITE_FAILED, number]
            fast[FAILED, number] += fails * (ONE - fast[FAILED, number])
    else:
        for number in range(count):
            fast[VARIANCE, number] += TOGETHER * fast[SPREAD, number] * fast[SPREAD, number]
            fast[SPREAD, number] = ZERO
    set_row(SITE_FAILED, count, ZERO, fast)
    set_row(SITE_WORST, count, FARTHEST_OFF, fast)


@lean_kernel
def _add_number(count, needed, every, weight, rows, fast):
    """Add the chance of at least needed services, or of every one, at one common deviation to row RANK."""
    if every:
        for number in range(count):
            rows[RANK, number] += weight * (1.0 - fast[FAILED, number])
        return
    for number in range(count):
        spare = fast[MEAN, number] - needed + 0.5
        rows[RANK, number] += weight * normal_share(spare / math.sqrt(fast[VARIANCE, number]))


@inner_kernel
def rank_by_services(stage, count, needed, mount, wanted, figures, receiver, by_aim):
    """Rank aims by the number of services: sites' chances multiplied where all are needed.

    Source: normal approximation of the number's distribution at each common deviation, with the half added
        for whole numbers; services of one site and band come and go together in part.
    """
    rows, fast, every = by_aim.rows, by_aim.fast, needed == wanted.services
    set_row(RANK, count, 0.0, rows)
    set_row(WORST, count, FARTHEST_OFF, fast)
    for point in range(by_aim.few_points.shape[1]):
        common = np.float32(by_aim.few_points[POINT, point])
        for row in (FAILED, SITE_FAILED, MEAN, SPREAD):
            set_row(row, count, ZERO, fast)
        set_row(SITE_WORST, count, FARTHEST_OFF, fast)
        set_row(VARIANCE, count, NARROWEST, fast)
        shared = -1
        for position in range(wanted.services):
            service = wanted.service_order[position]
            first = wanted.service_start[service]
            if wanted.shared[wanted.by_service[first]] != shared:
                _end_site(count, every, fast)
                shared = wanted.shared[wanted.by_service[first]]
            set_row(DEVIATION_OF, count, -FARTHEST_OFF, fast)
            for carrier in range(first, wanted.service_start[service + 1]):
                item = wanted.by_service[carrier]
                disturbed = is_touched(item, receiver.interfering)
                if receiver.deciding.left_out[item] or (disturbed and by_aim.passed[item]):
                    continue
                if disturbed:
                    _better_interfered(count, common, item, by_aim.deviation, by_aim.ratio, fast)
                    continue
                group = wanted.group[item]
                _better(
                    stage, count, common, group, item, mount, figures, receiver.values, by_aim.squares, fast
                )
            _count_best(count, every, fast)
        _end_site(count, every, fast)
        _add_number(count, needed, every, by_aim.few_points[WEIGHT, point], rows, fast)
    for number in range(count):
        rows[RANK, number] += TIE_WEIGHT * fast[WORST, number]
