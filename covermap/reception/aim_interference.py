"""What disturbs or joins a transmitter at many aims at once; as covermap.reception.plan.interfered at one."""

import math

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.propagation.vector_math import LOG2_OF_10, exp2, log2_positive
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import CLEAR_DB, TOTAL_INVERSE
from covermap.reception.interference import (
    ARRIVES_US,
    FAINTEST_DB,
    NETWORK,
    OVER_NEED_DB,
    OVER_NOISE_DB,
    PAIR_BEARING_DEG,
    PAIR_CROSS_DB,
    PAIR_FLOOR_DB,
    PAIR_ROLLOFF,
    ROLE,
    SILENT,
)
from covermap.reception.network import is_inside, may_begin
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.search_arrays import (
    AIMS_DEG,
    ALIKE,
    INTERFERENCE,
    OWN_INTERFERENCE,
    OWN_SIGNAL,
    SIGNAL,
    SQUARES,
    WINDOW_INTERFERENCE,
    WINDOW_SIGNAL,
)
from covermap.reception.spreads import spread_with

LOG2_OF_DB = LOG2_OF_10 / 10.0  # a level's power is 2^(LOG2_OF_DB level)


@lean_kernel
def _start_interfered(stage, count, group, item, mount, figures, values, aims, rows):
    """Fill row SIGNAL with a transmitter's power over its need at each aim, row INTERFERENCE with none."""
    clear_db, cross_db = values[CLEAR_DB, item], figures[CROSS_DB + mount, item]
    rolloff, floor_db = figures[ROLLOFF, item], figures[FLOOR_DB, item]
    for number in range(count):
        loss_db = rolloff * aims[stage, SQUARES + group, number]
        loss_db = loss_db if loss_db < floor_db else floor_db
        loss_db = loss_db if loss_db > cross_db else cross_db
        rows[SIGNAL, number] = exp2(LOG2_OF_DB * (clear_db - loss_db))
        rows[INTERFERENCE, number] = 0.0
        rows[ALIKE, number] = 0.0


@lean_kernel
def _add_pair(stage, count, row, alike, over_db, pair, mount, pair_figures, pair_values, aims, rows):
    """Add what a pair, over_db at its best, brings to a row of powers at each aim; alike of it to ALIKE."""
    bearing_deg = pair_values[PAIR_BEARING_DEG, pair]
    rolloff, floor_db = pair_figures[PAIR_ROLLOFF, pair], pair_figures[PAIR_FLOOR_DB, pair]
    cross_db = pair_figures[PAIR_CROSS_DB + mount, pair]
    for number in range(count):
        angle_deg = off_axis_deg(aims[stage, AIMS_DEG, number], bearing_deg)
        loss_db = off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db)
        power = exp2(LOG2_OF_DB * (over_db - loss_db))
        rows[row, number] += power
        rows[ALIKE, number] += alike * power


@lean_kernel
def _end_interfered(count, item, figures, values, by_aim):
    """Fill deviation and parts of a transmitter from the powers at each aim, as set_plan()."""
    rows, total_inverse = by_aim.rows, values[TOTAL_INVERSE, item]
    for number in range(count):
        over_noise = 1.0 + rows[INTERFERENCE, number]
        joined_db = log2_positive(rows[SIGNAL, number]) * (1.0 / LOG2_OF_DB)
        margin_db = joined_db - log2_positive(over_noise) * (1.0 / LOG2_OF_DB)
        inverse, home_part, site_part = spread_with(
            rows[INTERFERENCE, number] / over_noise, rows[ALIKE, number] / over_noise, item, figures, values
        )
        together = math.sqrt(1.0 + home_part * home_part)
        without_db = joined_db * total_inverse * together
        deviation = margin_db * inverse
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
def _place_window(stage, count, item, mount, pair_figures, pairs, pair_values, aims, rows):
    """Fill SIGNAL and INTERFERENCE with a network's window where it is best at each aim, as best_window().

    On entry they hold the transmitter itself and the stations outside its network.
    """
    first, last = pairs.start[item], pairs.start[item + 1]
    window_us = pairs.window_us[first]
    for number in range(count):
        rows[OWN_SIGNAL, number] = rows[SIGNAL, number]
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
                _add_pair(stage, count, row, 0.0, over_db, pair, mount, pair_figures, pair_values, aims, rows)
        _keep_better_window(count, rows)


@inner_kernel
def fill_interfered(stage, count, item, mount, figures, pair_figures, wanted, pairs, home, by_aim):
    """Fill a transmitter's rows deviation and ratio at each aim; as interfered(), for many aims."""
    pair_values = home.interfering.values
    group = wanted.group[item]
    _start_interfered(stage, count, group, item, mount, figures, home.values, by_aim.aims, by_aim.rows)
    network = False
    for pair in range(pairs.start[item], pairs.start[item + 1]):
        role, over_db = pair_values[ROLE, pair], pair_values[OVER_NOISE_DB, pair]
        network = network or role == NETWORK
        if role in (SILENT, NETWORK) or over_db < FAINTEST_DB:
            continue
        _add_pair(
            stage, count, INTERFERENCE, 1.0 if pairs.shared[pair] else 0.0, over_db, pair, mount,
            pair_figures, pair_values, by_aim.aims, by_aim.rows,
        )  # fmt: skip
    if network:
        _place_window(stage, count, item, mount, pair_figures, pairs, pair_values, by_aim.aims, by_aim.rows)
    _end_interfered(count, item, figures, home.values, by_aim)
