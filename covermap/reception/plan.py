"""One plan at one receiver site: what every service has left at its aims, and the chance of the list."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import lean_kernel
from covermap.reception.budget import (
    CROSS_DB,
    FLOOR_DB,
    ROLLOFF,
    SITE_SHARE,
    WantedTransmitters,
)
from covermap.reception.confidence import (
    APART_INVERSE,
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    DEVIATION_AIMED,
    HOME_PART_AIMED,
    HOME_RATIO,
    INDEX_ROWS,
    INTERFERENCE_DB,
    MARGIN_DB,
    SHARE,
    SITE_PART_AIMED,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
    UPPER_DB,
    VALUE_ROWS,
    needed_confidence,
    pack_services,
)
from covermap.reception.deciding import Deciding, deciding_arrays
from covermap.reception.disturbed import disturb, greatest_deviation
from covermap.reception.interference import (
    PairArrays,
    Pairs,
    pair_arrays,
)
from covermap.reception.normal import integral_points, normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan_columns import (
    AIM_DEG,
    JOINED,
    MOUNT,
    PLAN_COLUMNS,
    SINGLE,
)
from covermap.reception.plan_loss import plan_loss_db


class ReceiverArrays(NamedTuple):
    """Work arrays of one receiver site, made once a thread; rows as covermap.reception.confidence names them.

    values : (VALUE_ROWS + services, W + 1). numbers : (INDEX_ROWS, W + 1)
    points : the integral over what a home's services share
    interfering : of the pairs with other stations. trial : (PLAN_COLUMNS,), the plan looked at
    deciding : the transmitters that decide at every aim of one antenna
    """

    values: NDArray[np.float64]
    numbers: NDArray[np.int64]
    points: NDArray[np.float64]
    interfering: PairArrays
    trial: NDArray[np.float64]
    deciding: Deciding


def receiver_arrays(wanted: WantedTransmitters, pairs: Pairs, heights: int) -> ReceiverArrays:
    """Return empty work arrays for receiver sites and a wanted list."""
    columns = wanted.station.size + 1
    index = np.zeros((INDEX_ROWS, columns), dtype=np.int64)
    if wanted.station.size == wanted.services:  # one transmitter a service: chosen once for all
        index[CHOSEN, wanted.service] = np.arange(wanted.services)
    return ReceiverArrays(
        np.zeros((VALUE_ROWS + wanted.services, columns)),
        index,
        integral_points(),
        pair_arrays(pairs, heights),
        np.zeros(PLAN_COLUMNS),
        deciding_arrays(wanted),
    )


@lean_kernel
def _set_single_margins(count, aim_deg, mount, shift_db, figures, values):
    """Fill each transmitter's margin without interference with one antenna at an aim."""
    for item in range(count):
        loss_db = off_axis_loss_db(
            off_axis_deg(aim_deg, values[BEARING_DEG, item]),
            figures[ROLLOFF, item],
            figures[FLOOR_DB, item],
            figures[CROSS_DB + mount, item],
        )
        values[MARGIN_DB, item] = values[CLEAR_DB, item] + shift_db - loss_db


@lean_kernel
def _set_two_margins(plan, shift_db, figures, wanted, values):
    """Fill each transmitter's margin without interference with two antennas."""
    for item in range(wanted.items[0]):
        loss_db = plan_loss_db(
            plan, wanted.uhf[item], True, values[BEARING_DEG, item], figures[ROLLOFF, item],
            figures[FLOOR_DB, item], figures[CROSS_DB, item], figures[CROSS_DB + 1, item],
        )  # fmt: skip
        values[MARGIN_DB, item] = values[CLEAR_DB, item] + shift_db - loss_db


@lean_kernel
def _set_spreads(count, figures, values):
    """Fill each transmitter's spreads without interference and its margin in total standard deviations."""
    for item in range(count):
        values[TOTAL_DEVIATION, item] = values[MARGIN_DB, item] * values[TOTAL_INVERSE, item]
        values[DEVIATION_AIMED, item] = values[MARGIN_DB, item] * values[APART_INVERSE, item]
        values[HOME_PART_AIMED, item] = values[HOME_RATIO, item]
        values[SITE_PART_AIMED, item] = figures[SITE_SHARE, item]
        values[INTERFERENCE_DB, item] = 0.0


@lean_kernel
def set_undisturbed(plan, shift_db, figures, wanted, values):
    """Fill each transmitter's margin and spreads under a plan as if nothing disturbed; as set_plan."""
    count = wanted.items[0]
    if plan[JOINED] == SINGLE:
        _set_single_margins(count, plan[AIM_DEG], int(plan[MOUNT]), shift_db, figures, values)
    else:
        _set_two_margins(plan, shift_db, figures, wanted, values)
    _set_spreads(count, figures, values)


@lean_kernel
def _choose_disturbed(service, plan, shift_db, figures, other_figures, wanted, pairs, receiver):
    """Choose a service's transmitter most likely received under a plan, what disturbs in its margin.

    The margins of others are left as if nothing disturbed where even so they would not be chosen.
    """
    values, touched = receiver.values, receiver.interfering.touched
    first, last = wanted.service_start[service], wanted.service_start[service + 1]
    likely = wanted.by_service[first]
    for position in range(first + 1, last):
        item = wanted.by_service[position]
        likely = item if values[TOTAL_DEVIATION, item] > values[TOTAL_DEVIATION, likely] else likely
    best, most = likely, -math.inf
    for position in range(first - 1, last):
        item = likely if position < first else wanted.by_service[position]
        if position >= first and (
            item == likely or greatest_deviation(item, shift_db, values, touched) <= most
        ):
            continue
        if touched[item] and values[MARGIN_DB, item] > -math.inf:
            disturb(item, plan, shift_db, figures, other_figures, wanted, pairs, receiver)
        if values[TOTAL_DEVIATION, item] > most:
            best, most = item, values[TOTAL_DEVIATION, item]
    receiver.numbers[CHOSEN, service] = best


@lean_kernel
def set_plan(plan, shift_db, figures, other_figures, wanted, pairs, receiver):
    """Choose each service's transmitter under a plan: its margin in dB and in total standard deviations.

    Row CHOSEN names it. shift_db : by how much every field is raised. figures, other_figures : of the tier as
    the plan joins it
    """
    values, count = receiver.values, wanted.items[0]
    set_undisturbed(plan, shift_db, figures, wanted, values)
    if not receiver.interfering.some[0]:
        choose_transmitters(wanted, values, receiver.numbers)
        return
    if count == wanted.services:
        for item in range(count):
            if receiver.interfering.touched[item] and values[MARGIN_DB, item] > -math.inf:
                disturb(item, plan, shift_db, figures, other_figures, wanted, pairs, receiver)
        return
    for service in range(wanted.services):
        _choose_disturbed(service, plan, shift_db, figures, other_figures, wanted, pairs, receiver)


@lean_kernel
def set_upper(wanted, figures, values):
    """Fill each one's margin as if it stood at the aim, without interference: no plan can do better."""
    for item in range(wanted.items[0]):
        values[MARGIN_DB, item] = values[UPPER_DB, item]
    _set_spreads(wanted.items[0], figures, values)


@lean_kernel
def choose_transmitters(wanted, values, index):
    """Choose for each service the transmitter most likely received at the aim (row CHOSEN)."""
    service, count = wanted.service, wanted.items[0]
    if count == wanted.services:
        return
    for number in range(wanted.services):
        index[CHOSEN, number] = -1
    for item in range(count):
        held = index[CHOSEN, service[item]]
        if held < 0 or values[TOTAL_DEVIATION, item] > values[TOTAL_DEVIATION, held]:
            index[CHOSEN, service[item]] = item


@lean_kernel
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


@lean_kernel
def weakest_service(services, values, index):
    """Return the service with the least chance, its total deviation and the next one's."""
    weakest, least, next_least = 0, np.inf, np.inf
    for number in range(services):
        deviation = values[TOTAL_DEVIATION, index[CHOSEN, number]]
        if deviation < least:
            weakest, least, next_least = number, deviation, least
        elif deviation < next_least:
            next_least = deviation
    return weakest, least, next_least


@lean_kernel
def chance_of_list(needed, wanted, receiver, points):
    """Return the chance of at least needed services with the transmitters chosen at the plan set."""
    groups = pack_services(wanted, receiver.values, receiver.numbers)
    return needed_confidence(needed, groups, receiver.values, receiver.numbers, points)


@lean_kernel
def chance_of_plan(plan, shift_db, needed, figures, other_figures, wanted, pairs, receiver):
    """Return the chance of at least needed services under a plan, every field raised by shift_db."""
    set_plan(plan, shift_db, figures, other_figures, wanted, pairs, receiver)
    return chance_of_list(needed, wanted, receiver, receiver.points)


@lean_kernel
def plan_reaches(confidence, plan, shift_db, needed, figures, other_figures, wanted, pairs, receiver):
    """Return whether chance_of_plan reaches a confidence; quicker where a single service already fails it."""
    set_plan(plan, shift_db, figures, other_figures, wanted, pairs, receiver)
    if chance_bound(wanted.services, needed, receiver.values, receiver.numbers) < confidence:
        return False
    return chance_of_list(needed, wanted, receiver, receiver.points) >= confidence


@lean_kernel
def worst_margin_db(services, needed, values, index):
    """Return the margin of the list: the needed-th best of its services, the worst where all are needed."""
    for number in range(services):
        margin_db = values[MARGIN_DB, index[CHOSEN, number]]
        position = number
        while position > 0 and values[SHARE, position - 1] < margin_db:
            values[SHARE, position] = values[SHARE, position - 1]
            position -= 1
        values[SHARE, position] = margin_db
    return values[SHARE, needed - 1]
