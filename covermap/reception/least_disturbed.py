"""What interference takes from a transmitter at every aim that could bring it: bounds, as kernels."""

import math

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
from covermap.reception.budget import FLOOR_DB, ROLLOFF
from covermap.reception.confidence import BEARING_DEG, CLEAR_DB, TOTAL_INVERSE, UPPER_DB
from covermap.reception.deciding import is_touched
from covermap.reception.interference import (
    FAINTEST_DB,
    NETWORK,
    OTHER_CROSS_DB,
    OTHER_FLOOR_DB,
    OTHER_ROLLOFF,
    OVER_NOISE_DB,
    PAIR_BEARING_DEG,
    ROLE,
    SILENT,
)
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.spreads import LEAST_SPREAD


@lean_kernel
def least_disturbance_db(item, half_deg, other_figures, pairs, receiver):
    """Return the least that interference takes from a transmitter's margin while the aim is near it, in dB.

    half_deg : how far from its bearing the aim may stand. 0 where a network may help it.
    """
    found = receiver.interfering.values
    power = 1.0
    for pair in range(pairs.start[item], pairs.start[item + 1]):
        if found[ROLE, pair] == NETWORK:
            return 0.0
        if found[ROLE, pair] == SILENT or found[OVER_NOISE_DB, pair] < FAINTEST_DB:
            continue
        station = pairs.station[pair]
        apart_deg = off_axis_deg(receiver.values[BEARING_DEG, item], found[PAIR_BEARING_DEG, pair])
        loss_db = off_axis_loss_db(
            min(180.0, apart_deg + half_deg), other_figures[OTHER_ROLLOFF, station],
            other_figures[OTHER_FLOOR_DB, station],
            max(other_figures[OTHER_CROSS_DB, station], other_figures[OTHER_CROSS_DB + 1, station]),
        )  # fmt: skip
        power += exp2(LOG2_OF_DB * (found[OVER_NOISE_DB, pair] - loss_db))
    return DB_OF_LOG2 * log2_positive(power)


@lean_kernel
def most_spare_db(item, deviation, figures, other_figures, pairs, receiver):
    """Return what the aim may lose of a transmitter at most, if it is to keep a deviation; in dB.

    deviation : in total standard deviations. Returned below 0: no aim will do.
    """
    values = receiver.values
    needed_db = deviation / values[TOTAL_INVERSE, item]
    spare_db = values[UPPER_DB, item] - needed_db
    if spare_db < 0.0 or deviation < 0.0 or not is_touched(item, receiver.interfering):
        return spare_db
    rolloff = figures[ROLLOFF, item]
    everywhere = spare_db >= figures[FLOOR_DB, item] or rolloff == 0.0
    half_deg = 180.0 if everywhere else math.sqrt(spare_db / rolloff)
    lost_db = least_disturbance_db(item, half_deg, other_figures, pairs, receiver)
    if lost_db <= 0.0:
        return spare_db
    return min(spare_db, values[CLEAR_DB, item] - lost_db - LEAST_SPREAD * needed_db)


@inner_kernel
def may_bring_all(deviation, wanted, figures, other_figures, pairs, receiver):
    """Return whether every service has a transmitter that some aim could bring with a deviation."""
    for service in range(wanted.services):
        found = False
        for position in range(wanted.service_start[service], wanted.service_start[service + 1]):
            item = wanted.by_service[position]
            spare_db = most_spare_db(item, deviation, figures, other_figures, pairs, receiver)
            found = found or spare_db >= 0.0
        if not found:
            return False
    return True
