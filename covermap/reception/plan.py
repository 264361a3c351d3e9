"""One plan at one home: what every service has left at an aim, and the chance of the list."""

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
    TOTAL_INVERSE,
    WantedTransmitters,
)
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    COMMON_PART,
    DEVIATION,
    GROUP_START,
    INDEX_ROWS,
    MARGIN_DB,
    SHARE,
    TOTAL_DEVIATION,
    VALUE_ROWS,
    needed_confidence,
)
from covermap.reception.normal import integral_points, normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db


class HomeArrays(NamedTuple):
    """Work arrays of one home, made once a thread; rows as covermap.reception.confidence names them.

    values : (VALUE_ROWS, W + 1). numbers : (INDEX_ROWS, W + 1)
    points : the integral over what a home's services share; few_points : a coarse one, for ranking aims
    """

    values: NDArray[np.float64]
    numbers: NDArray[np.int64]
    points: NDArray[np.float64]
    few_points: NDArray[np.float64]


def home_arrays(wanted: WantedTransmitters) -> HomeArrays:
    """Return empty work arrays for homes and a wanted list."""
    columns = wanted.station.size + 1
    index = np.zeros((INDEX_ROWS, columns), dtype=np.int64)
    if wanted.station.size == wanted.services:  # one transmitter a service: chosen once for all
        index[CHOSEN, wanted.service] = np.arange(wanted.services)
    return HomeArrays(np.zeros((VALUE_ROWS, columns)), index, integral_points(), integral_points(3))


@kernel
def set_aim(aim_deg, mount, figures, values):
    """Fill each transmitter's margin at an aim, in dB and in total standard deviations."""
    for item in range(figures.shape[1]):
        loss_db = off_axis_loss_db(
            off_axis_deg(aim_deg, values[BEARING_DEG, item]),
            figures[ROLLOFF, item],
            figures[FLOOR_DB, item],
            figures[CROSS_DB + mount, item],
        )
        margin_db = values[CLEAR_DB, item] - loss_db
        values[MARGIN_DB, item] = margin_db
        values[TOTAL_DEVIATION, item] = margin_db * figures[TOTAL_INVERSE, item]


@kernel
def set_clear(figures, values):
    """Fill each transmitter's margin as if every one stood at the aim: no plan can do better."""
    for item in range(figures.shape[1]):
        margin_db = values[CLEAR_DB, item]
        values[MARGIN_DB, item] = margin_db
        values[TOTAL_DEVIATION, item] = margin_db * figures[TOTAL_INVERSE, item]


@kernel
def choose_transmitters(wanted, values, index):
    """Choose for each service the transmitter most likely received at the aim (row CHOSEN)."""
    service = wanted.service
    if service.size == wanted.services:
        return
    for number in range(wanted.services):
        index[CHOSEN, number] = -1
    for item in range(service.size):
        held = index[CHOSEN, service[item]]
        if held < 0 or values[TOTAL_DEVIATION, item] > values[TOTAL_DEVIATION, held]:
            index[CHOSEN, service[item]] = item


@kernel
def chance_bound(services, needed, values, index):
    """Return a number that the chance of needed services cannot exceed, cheaper than the chance itself.

    Source: all: the least of the single chances; at least k: Markov's inequality, their sum over k.
    """
    least = np.inf
    total = 0.0
    for number in range(services):
        deviation = values[TOTAL_DEVIATION, index[CHOSEN, number]]
        least = deviation if deviation < least else least
        if needed < services:
            total += normal_share(deviation)
    return normal_share(least) if needed == services else min(1.0, total / needed)


@kernel
def pack_services(wanted, figures, values, index):
    """Pack the chosen transmitters' margins and shared parts in mast order; return the number of masts."""
    mast, service = wanted.mast, wanted.service
    packed = 0
    groups = 0
    previous = -1
    for item in range(service.size):
        if index[CHOSEN, service[item]] != item:
            continue
        if mast[item] != previous:
            index[GROUP_START, groups] = packed
            previous = mast[item]
            groups += 1
        values[DEVIATION, packed] = values[MARGIN_DB, item] * figures[OWN_INVERSE, item]
        values[COMMON_PART, packed] = figures[COMMON_RATIO, item]
        packed += 1
    index[GROUP_START, groups] = packed
    return groups


@kernel
def chance_of_list(needed, wanted, figures, values, index, points):
    """Return the chance of at least needed services with the transmitters chosen at the aim set."""
    groups = pack_services(wanted, figures, values, index)
    return needed_confidence(needed, groups, values, index, points)


@kernel
def worst_margin_db(services, needed, values, index):
    """Return the margin of the list: the needed-th best of its services, the worst where all are needed."""
    for number in range(services):
        margin_db = values[MARGIN_DB, index[CHOSEN, number]]
        place = number
        while place > 0 and values[SHARE, place - 1] < margin_db:
            values[SHARE, place] = values[SHARE, place - 1]
            place -= 1
        values[SHARE, place] = margin_db
    return values[SHARE, needed - 1]
