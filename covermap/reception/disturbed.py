"""What disturbs or joins a transmitter under a plan: its margin and spreads with that."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
from covermap.reception.confidence import (
    CLEAR_DB,
    DEVIATION_AIMED,
    HOME_PART_AIMED,
    INTERFERENCE_DB,
    MARGIN_DB,
    SITE_PART_AIMED,
    TAKEN_DB,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
    UPPER_DB,
)
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
)
from covermap.reception.network import best_window
from covermap.reception.plan_loss import plan_loss_db
from covermap.reception.spreads import LEAST_SPREAD, MOST_SPREAD, spread_with


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
def greatest_deviation(item, shift_db, values, touched):
    """Return a total deviation that a transmitter does not exceed at an aim, whatever disturbs it there.

    MARGIN_DB and TOTAL_DEVIATION filled as if nothing did.
    """
    deviation = values[TOTAL_DEVIATION, item]
    if not touched[item]:
        return deviation
    if values[UPPER_DB, item] > values[CLEAR_DB, item]:  # stations of its network may join
        return math.inf
    taken_db = max(0.0, values[TAKEN_DB, item] + min(0.0, shift_db))  # what disturbs is shifted too
    left = (values[MARGIN_DB, item] - taken_db) * values[TOTAL_INVERSE, item]
    left /= LEAST_SPREAD if left > 0.0 else MOST_SPREAD
    return left if left < deviation else deviation
