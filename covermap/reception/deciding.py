"""Which transmitters at a receiver decide at every aim of one antenna, found once for an installation."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF, SITE_SHARE, WantedTransmitters
from covermap.reception.confidence import (
    APART_INVERSE,
    CLEAR_DB,
    FARTHEST,
    HOME_RATIO,
    TOTAL_INVERSE,
    UPPER_DB,
)
from covermap.reception.extremes import HOME_OF, MEAN_OF, PARTS, SITE_OF, VARIANCE_OF, take_lesser
from covermap.reception.interference import OVER_NOISE_DB
from covermap.reception.spreads import LEAST_SPREAD, MOST_SPREAD

# Rows of Deciding.values, one column a transmitter: PARTS, and the least of their margins before any loss.
LEAST_DB = PARTS
# Of each site and band at an aim: mean and home's part in its own deviations.
SITE_MEAN = PARTS + 1
SITE_HOME = PARTS + 2
DECIDING_ROWS = PARTS + 3

# Rows of Deciding.groups, one column a group: PARTS of the worst so far, of one more, and two to work with.
WORST_SO_FAR = 0
ONE_MORE = PARTS
SPARE = 2 * PARTS
GROUP_ROWS = 2 * PARTS + 2
FAR_OFF = 2.0 * FARTHEST  # of a group without one more
VECTOR = 8  # columns are a multiple of these: a remainder would be worked out one by one

ALL, ANY = 1.0, -1.0  # signs: all services are needed, or one
NOT_FILLED = 0.0

# Places of Deciding.state: for which sign it is filled, how far the transmitters of each group are alike, and
# whether one of each service decides.
SIGN, LIKENESS, ONE_EACH = 0, 1, 2
UNKNOWN, APART, CLOSE, ALIKE = -1.0, 0.0, 1.0, 2.0
CERTAIN = 8.0  # deviations: a service received whichever transmitter brings it
SPREADS_ALIKE, SPREADS_CLOSE = 0.003, 0.03  # share by which their spreads differ at most


class Deciding(NamedTuple):
    """The transmitters that decide, where each service has one and all (sign 1) or one (sign -1) are needed.

    item : (W + 1,), of each group the worst one without interference, and every one with it; -1 behind the
        last
    values : (DECIDING_ROWS, W), what stands for a group's ones without interference, at its worst
    groups : (GROUP_ROWS, G or more), to work with
    worst : (G,), each group's worst transmitter without interference
    left_out : bool (W,), of leave_out_others. state : (3,), places as named above
    """

    item: NDArray[np.int64]
    values: NDArray[np.float64]
    groups: NDArray[np.float64]
    worst: NDArray[np.int64]
    left_out: NDArray[np.bool_]
    state: NDArray[np.float64]


def deciding_arrays(wanted: WantedTransmitters) -> Deciding:
    """Return them for a wanted list, not filled."""
    count, groups = wanted.items[0], wanted.groups[0]
    return Deciding(
        np.full(count + 1, -1),
        np.empty((DECIDING_ROWS, count)),
        np.ones((GROUP_ROWS, -(-groups // VECTOR) * VECTOR)),
        np.empty(groups, np.int64),
        np.zeros(count, np.bool_),
        np.array([NOT_FILLED, UNKNOWN, 0.0]),
    )


@lean_kernel
def forget_deciding(deciding):
    """Note that margins, spreads or interference of the receiver site are others now."""
    deciding.state[SIGN] = NOT_FILLED
    deciding.state[LIKENESS] = UNKNOWN


@lean_kernel
def aside_db(item, figures):
    """Return what the antenna takes at most from a transmitter, when it looks away."""
    cross_db = max(figures[CROSS_DB, item], figures[CROSS_DB + 1, item])
    return max(figures[FLOOR_DB, item], cross_db)


@lean_kernel
def undisturbed_least(item, figures, values):
    """Return what least_deviation does if nothing disturbs: a number that it does not exceed."""
    return (values[CLEAR_DB, item] - aside_db(item, figures)) * values[TOTAL_INVERSE, item]


@lean_kernel
def least_deviation(item, figures, pairs, receiver):
    """Return a number that no aim brings a transmitter's margin below, in total deviations.

    Where the antenna looks away, and everything that disturbs is heard at full strength.
    """
    values, interfering = receiver.values, receiver.interfering
    margin_db, spread = values[CLEAR_DB, item] - aside_db(item, figures), 1.0
    if is_touched(item, interfering):
        disturbed = 1.0
        for pair in range(pairs.start[item], pairs.start[item + 1]):
            disturbed += exp2(LOG2_OF_DB * interfering.values[OVER_NOISE_DB, pair])
        margin_db -= DB_OF_LOG2 * log2_positive(disturbed)
        spread = MOST_SPREAD if margin_db > 0.0 else LEAST_SPREAD
    return margin_db * values[TOTAL_INVERSE, item] / spread


@lean_kernel
def leave_out_others(wanted, figures, pairs, receiver):
    """Note transmitters that are never a service's best, whatever the aim; return if one of each is left."""
    left_out, one_each = receiver.deciding.left_out, True
    left_out[:] = False
    if wanted.items[0] == wanted.services:
        return one_each
    for service in range(wanted.services):
        first, last = wanted.service_start[service], wanted.service_start[service + 1]
        if last == first + 1:
            continue
        best, most = wanted.by_service[first], -math.inf
        for position in range(first, last):  # what disturbs comes later, where it still may decide
            least = undisturbed_least(wanted.by_service[position], figures, receiver.values)
            if least > most:
                best, most = wanted.by_service[position], least
        most = least_deviation(best, figures, pairs, receiver)
        for position in range(first, last):
            item = wanted.by_service[position]
            if item != best and undisturbed_least(item, figures, receiver.values) > most:
                least = least_deviation(item, figures, pairs, receiver)
                if least > most:
                    best, most = item, least
        for position in range(first, last):
            item = wanted.by_service[position]
            upper = receiver.values[UPPER_DB, item] * receiver.values[TOTAL_INVERSE, item]
            left_out[item] = item != best and (upper < most or most > CERTAIN)
            one_each = one_each and (item == best or left_out[item])
    return one_each


@lean_kernel
def likeness(wanted, figures, receiver):
    """Return how far an aim takes as much from all transmitters of a group: APART, CLOSE or ALIKE.

    Of one mast, band and polarization they differ where a tier's antenna is known by frequency, and where
    one path is obstructed and another is not.
    """
    values, found = receiver.values, ALIKE
    for group in range(wanted.groups[0]):
        first = wanted.group_start[group]
        for item in range(first + 1, wanted.group_start[group + 1]):
            if receiver.deciding.left_out[item] or receiver.deciding.left_out[first]:
                continue
            ratio = abs(values[APART_INVERSE, item] / values[APART_INVERSE, first] - 1.0)
            found = min(found, CLOSE) if ratio > SPREADS_ALIKE else found
            apart = ratio > SPREADS_CLOSE
            for row in (ROLLOFF, FLOOR_DB, CROSS_DB, CROSS_DB + 1):
                apart = apart or figures[row, item] != figures[row, first]
            if apart:
                return APART
    return found


@lean_kernel
def look_at_list(wanted, figures, pairs, receiver):
    """Fill what is known of the list with the installation set, if it is not yet."""
    state = receiver.deciding.state
    if state[LIKENESS] == UNKNOWN:
        state[ONE_EACH] = 1.0 if leave_out_others(wanted, figures, pairs, receiver) else 0.0
        state[LIKENESS] = likeness(wanted, figures, receiver) if state[ONE_EACH] == 1.0 else APART


@lean_kernel
def is_coarse(needed, wanted, receiver):
    """Return whether ranks only say where to look: some services are enough, or one has alternatives.

    look_at_list called before.
    """
    return 1 < needed < wanted.services or receiver.deciding.state[ONE_EACH] == 0.0


@lean_kernel
def is_touched(item, interfering):
    """Return whether anything that counts disturbs a transmitter."""
    return interfering.some[0] and interfering.touched[item]


@lean_kernel
def _set_column(row, group, sign, item, figures, values, rows):
    """Fill a group's PARTS rows with one transmitter's, undisturbed and before any loss."""
    deviation = values[CLEAR_DB, item] * values[APART_INVERSE, item]
    rows[row + MEAN_OF, group] = sign * min(FARTHEST, max(-FARTHEST, deviation))
    rows[row + VARIANCE_OF, group] = 1.0
    rows[row + HOME_OF, group] = values[HOME_RATIO, item]
    rows[row + SITE_OF, group] = figures[SITE_SHARE, item]


@lean_kernel
def _start_groups(sign, wanted, figures, receiver):
    """Fill each group's worst undisturbed transmitter, -1 for none; return the size of the largest group."""
    deciding, values, largest = receiver.deciding, receiver.values, 0
    for group in range(wanted.groups[0]):
        worst, least, least_db = -1, math.inf, math.inf
        first, last = wanted.group_start[group], wanted.group_start[group + 1]
        for item in range(first, last):
            if not (deciding.left_out[item] or is_touched(item, receiver.interfering)):
                deviation = sign * values[CLEAR_DB, item] * values[APART_INVERSE, item]
                least_db = min(least_db, sign * values[CLEAR_DB, item])
                if worst < 0 or deviation < least:
                    worst, least = item, deviation
        deciding.worst[group] = worst
        _set_column(
            WORST_SO_FAR, group, sign, first if worst < 0 else worst, figures, values, deciding.groups
        )
        if worst >= 0:
            deciding.values[LEAST_DB, worst] = least_db
        largest = max(largest, last - first)
    return largest


@lean_kernel
def choose_deciding(sign, wanted, figures, receiver):
    """Choose the transmitters that decide at every aim, in order of site and band, if they are not yet.

    An aim takes as much from every transmitter of a group without interference, so that the worst (sign 1)
    or best (sign -1) of them is worked out once, before any loss, and stands for all: in all groups at once,
    one more transmitter of each after another.
    """
    deciding, values = receiver.deciding, receiver.values
    if deciding.state[SIGN] == sign:
        return
    deciding.state[SIGN] = sign
    groups = wanted.groups[0]
    for position in range(_start_groups(sign, wanted, figures, receiver)):
        some = False
        for group in range(groups):
            item = wanted.group_start[group] + position
            item += 1 if 0 <= deciding.worst[group] <= item else 0
            more = item < wanted.group_start[group + 1]
            more = more and not (deciding.left_out[item] or is_touched(item, receiver.interfering))
            some = some or more
            item = item if more else wanted.group_start[group]
            _set_column(ONE_MORE, group, sign, item, figures, values, deciding.groups)
            if not more:
                deciding.groups[ONE_MORE + MEAN_OF, group] = FAR_OFF
        if some:
            take_lesser(-(-groups // VECTOR) * VECTOR, WORST_SO_FAR, ONE_MORE, SPARE, deciding.groups)
    count = 0
    for group in range(groups):
        for item in range(wanted.group_start[group], wanted.group_start[group + 1]):
            if is_touched(item, receiver.interfering) and not deciding.left_out[item]:
                deciding.item[count] = item
                count += 1
        worst = deciding.worst[group]
        if worst >= 0:
            for part in range(PARTS):
                deciding.values[part, worst] = deciding.groups[WORST_SO_FAR + part, group]
            deciding.item[count] = worst
            count += 1
    deciding.item[count] = -1
