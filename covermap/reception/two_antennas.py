"""The search for the best plan of two antennas: combined, or one a band behind a diplexer."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_search import JUST_MISSED, keep_better
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF, WantedTransmitters
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
    UPPER_DB,
)
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
    set_single,
)

# Guides to the aims of two antennas behind a diplexer: a band's worst margin in total deviations, and the
# number of its services to be expected.
WORST, NUMBER = 0, 1


class AimArrays(NamedTuple):
    """Work arrays of the search, made once a thread: the C aims tried for each antenna.

    aim_deg, mount : (C,). loss_db : (C, W), what each aim takes from each transmitter
    share : (C, services), the chance of each service with one antenna at each aim
    rate : (2, 2, C), by WORST and NUMBER, of services not on UHF and on it: greater is better
    """

    aim_deg: NDArray[np.float64]
    mount: NDArray[np.float64]
    loss_db: NDArray[np.float64]
    share: NDArray[np.float64]
    rate: NDArray[np.float64]


def aim_arrays(wanted: WantedTransmitters) -> AimArrays:
    """Return work arrays for the bearings of a list's masts, the bisectors between them, and every mount."""
    masts = np.unique(wanted.site).size
    count = 2 * masts * wanted.mounts.size
    return AimArrays(
        np.empty(count),
        np.empty(count),
        np.empty((count, wanted.station.size)),
        np.empty((count, wanted.services)),
        np.empty((2, 2, count)),
    )


@inner_kernel
def _fill_bearings(wanted, values, work):
    """Fill the first aims with the bearings of the list's masts in rising order; return how many."""
    count = 0
    for item in range(wanted.items[0]):
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
    """Fill the aims worth trying, whole degrees: bearings of masts, bisectors of neighbours, every mount.

    Return how many.
    """
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
    return aims * wanted.mounts.size


@inner_kernel
def fill_losses(aims, wanted, figures, values, work):
    """Fill what each aim takes from each transmitter with a tier's antenna."""
    for aim in range(aims):
        mount = int(work.mount[aim])
        for item in range(wanted.items[0]):
            work.loss_db[aim, item] = off_axis_loss_db(
                off_axis_deg(work.aim_deg[aim], values[BEARING_DEG, item]),
                figures[ROLLOFF, item],
                figures[FLOOR_DB, item],
                figures[CROSS_DB + mount, item],
            )


@inner_kernel
def _fill_rates(aims, wanted, values, work):
    """Fill how well each aim suits the services on UHF, and those not on it; interference left out.

    Of a service's transmitters in a band the one received best counts.
    """
    work.rate[WORST] = math.inf
    work.rate[NUMBER] = 0.0
    for aim in range(aims):
        for service in range(wanted.services):
            below, on_uhf = -math.inf, -math.inf
            for position in range(wanted.service_start[service], wanted.service_start[service + 1]):
                item = wanted.by_service[position]
                deviation = (values[UPPER_DB, item] - work.loss_db[aim, item]) * values[TOTAL_INVERSE, item]
                if wanted.uhf[item]:
                    on_uhf = deviation if deviation > on_uhf else on_uhf
                else:
                    below = deviation if deviation > below else below
            for band in range(2):
                best = on_uhf if band == 1 else below
                if best > -math.inf:
                    work.rate[WORST, band, aim] = min(work.rate[WORST, band, aim], best)
                    work.rate[NUMBER, band, aim] += normal_share(best)


@inner_kernel
def set_diplexed(guide, aims, receiver, work):
    """Make the trial one antenna for VHF and one for UHF, each at the aim that suits its band best.

    guide : WORST or NUMBER
    """
    trial = receiver.trial
    for band in range(2):
        chosen = 0
        for aim in range(1, aims):
            if work.rate[guide, band, aim] > work.rate[guide, band, chosen]:
                chosen = aim
        trial[SECOND_DEG if band == 1 else AIM_DEG] = work.aim_deg[chosen]
        trial[SECOND_MOUNT if band == 1 else MOUNT] = work.mount[chosen]
    trial[JOINED] = DIPLEXED


@inner_kernel
def _fill_shares(aims, wanted, values, work):
    """Fill the chance of each service at each aim, of the transmitter received best there, undisturbed."""
    for aim in range(aims):
        work.share[aim, :] = 0.0
        for item in range(wanted.items[0]):
            deviation = (values[UPPER_DB, item] - work.loss_db[aim, item]) * values[TOTAL_INVERSE, item]
            share, service = normal_share(deviation), wanted.service[item]
            work.share[aim, service] = max(share, work.share[aim, service])


@lean_kernel
def _can_better(first, second, needed, least_chance, share):
    """Return whether two combined antennas could reach a chance: each service arrives by the better of them.

    What disturbs one antenna disturbs both; that the spread may be narrower then is allowed for.
    """
    services = share.shape[1]
    least_chance -= JUST_MISSED
    total = 0.0
    for number in range(services):
        better = max(share[first, number], share[second, number])
        if needed == services and better < least_chance:
            return False
        total += better
    return needed == services or total / needed >= least_chance


@inner_kernel
def _disturb_shares(aims, wanted, figures, other_figures, pairs, receiver, work):
    """Bring what disturbs one antenna at each aim into the chances.

    Left as they are where stations of its network may join one of the transmitters.
    """
    values = receiver.values
    for item in range(wanted.items[0]):
        if values[UPPER_DB, item] > values[CLEAR_DB, item]:
            return
    for aim in range(aims):
        set_single(work.aim_deg[aim], int(work.mount[aim]), receiver.trial)
        set_plan(receiver.trial, 0.0, figures, other_figures, wanted, pairs, receiver)
        for service in range(wanted.services):
            deviation = values[TOTAL_DEVIATION, receiver.numbers[CHOSEN, service]]
            work.share[aim, service] = normal_share(deviation)


@lean_kernel
def search_two(joined, confidence, needed, wanted, figures, other_figures, pairs, receiver, work, plan):
    """Better a plan with two antennas joined in one way, where those can reach the confidence.

    joined : COMBINED or DIPLEXED. figures, other_figures : of the tier as joined; the margins set for
    them. plan : the best so far; only a plan that reaches the confidence takes its place.

    Accuracy: the aims tried are the bearings of the list's masts and the bisectors between neighbours, which
        found what pairs of whole fives of degrees find in tests/test_two_antennas.py.
    """
    values, index = receiver.values, receiver.numbers
    set_upper(wanted, figures, values)
    choose_transmitters(wanted, values, index)
    if chance_bound(wanted.services, needed, values, index) < confidence:
        return
    aims = fill_aims(wanted, values, work)
    fill_losses(aims, wanted, figures, values, work)
    if joined == COMBINED:
        _fill_shares(aims, wanted, values, work)
        if receiver.interfering.some[0] and wanted.items[0] > wanted.services:
            _disturb_shares(aims, wanted, figures, other_figures, pairs, receiver, work)
    else:
        _fill_rates(aims, wanted, values, work)
    tries = 2 if joined == DIPLEXED else aims * (aims - 1) // 2
    first, second = 0, 0
    for number in range(tries):
        if joined == DIPLEXED:
            set_diplexed(number, aims, receiver, work)
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
        chance = chance_bound(wanted.services, needed, values, index)
        if chance >= confidence and chance > plan[CHANCE]:
            chance = chance_of_list(needed, wanted, receiver, receiver.points)
            if chance >= confidence:
                worst_db = worst_margin_db(wanted.services, needed, values, index)
                keep_better(chance, worst_db, receiver.trial, plan)
