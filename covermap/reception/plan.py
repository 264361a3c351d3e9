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
from covermap.reception.confidence import needed_confidence
from covermap.reception.normal import integral_points, normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db

# Rows of HomeArrays.values, one column a transmitter.
CLEAR_DB = 0  # margin at its own bearing; -inf where the transmitter is unknown
BEARING_DEG = 1
MARGIN_DB = 2  # at the aim
DEVIATION = 3  # the same in total standard deviations
# The rows below hold services, packed in mast order.
PACKED_DEVIATION = 4  # margin in own standard deviations
PACKED_RATIO = 5  # s_c / s_i
SHARES = 6
COUNTS = 7
VALUE_ROWS = 8

# Rows of HomeArrays.index.
GROUP_START = 0  # of each mast's packed services
CHOSEN = 1  # transmitter of each service
INDEX_ROWS = 2


class HomeArrays(NamedTuple):
    """Work arrays of one home, made once a thread: values, whole numbers, points of the integral.

    few_points : a coarse integral, for ranking aims
    """

    values: NDArray[np.float64]
    index: NDArray[np.int64]
    points: NDArray[np.float64]
    few_points: NDArray[np.float64]


def home_arrays(wanted: WantedTransmitters) -> HomeArrays:
    """Return work arrays for homes and a wanted list."""
    columns = wanted.station.size + 1
    index = np.zeros((INDEX_ROWS, columns), dtype=np.int64)
    if wanted.station.size == wanted.services:  # one transmitter a service: chosen once for all
        index[CHOSEN, wanted.service] = np.arange(wanted.services)
    return HomeArrays(np.zeros((VALUE_ROWS, columns)), index, integral_points(), integral_points(3))


@kernel
def set_aim(aim_deg, mount, figures, home):
    """Fill each transmitter's margin at an aim, in dB and in total standard deviations."""
    for item in range(figures.shape[1]):
        loss_db = off_axis_loss_db(
            off_axis_deg(aim_deg, home.values[BEARING_DEG, item]),
            figures[ROLLOFF, item],
            figures[FLOOR_DB, item],
            figures[CROSS_DB + mount, item],
        )
        margin_db = home.values[CLEAR_DB, item] - loss_db
        home.values[MARGIN_DB, item] = margin_db
        home.values[DEVIATION, item] = margin_db * figures[TOTAL_INVERSE, item]


@kernel
def set_clear(figures, home):
    """Fill each transmitter's margin as if every one stood at the aim: no plan can do better."""
    for item in range(figures.shape[1]):
        home.values[MARGIN_DB, item] = home.values[CLEAR_DB, item]
        home.values[DEVIATION, item] = home.values[CLEAR_DB, item] * figures[TOTAL_INVERSE, item]


@kernel
def choose_transmitters(wanted, home):
    """Choose for each service the transmitter most likely received at the aim (row CHOSEN)."""
    service = wanted.service
    if service.size == wanted.services:
        return
    home.index[CHOSEN, : wanted.services] = -1
    for item in range(service.size):
        held = home.index[CHOSEN, service[item]]
        if held < 0 or home.values[DEVIATION, item] > home.values[DEVIATION, held]:
            home.index[CHOSEN, service[item]] = item


@kernel
def least_deviation(services, home):
    """Return the smallest chosen margin in total standard deviations: it bounds the chance of all."""
    least = home.values[DEVIATION, home.index[CHOSEN, 0]]
    for number in range(1, services):
        deviation = home.values[DEVIATION, home.index[CHOSEN, number]]
        least = deviation if deviation < least else least
    return least


@kernel
def chance_bound(services, needed, home):
    """Return a number that the chance of needed services cannot exceed, cheaper than the chance itself.

    Source: all: the least of the single chances; at least k: Markov's inequality, their sum over k.
    """
    if needed == services:
        return normal_share(least_deviation(services, home))
    total = 0.0
    for number in range(services):
        total += normal_share(home.values[DEVIATION, home.index[CHOSEN, number]])
    return min(1.0, total / needed)


@kernel
def pack_services(wanted, figures, home):
    """Pack the chosen transmitters' margins and shared parts in mast order; return the number of masts."""
    mast, service = wanted.mast, wanted.service
    packed = 0
    groups = 0
    previous = -1
    for item in range(service.size):
        if home.index[CHOSEN, service[item]] != item:
            continue
        if mast[item] != previous:
            home.index[GROUP_START, groups] = packed
            previous = mast[item]
            groups += 1
        home.values[PACKED_DEVIATION, packed] = home.values[MARGIN_DB, item] * figures[OWN_INVERSE, item]
        home.values[PACKED_RATIO, packed] = figures[COMMON_RATIO, item]
        packed += 1
    home.index[GROUP_START, groups] = packed
    return groups


@kernel
def chance_of_list(needed, wanted, figures, home, points):
    """Return the chance of at least needed services with the transmitters chosen at the aim set.

    points : of integral_points
    """
    masts = pack_services(wanted, figures, home)
    return needed_confidence(
        home.values[PACKED_DEVIATION],
        home.values[PACKED_RATIO],
        home.index[GROUP_START],
        masts,
        needed,
        points,
        home.values[SHARES],
        home.values[COUNTS],
    )


@kernel
def worst_margin_db(services, needed, home):
    """Return the margin of the list: the needed-th best of its services, the worst where all are needed."""
    if needed == services:
        worst_db = np.inf
        for number in range(services):
            worst_db = min(worst_db, home.values[MARGIN_DB, home.index[CHOSEN, number]])
        return worst_db
    for number in range(services):
        margin_db = home.values[MARGIN_DB, home.index[CHOSEN, number]]
        place = number
        while place > 0 and home.values[SHARES, place - 1] < margin_db:
            home.values[SHARES, place] = home.values[SHARES, place - 1]
            place -= 1
        home.values[SHARES, place] = margin_db
    return home.values[SHARES, needed - 1]
