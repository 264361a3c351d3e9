"""What the pairs of a transmitter come to at one plan: a network's window, and the strongest interferer."""

from covermap.propagation.compiling import lean_kernel
from covermap.reception.interference import ARRIVES_US, HARM, HELP, NETWORK, ROLE


@lean_kernel
def may_begin(pair, window_us, values):
    """Return whether a window that begins with a pair's signal also holds the wanted transmitter's."""
    return values[ROLE, pair] == NETWORK and -window_us <= values[ARRIVES_US, pair] <= 0.0


@lean_kernel
def is_inside(pair, start_us, window_us, values):
    """Return whether a pair's signal falls into a window that begins at start_us."""
    return 0.0 <= values[ARRIVES_US, pair] - start_us <= window_us


@lean_kernel
def strongest_interferer(item, pairs, interfering):
    """Return the station that interferes most with a transmitter under the plan set last, -1 for none."""
    found, most = -1, 0.0
    if not interfering.some[0] or not interfering.touched[item]:
        return found
    for pair in range(pairs.start[item], pairs.start[item + 1]):
        joins = interfering.values[ROLE, pair] == NETWORK and is_inside(
            pair, interfering.window_start_us[item], pairs.window_us[pair], interfering.values
        )
        if not joins and interfering.values[HARM, pair] > most:
            found, most = pairs.station[pair], interfering.values[HARM, pair]
    return found


@lean_kernel
def best_window(item, signal, interference, pairs, interfering):
    """Return signal and interference of a network with its window placed where it is best.

    signal : of the transmitter itself, over its need. interference : of stations outside the network, over
    noise. Rows HARM and HELP of the plan filled; where the window begins is left in window_start_us.

    The window begins at an arrival and holds the transmitter itself: of a service's transmitters the best one
    is chosen, so that every window is looked at.

    Source: what falls into one window of the guard interval's length adds up, the rest interferes; the window
        where C / (N + I) is greatest. Common practice, no source.
    """
    first, last = pairs.start[item], pairs.start[item + 1]
    values, window_us = interfering.values, pairs.window_us[first]
    best, best_signal, best_interference = -1.0, signal, interference
    for begins in range(first - 1, last):  # first - 1: with the transmitter itself
        if begins >= first and not may_begin(begins, window_us, values):
            continue
        start_us = values[ARRIVES_US, begins] if begins >= first else 0.0
        inside, outside = signal, interference
        for pair in range(first, last):
            if values[ROLE, pair] == NETWORK:
                if is_inside(pair, start_us, window_us, values):
                    inside += values[HELP, pair]
                else:
                    outside += values[HARM, pair]
        if inside / (1.0 + outside) > best:
            best, best_signal, best_interference = inside / (1.0 + outside), inside, outside
            interfering.window_start_us[item] = start_us
    return best_signal, best_interference
