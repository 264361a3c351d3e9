"""How many services each class of antenna brings at a receiver site, each service alone: kernels."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.best_plans import NOBODY, read_fields, read_interfering, set_tier, shorten_list
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import BEARING_DEG, CHOSEN, TOTAL_DEVIATION, TOTAL_INVERSE, UPPER_DB
from covermap.reception.deciding import is_touched
from covermap.reception.least_disturbed import most_spare_db
from covermap.reception.plan import set_plan
from covermap.reception.plan_columns import SINGLE, set_single

DEGREES = 360
# Where interference decides: steps within a stretch of aims that could bring as many, from its second on, and
# how many aims are looked at with each mount.
LOOKED_AT_DEG, FIRST_LOOKED_AT = 8, 2
MOST_TRIES = 40


class CountArrays(NamedTuple):
    """Work arrays of the count, made once a thread.

    number : (DEGREES + 1,), how many services could arrive at each whole azimuth, interference left out
    disturbed : (DEGREES + 1,), the same with interference as weak as it can be there
    last : (DEGREES,), the last service of several transmitters counted there
    spare_db, disturbed_spare_db : (W,), what an aim may lose of each transmitter, for number and disturbed
    """

    number: NDArray[np.int64]
    disturbed: NDArray[np.int64]
    last: NDArray[np.int64]
    spare_db: NDArray[np.float64]
    disturbed_spare_db: NDArray[np.float64]


def count_arrays(transmitters: int) -> CountArrays:
    """Return empty work arrays for W transmitters."""
    return CountArrays(
        np.zeros(DEGREES + 1, np.int64),
        np.zeros(DEGREES + 1, np.int64),
        np.zeros(DEGREES, np.int64),
        np.zeros(transmitters),
        np.zeros(transmitters),
    )


@lean_kernel
def half_width_deg(spare_db, rolloff, floor_db, cross_db):
    """Return how far an aim may stand from a transmitter with spare_db at it, in degrees; -1: nowhere.

    180 all around. The loss is off_axis_loss_db's.
    """
    if spare_db < cross_db or spare_db < 0.0:
        return -1.0
    if spare_db >= floor_db or rolloff == 0.0:
        return 180.0
    return min(180.0, math.sqrt(spare_db / rolloff))


@inner_kernel
def add_aims(first, last, number):
    """Add one service at whole azimuths, as steps: from first to last, at most a circle, first 0 to 359."""
    number[first] += 1
    if last >= DEGREES:
        number[DEGREES] -= 1
        number[0] += 1
        last -= DEGREES
    number[last + 1] -= 1


@inner_kernel
def fill_numbers(mount, most, spare_db, wanted, figures, values, last, number):
    """Fill how many services could arrive at each whole azimuth; return whether more than most could at any.

    Where not, the numbers are not filled.
    spare_db : (W,), what an aim may lose of each transmitter
    """
    number[:] = 0
    if wanted.items[0] > wanted.services:
        last[:] = -1
    everywhere, somewhere = 0, 0
    for service in range(wanted.services):
        first, end = wanted.service_start[service], wanted.service_start[service + 1]
        widest = -1.0
        for position in range(first, end):
            item = wanted.by_service[position]
            half = half_width_deg(
                spare_db[item], figures[ROLLOFF, item], figures[FLOOR_DB, item],
                figures[CROSS_DB + mount, item],
            )  # fmt: skip
            widest = half if half > widest else widest
            if half < 0.0 or half >= 180.0 or widest >= 180.0:
                continue
            bearing_deg = values[BEARING_DEG, item]
            start, stop = math.ceil(bearing_deg - half), math.floor(bearing_deg + half)
            if end == first + 1:
                if start <= stop:
                    aim = start % DEGREES
                    add_aims(aim, aim + stop - start, number)
                continue
            for step in range(start, stop + 1):
                aim = step % DEGREES
                if last[aim] != service:
                    last[aim] = service
                    add_aims(aim, aim, number)
        somewhere += 1 if widest >= 0.0 else 0
        if widest >= 180.0:
            everywhere += 1
            for aim in range(DEGREES if end > first + 1 else 0):  # what its other transmitters counted
                if last[aim] == service:
                    last[aim] = -1
                    number[aim] -= 1
                    number[aim + 1] += 1
    if somewhere <= most:
        return False
    number[0] += everywhere
    for aim in range(1, DEGREES):
        number[aim] += number[aim - 1]
    return True


@inner_kernel
def count_at(aim_deg, mount, deviation, tier, kind, model, work):
    """Return how many services arrive at an aim, interference in it; the tier set. Margins stay."""
    receiver, wanted = work.receiver, model.wanted
    set_single(aim_deg, mount, receiver.trial)
    set_plan(
        receiver.trial, 0.0, model.figures[kind, SINGLE, tier], model.other_figures[kind, tier],
        wanted, model.pairs, receiver,
    )  # fmt: skip
    found = 0
    for service in range(wanted.services):
        found += 1 if receiver.values[TOTAL_DEVIATION, receiver.numbers[CHOSEN, service]] >= deviation else 0
    return found


@inner_kernel
def middle_of_widest(level, number):
    """Return the middle of the widest stretch of aims with a number of services, the lower one of equals."""
    best, best_width, start = 0, 0, 0
    while start < DEGREES and number[start] == level:
        start += 1
    if start == DEGREES:
        return 0
    width, aim = 0, start
    for _ in range(DEGREES):
        aim = aim + 1 if aim + 1 < DEGREES else 0
        if number[aim] == level:
            width += 1
            continue
        middle = (aim - 1 - width // 2) % DEGREES
        if width > best_width or (width == best_width and width > 0 and middle < best):
            best, best_width = middle, width
        width = 0
    return best


@inner_kernel
def best_for_most(start_deg, start_mount, deviation, tier, kind, model, work, counts):
    """Return aim and mount at which most services arrive, each alone, and how many; the tier set.

    start : tried first; kept where nothing brings more. Margins stay, at the aim that is returned.
    """
    best_deg, best_mount, is_set = start_deg, start_mount, True
    most = count_at(best_deg, best_mount, deviation, tier, kind, model, work)
    touched = False
    wanted, values, last = model.wanted, work.receiver.values, counts.last
    figures = model.figures[kind, SINGLE, tier]
    for item in range(wanted.items[0]):
        touched = touched or is_touched(item, work.receiver.interfering)
        counts.spare_db[item] = values[UPPER_DB, item] - deviation / values[TOTAL_INVERSE, item]
        counts.disturbed_spare_db[item] = most_spare_db(
            item, deviation, figures, model.other_figures[kind, tier], model.pairs, work.receiver
        )
    for mount in wanted.mounts:
        spare_db, could = counts.disturbed_spare_db, counts.disturbed
        if touched and not fill_numbers(mount, most, spare_db, wanted, figures, values, last, could):
            continue
        spare_db = counts.spare_db
        if not fill_numbers(mount, most, spare_db, wanted, figures, values, last, counts.number):
            continue
        highest = 0
        for aim in range(DEGREES):
            highest = counts.number[aim] if counts.number[aim] > highest else highest
        tries = MOST_TRIES if touched else 1
        for level in range(highest, most, -1):
            since = 0  # aims since the stretch of this number began
            for aim in range(DEGREES):
                if tries == 0 or most == level:
                    break
                if counts.number[aim] != level:
                    since = 0
                    continue
                since += 1
                if touched and since % LOOKED_AT_DEG != FIRST_LOOKED_AT:
                    continue
                tries -= 1
                if touched and could[aim] <= most:
                    continue
                looked = float(aim if touched else middle_of_widest(level, counts.number))
                found = count_at(looked, mount, deviation, tier, kind, model, work)
                is_set = found > most
                if is_set:
                    most, best_deg, best_mount = found, looked, mount
            if tries == 0 or most >= level - 1:
                break
    if not is_set:
        count_at(best_deg, best_mount, deviation, tier, kind, model, work)
    return best_deg, best_mount, most


@lean_kernel
def count_services(deviation, fields, model, work, counts, count_out, tiers_out):
    """Fill, for every cell, how many services arrive with each tier, and with which tiers each service does.

    deviation : in total standard deviations, that a service must keep. count_out : (T, N), 255 unknown.
    tiers_out : (services, N), a sum of bits, 1 for the first tier, 2 for the next; 255 unknown
    """
    wanted, values, index = model.wanted, work.receiver.values, work.receiver.numbers
    here = work.here.model
    for cell in range(fields.kind.size):
        if read_fields(cell, fields, wanted, work) == 0:
            count_out[:, cell] = UNKNOWN_UINT8
            tiers_out[:, cell] = UNKNOWN_UINT8
            continue
        read_interfering(cell, fields, wanted, model.pairs, work)
        tiers_out[:, cell] = 0
        kind = fields.kind[cell]
        if work.here.shortened:
            shorten_list(kind, model, work)
            kind = np.int64(0)
        aim_deg, mount = float(math.floor(values[BEARING_DEG, 0])), wanted.mounts[0]
        for tier in range(model.tiers):
            set_tier(tier, np.int64(SINGLE), np.bool_(False), np.int64(NOBODY), kind, here, work)
            aim_deg, mount, most = best_for_most(aim_deg, mount, deviation, tier, kind, here, work, counts)
            count_out[tier, cell] = most
            for service in range(wanted.services):
                if values[TOTAL_DEVIATION, index[CHOSEN, service]] >= deviation:
                    tiers_out[service, cell] |= np.uint8(1 << tier)
