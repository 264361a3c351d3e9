"""Groups of transmitters that only neighbours on their own mast disturb: an aim's loss tells all of them.

What disturbs then loses at an aim what is disturbed loses. So the worst of such a group is worked out at a
few losses, once an installation, instead of at every aim.
"""

import math

import numpy as np

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import vector_formula
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import CLEAR_DB
from covermap.reception.deciding import APART, LIKENESS, is_touched
from covermap.reception.interference import (
    NETWORK,
    OTHER_CROSS_DB,
    OTHER_FLOOR_DB,
    OTHER_ROLLOFF,
    ROLE,
    SILENT,
)
from covermap.reception.search_arrays import DEVIATION_OF, HOME_PART_OF, LOSS_STEPS, LOSSES
from covermap.reception.single_precision import HALF, ONE, lobe_loss

LAST = LOSS_STEPS - 1
LAST_STEP = np.float32(LAST)


@lean_kernel
def _is_neighbour(item, pair, figures, other_figures, pairs):
    """Return whether an antenna takes as much from a pair's other station as from the transmitter."""
    station = pairs.station[pair]
    same = pairs.alike[pair] and other_figures[OTHER_ROLLOFF, station] == figures[ROLLOFF, item]
    same = same and other_figures[OTHER_FLOOR_DB, station] == figures[FLOOR_DB, item]
    for mount in range(2):
        same = same and other_figures[OTHER_CROSS_DB + mount, station] == figures[CROSS_DB + mount, item]
    return same


@lean_kernel
def _follows(group, wanted, figures, other_figures, pairs, receiver):
    """Return whether a group, alone in its site and band, is disturbed, and by neighbours alone."""
    first, last = wanted.group_start[group], wanted.group_start[group + 1]
    if receiver.deciding.state[LIKENESS] == APART:
        return False
    if first > 0 and wanted.shared[first - 1] == wanted.shared[first]:
        return False
    if last < wanted.items[0] and wanted.shared[last] == wanted.shared[first]:
        return False
    some = False
    for item in range(first, last):
        if receiver.deciding.left_out[item] or not is_touched(item, receiver.interfering):
            continue
        some = True
        if receiver.values[CLEAR_DB, item] == -math.inf:
            return False
        for pair in range(pairs.start[item], pairs.start[item + 1]):
            role = receiver.interfering.values[ROLE, pair]
            if role == NETWORK or (
                role != SILENT and not _is_neighbour(item, pair, figures, other_figures, pairs)
            ):
                return False
    return some


@lean_kernel
def fill_follows(coarse, wanted, figures, other_figures, pairs, receiver, by_aim):
    """Fill for each group whether its loss tells all of it, the installation set, and its angles of LOSSES.

    coarse : of is_coarse; then none does
    """
    some = receiver.interfering.some[0] and not coarse
    for group in range(wanted.groups[0]):
        by_aim.follows[group] = some and _follows(group, wanted, figures, other_figures, pairs, receiver)
        if by_aim.follows[group]:
            item = wanted.group_start[group]
            rolloff, floor_db = figures[ROLLOFF, item], figures[FLOOR_DB, item]
            step = floor_db / (rolloff * LAST) if rolloff > 0.0 else 0.0
            for number in range(LOSS_STEPS):
                by_aim.squares[LOSSES, group, number] = number * step


@vector_formula
def between(low, middle, high, share):
    """Return the value share steps behind the first of three, on the parabola through them."""
    return low + share * ((middle - low) + HALF * (share - ONE) * (low - middle - middle + high))


@lean_kernel
def set_site_by_loss(stage, count, group, item, figures, by_aim):
    """Fill rows DEVIATION_OF and HOME_PART_OF of a group's site at each aim, between those of LOSSES."""
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    none, by_step = np.float32(0.0), np.float32(0.0)
    if floor_db > none:
        by_step = LAST_STEP / floor_db
    squares, table, fast = by_aim.squares, by_aim.by_loss, by_aim.fast
    for row in (DEVIATION_OF, HOME_PART_OF):
        for number in range(count):
            step = lobe_loss(squares[stage, group, number], rolloff, floor_db, none) * by_step
            before = min(int(step), LAST - 2)
            fast[row, number] = between(
                table[row, group, before], table[row, group, before + 1], table[row, group, before + 2],
                step - np.float32(before),
            )  # fmt: skip
