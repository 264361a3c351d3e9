"""The search for the best plan of two antennas: combined, or one a band behind a diplexer."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_search import keep_better
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF, WantedTransmitters
from covermap.reception.confidence import BEARING_DEG, TOTAL_INVERSE, UPPER_DB
from covermap.reception.normal import normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan import (
    chance_bound,
    chance_of_list,
    choose_transmitters,
    set_plan,
    set_upper,
    worst_margin_db,
)
from covermap.reception.plan_columns import (
    AIM_DEG,
    CHANCE,
    COMBINED,
    DIPLEXED,
    JOINED,
    MOUNT,
    SECOND_DEG,
    SECOND_MOUNT,
)


class AimArrays(NamedTuple):
    """Work arrays of the search, made once a thread: the C aims tried for each antenna.

    aim_deg, mount : (C,). loss_db : (C, W), what each aim takes from each transmitter
    share : (C, services), the chance of each service at each aim, ripple and interference left out
    alone : (W,), that of each transmitter
    """

    aim_deg: NDArray[np.float64]
    mount: NDArray[np.float64]
    loss_db: NDArray[np.float64]
    share: NDArray[np.float64]
    alone: NDArray[np.float64]


def aim_arrays(wanted: WantedTransmitters) -> AimArrays:
    """Return work arrays for the bearings of a list's masts, the bisectors between them, and every mount."""
    masts = np.unique(wanted.site).size
    count = 2 * masts * wanted.mounts.size
    return AimArrays(
        np.empty(count),
        np.empty(count),
        np.empty((count, wanted.station.size)),
        np.empty((count, wanted.services)),
        np.empty(wanted.station.size),
    )


@inner_kernel
def _fill_bearings(wanted, values, work):
    """Fill the first aims with the bearings of the list's masts in rising order; return how many."""
    count = 0
    for item in range(wanted.site.size):
        if item > 0 and wanted.site[item] == wanted.site[item - 1]:
            continue
        bearing_deg = float(math.floor(values[BEARING_DEG, item] + 0.5)) % 360.0
        position = count
        while position > 0 and work.aim_deg[position - 1] > bearing_deg:
            work.aim_deg[position] = work.aim_deg[position - 1]
            position -= 1
        work.aim_deg[position] = bearing_deg
        count += 1
    return count


@inner_kernel
def fill_aims(wanted, values, work):
    """Fill the aims worth trying, whole degrees: bearings of masts, bisectors of neighbours, every mount."""
    count = _fill_bearings(wanted, values, work)
    for position in range(count):
        here = work.aim_deg[position]
        there = work.aim_deg[(position + 1) % count] + (360.0 if position + 1 == count else 0.0)
        work.aim_deg[count + position] = float(math.floor(0.5 * (here + there) + 0.5)) % 360.0
    aims = 2 * count
    for mount in range(wanted.mounts.size):
        for position in range(aims):
            work.aim_deg[mount * aims + position] = work.aim_deg[position]
            work.mount[mount * aims + position] = wanted.mounts[mount]


@inner_kernel
def fill_losses(wanted, figures, values, work):
    """Fill what each aim takes from each transmitter with a tier's antenna."""
    for aim in range(work.aim_deg.size):
        mount = int(work.mount[aim])
        for item in range(wanted.station.size):
            work.loss_db[aim, item] = off_axis_loss_db(
                off_axis_deg(work.aim_deg[aim], values[BEARING_DEG, item]),
                figures[ROLLOFF, item],
                figures[FLOOR_DB, item],
                figures[CROSS_DB + mount, item],
            )


@lean_kernel
def _rate_of_band(aim, uhf, by_number, wanted, figures, values, work):
    """Return how well an aim suits the transmitters on UHF, or not on it: greater is better.

    by_number : the number of them to be expected, where not all are needed; else the worst margin in total
    deviations
    """
    worst, number = math.inf, 0.0
    for item in range(wanted.station.size):
        if wanted.uhf[item] == uhf:
            deviation = (values[UPPER_DB, item] - work.loss_db[aim, item]) * values[TOTAL_INVERSE, item]
            worst = deviation if deviation < worst else worst
            number += normal_share(deviation) if by_number else 0.0
    return number if by_number else worst


@inner_kernel
def set_diplexed(by_number, wanted, figures, receiver, work):
    """Make the trial one antenna for VHF and one for UHF, each at the aim that suits its band best."""
    trial = receiver.trial
    for uhf in (False, True):
        best, chosen = -math.inf, 0
        for aim in range(work.aim_deg.size):
            rate = _rate_of_band(aim, uhf, by_number, wanted, figures, receiver.values, work)
            if rate > best:
                best, chosen = rate, aim
        trial[SECOND_DEG if uhf else AIM_DEG] = work.aim_deg[chosen]
        trial[SECOND_MOUNT if uhf else MOUNT] = work.mount[chosen]
    trial[JOINED] = DIPLEXED


@inner_kernel
def _fill_shares(wanted, figures, values, work):
    """Fill the chance of each service at each aim, of the transmitter most likely received there."""
    for aim in range(work.aim_deg.size):
        for item in range(wanted.station.size):
            deviation = (values[UPPER_DB, item] - work.loss_db[aim, item]) * values[TOTAL_INVERSE, item]
            work.alone[item] = normal_share(deviation)
        work.share[aim, :] = 0.0
        for item in range(wanted.station.size):
            service, share = wanted.service[item], work.alone[item]
            work.share[aim, service] = max(share, work.share[aim, service])


@lean_kernel
def _can_better(first, second, needed, least_chance, share):
    """Return whether two combined antennas could reach a chance, ripple and interference left out."""
    services = share.shape[1]
    total = 0.0
    for number in range(services):
        better = max(share[first, number], share[second, number])
        if needed == services and better < least_chance:
            return False
        total += better
    return needed == services or total / needed >= least_chance


@lean_kernel
def search_two(joined, confidence, needed, wanted, figures, other_figures, pairs, receiver, work, plan):
    """Better a plan with two antennas joined in one way, where those can reach the confidence.

    joined : COMBINED or DIPLEXED. figures, other_figures : of the tier as joined; the margins set for
    them. plan : the best so far; only a plan that reaches the confidence takes its place.

    Accuracy: the aims tried are the bearings of the list's masts and the bisectors between neighbours, which
        found what pairs of whole fives of degrees find in tests/test_two_antennas.py.
    """
    values, index = receiver.values, receiver.numbers
    set_upper(figures, values)
    choose_transmitters(wanted, values, index)
    if chance_bound(wanted.services, needed, values, index) < confidence:
        return
    fill_aims(wanted, values, work)
    fill_losses(wanted, figures, values, work)
    if joined == COMBINED:
        _fill_shares(wanted, figures, values, work)
    aims = work.aim_deg.size
    tries = 2 if joined == DIPLEXED else aims * (aims - 1) // 2
    first, second = 0, 0
    for number in range(tries):
        if joined == DIPLEXED:
            set_diplexed(number == 1, wanted, figures, receiver, work)
        else:
            second += 1
            if second == aims:
                first += 1
                second = first + 1
            least_chance = max(confidence, plan[CHANCE])
            if not _can_better(first, second, needed, least_chance, work.share):
                continue
            receiver.trial[AIM_DEG], receiver.trial[MOUNT] = work.aim_deg[first], work.mount[first]
            receiver.trial[SECOND_DEG] = work.aim_deg[second]
            receiver.trial[SECOND_MOUNT] = work.mount[second]
            receiver.trial[JOINED] = COMBINED
        set_plan(receiver.trial, 0.0, figures, other_figures, wanted, pairs, receiver)
        choose_transmitters(wanted, values, index)
        chance = chance_bound(wanted.services, needed, values, index)
        if chance >= confidence and chance > plan[CHANCE]:
            chance = chance_of_list(needed, wanted, receiver, receiver.points)
            if chance >= confidence:
                worst_db = worst_margin_db(wanted.services, needed, values, index)
                keep_better(chance, worst_db, receiver.trial, plan)
