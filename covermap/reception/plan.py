"""One plan at one receiver site: what every service has left at its aims, and the chance of the list."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
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
from covermap.reception.interference import (
    FAINTEST_DB,
    HARM,
    HELP,
    NETWORK,
    OTHER_CROSS_DB,
    OTHER_FLOOR_DB,
    OTHER_ROLLOFF,
    OVER_NEED_DB,
    OVER_NOISE_DB,
    PAIR_BEARING_DEG,
    ROLE,
    SILENT,
    PairArrays,
    Pairs,
    pair_arrays,
)
from covermap.reception.network import best_window
from covermap.reception.normal import integral_points, normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan_columns import (
    AIM_DEG,
    COMBINED,
    DIPLEXED,
    JOINED,
    MOUNT,
    PLAN_COLUMNS,
    SECOND_DEG,
    SECOND_MOUNT,
    SINGLE,
)
from covermap.reception.spreads import spread_with


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
def combined_loss_db(loss_db, other_db, wanted):
    """Return what two combined antennas lose of a signal, in dB; inf where both hear a wanted one alike.

    loss_db, other_db : of each antenna. wanted : True takes the worst phase, False (an interfering signal)
    the strongest sum.

    Source: sum and difference of two voltages, x dB apart: 20 log(1 -+ 10^(-x/20)). Accuracy: exact bound.
    """
    apart_db = abs(loss_db - other_db)
    voltage = exp2(LOG2_OF_DB * -0.5 * apart_db)
    ripple = 1.0 - voltage if wanted else 1.0 + voltage
    least_db = loss_db if loss_db < other_db else other_db
    return least_db - 2.0 * DB_OF_LOG2 * log2_positive(ripple) if ripple > 0.0 else math.inf


@lean_kernel
def plan_loss_db(plan, uhf, wanted, bearing_deg, rolloff, floor_db, cross_h_db, cross_v_db):
    """Return what a plan's antennas lose of a signal against one antenna aimed at it, in dB.

    uhf : which antenna a diplexer takes it from. wanted : as combined_loss_db.
    """
    joined = plan[JOINED]
    first = joined != DIPLEXED or not uhf
    cross_db = cross_v_db if plan[MOUNT if first else SECOND_MOUNT] == 1.0 else cross_h_db
    angle_deg = off_axis_deg(plan[AIM_DEG if first else SECOND_DEG], bearing_deg)
    loss_db = off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db)
    if joined != COMBINED:
        return loss_db
    cross_db = cross_v_db if plan[SECOND_MOUNT] == 1.0 else cross_h_db
    angle_deg = off_axis_deg(plan[SECOND_DEG], bearing_deg)
    return combined_loss_db(loss_db, off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db), wanted)


@lean_kernel
def pair_powers(pair, other, shift_db, plan, uhf, other_figures, values):
    """Fill what a pair with another station brings under a plan: as interference (HARM) and, of a network,
    as signal (HELP).
    """
    role = values[ROLE, pair]
    over_db = values[OVER_NOISE_DB, pair] + shift_db
    values[HARM, pair] = 0.0
    values[HELP, pair] = 0.0
    if role == SILENT or (role != NETWORK and over_db < FAINTEST_DB):
        return
    for wanted in range(2 if role == NETWORK else 1):
        loss_db = plan_loss_db(
            plan, uhf, wanted == 1, values[PAIR_BEARING_DEG, pair], other_figures[OTHER_ROLLOFF, other],
            other_figures[OTHER_FLOOR_DB, other], other_figures[OTHER_CROSS_DB, other],
            other_figures[OTHER_CROSS_DB + 1, other],
        )  # fmt: skip
        if wanted == 1:
            values[HELP, pair] = exp2(LOG2_OF_DB * (values[OVER_NEED_DB, pair] + shift_db - loss_db))
        else:
            values[HARM, pair] = exp2(LOG2_OF_DB * (over_db - loss_db))


@lean_kernel
def interfered(item, margin_db, shift_db, plan, uhf, other_figures, pairs, interfering):
    """Return a transmitter's margin with what its pairs add and disturb, and with what they add alone, in dB,
    and interference's share of noise and interference, 0 to 1, in all and from its own site and band.

    Source: powers of interference, each less its protection ratio, added to the noise; powers of a
        single-frequency network inside its window added to the signal. Common practice, no source.
    """
    interference, alike, joined_db = 0.0, 0.0, margin_db
    network = False
    for pair in range(pairs.start[item], pairs.start[item + 1]):
        pair_powers(pair, pairs.station[pair], shift_db, plan, uhf, other_figures, interfering.values)
        if interfering.values[ROLE, pair] == NETWORK:
            network = True
        else:
            interference += interfering.values[HARM, pair]
            alike += interfering.values[HARM, pair] if pairs.shared[pair] else 0.0
    if network:
        signal = exp2(LOG2_OF_DB * margin_db)
        signal, interference = best_window(item, signal, interference, pairs, interfering)
        joined_db = DB_OF_LOG2 * log2_positive(signal)
    over = 1.0 + interference
    return joined_db - DB_OF_LOG2 * log2_positive(over), joined_db, interference / over, alike / over


@lean_kernel
def _set_single_margins(aim_deg, mount, shift_db, figures, values):
    """Fill each transmitter's margin without interference with one antenna at an aim."""
    for item in range(figures.shape[1]):
        loss_db = off_axis_loss_db(
            off_axis_deg(aim_deg, values[BEARING_DEG, item]),
            figures[ROLLOFF, item],
            figures[FLOOR_DB, item],
            figures[CROSS_DB + mount, item],
        )
        values[MARGIN_DB, item] = values[CLEAR_DB, item] + shift_db - loss_db


@lean_kernel
def _set_two_margins(plan, shift_db, figures, uhf, values):
    """Fill each transmitter's margin without interference with two antennas."""
    for item in range(figures.shape[1]):
        loss_db = plan_loss_db(
            plan, uhf[item], True, values[BEARING_DEG, item], figures[ROLLOFF, item],
            figures[FLOOR_DB, item], figures[CROSS_DB, item], figures[CROSS_DB + 1, item],
        )  # fmt: skip
        values[MARGIN_DB, item] = values[CLEAR_DB, item] + shift_db - loss_db


@lean_kernel
def _set_spreads(figures, values):
    """Fill each transmitter's spreads without interference and its margin in total standard deviations."""
    for item in range(figures.shape[1]):
        values[TOTAL_DEVIATION, item] = values[MARGIN_DB, item] * values[TOTAL_INVERSE, item]
        values[DEVIATION_AIMED, item] = values[MARGIN_DB, item] * values[APART_INVERSE, item]
        values[HOME_PART_AIMED, item] = values[HOME_RATIO, item]
        values[SITE_PART_AIMED, item] = figures[SITE_SHARE, item]
        values[INTERFERENCE_DB, item] = 0.0


@lean_kernel
def disturb(item, plan, shift_db, figures, other_figures, wanted, pairs, receiver):
    """Bring what its pairs add and disturb into a transmitter's margin under a plan and into its spreads.

    Row MARGIN_DB filled for it as if nothing disturbed; arguments as set_plan.
    """
    values, alone_db = receiver.values, receiver.values[MARGIN_DB, item]
    margin_db, joined_db, share, alike = interfered(
        item, alone_db, shift_db, plan, wanted.uhf[item], other_figures, pairs, receiver.interfering
    )
    inverse, home_part, site_part = spread_with(share, alike, item, figures, values)
    values[MARGIN_DB, item] = margin_db
    values[INTERFERENCE_DB, item] = alone_db - margin_db
    # interference never helps, though a spread that cancels out in part may seem to
    together = math.sqrt(1.0 + home_part * home_part)
    deviation = min(margin_db * inverse, joined_db * values[TOTAL_INVERSE, item] * together)
    values[TOTAL_DEVIATION, item] = deviation / together
    values[DEVIATION_AIMED, item] = deviation
    values[HOME_PART_AIMED, item] = home_part
    values[SITE_PART_AIMED, item] = site_part


@lean_kernel
def set_plan(plan, shift_db, figures, other_figures, wanted, pairs, receiver):
    """Fill each transmitter's margin under a plan, in dB and in total standard deviations.

    shift_db : by how much every field is raised. figures, other_figures : of the tier as the plan joins it
    """
    values = receiver.values
    if plan[JOINED] == SINGLE:
        _set_single_margins(plan[AIM_DEG], int(plan[MOUNT]), shift_db, figures, values)
    else:
        _set_two_margins(plan, shift_db, figures, wanted.uhf, values)
    _set_spreads(figures, values)
    if not receiver.interfering.some[0]:
        return
    for item in range(wanted.station.size):
        if receiver.interfering.touched[item] and values[MARGIN_DB, item] > -math.inf:
            disturb(item, plan, shift_db, figures, other_figures, wanted, pairs, receiver)


@lean_kernel
def set_upper(figures, values):
    """Fill each one's margin as if it stood at the aim, without interference: no plan can do better."""
    for item in range(figures.shape[1]):
        values[MARGIN_DB, item] = values[UPPER_DB, item]
    _set_spreads(figures, values)


@lean_kernel
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
    choose_transmitters(wanted, receiver.values, receiver.numbers)
    return chance_of_list(needed, wanted, receiver, receiver.points)


@lean_kernel
def plan_reaches(confidence, plan, shift_db, needed, figures, other_figures, wanted, pairs, receiver):
    """Return whether chance_of_plan reaches a confidence; quicker where a single service already fails it."""
    set_plan(plan, shift_db, figures, other_figures, wanted, pairs, receiver)
    choose_transmitters(wanted, receiver.values, receiver.numbers)
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
