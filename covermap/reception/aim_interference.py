"""What disturbs or joins a transmitter at many aims at once; as covermap.reception.plan.interfered at one."""

import math

import numpy as np

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import CLEAR_DB, TOTAL_INVERSE
from covermap.reception.interference import (
    ARRIVES_US,
    FAINTEST_DB,
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
from covermap.reception.network import is_inside, may_begin
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.search_arrays import (
    ALIKE,
    INTERFERENCE,
    JOINED_DB,
    OWN_INTERFERENCE,
    OWN_SIGNAL,
    POWER,
    SIGNAL,
    WINDOW_INTERFERENCE,
    WINDOW_SIGNAL,
    set_row,
)
from covermap.reception.single_precision import ONE, lobe_loss
from covermap.reception.spreads import LEAST_APART, parts_of, spread_of

LEAST = np.float32(LEAST_APART)


@lean_kernel
def _start_interfered(stage, count, group, item, mount, figures, values, squares, rows):
    """Fill row JOINED_DB with a transmitter's margin at each aim, rows INTERFERENCE and ALIKE with none."""
    clear_db, cross_db = values[CLEAR_DB, item], np.float32(figures[CROSS_DB + mount, item])
    rolloff, floor_db = np.float32(figures[ROLLOFF, item]), np.float32(figures[FLOOR_DB, item])
    for number in range(count):
        rows[JOINED_DB, number] = clear_db - lobe_loss(
            squares[stage, group, number], rolloff, floor_db, cross_db
        )
    set_row(INTERFERENCE, count, 0.0, rows)
    set_row(ALIKE, count, 0.0, rows)


@lean_kernel
def _add_neighbour(stage, count, group, over_db, other, mount, other_figures, squares, rows):
    """Add what a station that one aim treats alike brings to rows INTERFERENCE and ALIKE at each aim."""
    rolloff = np.float32(other_figures[OTHER_ROLLOFF, other])
    floor_db = np.float32(other_figures[OTHER_FLOOR_DB, other])
    cross_db = np.float32(other_figures[OTHER_CROSS_DB + mount, other])
    for number in range(count):
        loss_db = lobe_loss(squares[stage, group, number], rolloff, floor_db, cross_db)
        rows[POWER, number] = exp2(LOG2_OF_DB * (over_db - loss_db))
    for number in range(count):
        rows[INTERFERENCE, number] += rows[POWER, number]
        rows[ALIKE, number] += rows[POWER, number]


@lean_kernel
def _add_pair(
    stage, count, row, alike, over_db, pair, other, mount, other_figures, pair_values, aims, rows
):  # fmt: skip
    """Add what a pair with another station, over_db at its best, brings to a row of powers at each aim.

    alike : to row ALIKE too
    """
    bearing_deg = pair_values[PAIR_BEARING_DEG, pair]
    rolloff, floor_db = other_figures[OTHER_ROLLOFF, other], other_figures[OTHER_FLOOR_DB, other]
    cross_db = other_figures[OTHER_CROSS_DB + mount, other]
    for number in range(count):
        angle_deg = off_axis_deg(aims[stage, number], bearing_deg)
        loss_db = off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db)
        rows[POWER, number] = exp2(LOG2_OF_DB * (over_db - loss_db))
    for number in range(count):
        rows[row, number] += rows[POWER, number]
    if alike:
        for number in range(count):
            rows[ALIKE, number] += rows[POWER, number]


@lean_kernel
def _end_interfered(count, item, figures, values, by_aim):
    """Fill deviation and parts of a transmitter from margins and powers at each aim, as disturb()."""
    rows, total_inverse = by_aim.rows, np.float32(values[TOTAL_INVERSE, item])
    parts = parts_of(item, figures, values)
    own_db, apart, of_site = np.float32(parts[0]), np.float32(parts[1]), np.float32(parts[2])
    root_of_site, common, noise = np.float32(parts[3]), np.float32(parts[4]), np.float32(parts[5])
    for number in range(count):
        over_noise = 1.0 + rows[INTERFERENCE, number]
        rows[POWER, number] = 1.0 / over_noise
        by_aim.deviation[item, number] = log2_positive(over_noise) * DB_OF_LOG2
    for number in range(count):
        share = np.float32(rows[INTERFERENCE, number] * rows[POWER, number])
        alike = np.float32(rows[ALIKE, number] * rows[POWER, number])
        inverse, home_part, site_part = spread_of(
            share, alike, own_db, apart, of_site, root_of_site, common, noise, ONE, LEAST
        )
        joined_db = np.float32(rows[JOINED_DB, number])
        without_db = joined_db * total_inverse * math.sqrt(ONE + home_part * home_part)
        deviation = (joined_db - by_aim.deviation[item, number]) * inverse
        by_aim.deviation[item, number] = deviation if deviation < without_db else without_db
        by_aim.ratio[item, number] = home_part
        by_aim.site[item, number] = site_part


@lean_kernel
def _keep_better_window(count, rows):
    """Take over signal and disturbance of a window at each aim where C / (N + I) is greater."""
    for number in range(count):
        signal, disturbance = rows[WINDOW_SIGNAL, number], rows[WINDOW_INTERFERENCE, number]
        better = signal * (1.0 + rows[INTERFERENCE, number]) > rows[SIGNAL, number] * (1.0 + disturbance)
        rows[SIGNAL, number] = signal if better else rows[SIGNAL, number]
        rows[INTERFERENCE, number] = disturbance if better else rows[INTERFERENCE, number]


@inner_kernel
def _place_window(stage, count, item, mount, other_figures, pairs, pair_values, aims, rows):
    """Fill JOINED_DB and INTERFERENCE with a network's window where it is best at each aim, as best_window().

    On entry they hold the transmitter itself and the stations outside its network.
    """
    first, last = pairs.start[item], pairs.start[item + 1]
    window_us = pairs.window_us[first]
    for number in range(count):
        rows[OWN_SIGNAL, number] = exp2(LOG2_OF_DB * rows[JOINED_DB, number])
        rows[OWN_INTERFERENCE, number] = rows[INTERFERENCE, number]
        rows[SIGNAL, number] = 0.0
    for begins in range(first - 1, last):
        if begins >= first and not may_begin(begins, window_us, pair_values):
            continue
        start_us = pair_values[ARRIVES_US, begins] if begins >= first else 0.0
        for number in range(count):
            rows[WINDOW_SIGNAL, number] = rows[OWN_SIGNAL, number]
            rows[WINDOW_INTERFERENCE, number] = rows[OWN_INTERFERENCE, number]
        for pair in range(first, last):
            if pair_values[ROLE, pair] == NETWORK:
                inside = is_inside(pair, start_us, window_us, pair_values)
                row = WINDOW_SIGNAL if inside else WINDOW_INTERFERENCE
                over_db = pair_values[OVER_NEED_DB if inside else OVER_NOISE_DB, pair]
                _add_pair(
                    stage, count, row, False, over_db, pair, pairs.station[pair], mount, other_figures,
                    pair_values, aims, rows,
                )  # fmt: skip
        _keep_better_window(count, rows)
    for number in range(count):
        rows[JOINED_DB, number] = log2_positive(rows[SIGNAL, number]) * DB_OF_LOG2


@inner_kernel
def fill_interfered(stage, count, item, mount, figures, other_figures, wanted, pairs, receiver, by_aim):
    """Fill a transmitter's rows deviation and ratio at each aim; as interfered(), for many aims."""
    pair_values = receiver.interfering.values
    group = wanted.group[item]
    _start_interfered(stage, count, group, item, mount, figures, receiver.values, by_aim.squares, by_aim.rows)
    network = False
    for pair in range(pairs.start[item], pairs.start[item + 1]):
        role, over_db = pair_values[ROLE, pair], pair_values[OVER_NOISE_DB, pair]
        network = network or role == NETWORK
        if role in (SILENT, NETWORK) or over_db < FAINTEST_DB:
            continue
        if pairs.alike[pair]:
            _add_neighbour(
                stage,
                count,
                group,
                over_db,
                pairs.station[pair],
                mount,
                other_figures,
                by_aim.squares,
                by_aim.rows,
            )
            continue
        _add_pair(
            stage, count, INTERFERENCE, pairs.shared[pair], over_db, pair, pairs.station[pair], mount,
            other_figures, pair_values, by_aim.aims, by_aim.rows,
        )  # fmt: skip
    if network:
        _place_window(stage, count, item, mount, other_figures, pairs, pair_values, by_aim.aims, by_aim.rows)
    _end_interfered(count, item, figures, receiver.values, by_aim)
