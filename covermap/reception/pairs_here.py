"""The pairs of a list's transmitters and what may disturb or join them, at one receiver site: which count."""

import math

from covermap.constants import SILENT_DBUVM
from covermap.propagation.compiling import lean_kernel
from covermap.reception.confidence import LEVEL
from covermap.reception.interference import (
    ARRIVES_US,
    BESIDE_DB,
    INTERFERES,
    NETWORK,
    PAIR_BEARING_DEG,
    ROLE,
    SILENT,
)


@lean_kernel
def least_ahead_db(wanted, other, cell, unwanted_dbuvm, median_dbuvm, field_dbuvm):
    """Return by how much a station's field exceeds another one's at the height where it does least, in dB.

    wanted, other : the two stations. NaN at a height does not count; inf where all are.
    """
    least_db = math.inf
    for height in range(field_dbuvm.shape[1]):
        wanted_dbuvm = field_dbuvm[wanted, height, cell]
        for other_dbuvm in (unwanted_dbuvm[other, height, cell], median_dbuvm[other, height, cell]):
            ahead_db = wanted_dbuvm - other_dbuvm
            least_db = ahead_db if ahead_db < least_db else least_db
    return least_db


@lean_kernel
def fill_most(cell, unwanted_dbuvm, median_dbuvm, most_dbuvm):
    """Fill the greatest field of each station at any height, unknown ones left out. [dB(uV/m)]"""
    for station in range(most_dbuvm.size):
        most = -math.inf
        for height in range(unwanted_dbuvm.shape[1]):
            for other_dbuvm in (unwanted_dbuvm[station, height, cell], median_dbuvm[station, height, cell]):
                most = other_dbuvm if other_dbuvm > most else most
        most_dbuvm[station] = most


@lean_kernel
def least_field(station, cell, field_dbuvm):
    """Return the least field of a station at any height, in dB(uV/m); inf where none is known."""
    least = math.inf
    for height in range(field_dbuvm.shape[1]):
        dbuvm = field_dbuvm[station, height, cell]
        least = dbuvm if dbuvm < least else least
    return least


@lean_kernel
def read_pairs(
    cell, unwanted_dbuvm, median_dbuvm, field_dbuvm, bearing_deg, distance_km, wanted, pairs, numbers, work
):
    """Fill a cell's pairs: fields, bearing, when the other station arrives, what it can do; unknown: silent.

    A network's station farther off in time than its window is long can never join. numbers : of the receiver

    Source: delay is distance over the speed of light, 0.299792 km/us.
    """
    values = work.values
    work.some[0] = False
    work.touched[:] = False
    work.live[:] = False
    fill_most(cell, unwanted_dbuvm, median_dbuvm, work.most_dbuvm)
    for item in range(wanted.items[0]):
        level, least_dbuvm = numbers[LEVEL, item], least_field(wanted.station[item], cell, field_dbuvm)
        if least_dbuvm <= SILENT_DBUVM:  # nothing takes from what is not there
            continue
        for pair in range(pairs.start[item], pairs.start[item + 1]):
            station, harmless_db = pairs.station[pair], pairs.harmless_db[level, pair]
            if least_dbuvm - work.most_dbuvm[station] >= harmless_db + BESIDE_DB:
                values[ROLE, pair] = SILENT
                continue
            ahead_db = least_ahead_db(
                wanted.station[item], station, cell, unwanted_dbuvm, median_dbuvm, field_dbuvm
            )
            if ahead_db >= harmless_db + BESIDE_DB:
                values[ROLE, pair] = SILENT
                continue
            role = INTERFERES
            bearing = bearing_deg[pairs.mast[pair], cell]
            if pairs.network[pair] and distance_km.shape[0] > 0:
                farther_km = distance_km[pairs.mast[pair], cell] - distance_km[wanted.mast[item], cell]
                values[ARRIVES_US, pair] = farther_km / 0.299792 + pairs.later_us[pair]
                if abs(values[ARRIVES_US, pair]) <= pairs.window_us[pair]:
                    role = NETWORK
            role = SILENT if math.isnan(bearing) else role
            for height in range(work.level_dbuvm.shape[0]):
                night, day = unwanted_dbuvm[station, height, cell], median_dbuvm[station, height, cell]
                joined = field_dbuvm[station, height, cell]
                role = SILENT if math.isnan(night) or math.isnan(day) or math.isnan(joined) else role
                work.level_dbuvm[height, pair] = night
                work.day_dbuvm[height, pair] = day
                work.joined_dbuvm[height, pair] = joined
            values[ROLE, pair] = role
            values[PAIR_BEARING_DEG, pair] = 0.0 if role == SILENT else bearing
            harms = role != SILENT and not ahead_db >= harmless_db
            work.live[item] = work.live[item] or harms
        work.some[0] = work.some[0] or work.live[item]


@lean_kernel
def disturbed_from_elsewhere(wanted, pairs, work):
    """Return whether anything that can count disturbs or joins from another mast, band or polarization."""
    for item in range(wanted.items[0] if work.some[0] else 0):
        for pair in range(pairs.start[item], pairs.start[item + 1] if work.live[item] else 0):
            if work.values[ROLE, pair] != SILENT and not pairs.alike[pair]:
                return True
    return False
