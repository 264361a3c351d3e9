"""Many aims of one antenna looked at side by side: the aims, the rows of numbers, and angles to stations."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import lean_kernel
from covermap.reception.budget import WantedTransmitters
from covermap.reception.confidence import BEARING_DEG
from covermap.reception.normal import integral_points
from covermap.reception.pattern import off_axis_deg

# Multiples of 16 fill the vectors of the loops over aims. The circle's aims lie 11.6 degrees apart; the
# narrowest lobe of the built-in tiers is 25 degrees wide. The last one stands for an aim known to be good.
CIRCLE_AIMS = 32
KNOWN = CIRCLE_AIMS - 1
NEAR_AIMS = 16
PEAKS = 3  # of the circle whose neighbourhood is looked at, where ranks are coarse

# Two sets of aims: first axis of SearchArrays.aims.
CIRCLE = 0
NEAR = 1
# Beside them, in squares alone: angles at which a group's loss rises in even steps from 0 to its floor.
LOSSES = 2
LOSS_STEPS = 16  # a step is 1.7 dB at most with the built-in tiers
FEW_POINTS = 3  # of the coarse integral

# Rows of SearchArrays.rows, one column an aim.
RANK = 0
HELD = 1  # of a rank, while it is confirmed
SIGNAL = 2
INTERFERENCE = 3
ALIKE = 4  # the part of INTERFERENCE from the wanted transmitter's own site and band
WINDOW_SIGNAL = 5  # of the network's window looked at; SIGNAL and INTERFERENCE then hold the best one
WINDOW_INTERFERENCE = 6
OWN_SIGNAL = 7  # without the network
OWN_INTERFERENCE = 8
SHARED = 9  # PARTS of the worst transmitter of a site and band so far
OTHER = 13  # PARTS of one more
SPARE = 17  # two to work with
JOINED_DB = 19  # margin without interference, what a network adds in it
POWER = 20  # to work with
SEARCH_ROWS = 21

# Rows of SearchArrays.fast, in single precision. A loop over aims writes one or two of them: with more the
# compiler does not find out that they are apart, and leaves the loop scalar.
DEVIATION_OF = 0  # of a site and band, or of a service: margin and home's part in its own deviations
HOME_PART_OF = 1
WORST = 2  # the worst deviation so far
FAILED = 3  # the chance that some site and band fails, at each of the few points
SHARE_OF = 6
SITE_WORST = (
    7  # of the services of a site and band so far: the worst deviation, and the chance that one fails
)
SITE_FAILED = 8
MEAN = 9  # of the number of services: mean, variance, and deviations added up by site and band
VARIANCE = 10
SPREAD = 11
BEST = 12  # of a service's transmitters so far: total deviation
FAST_ROWS = 13

# Rows of SearchArrays.peaks, one column a peak.
PEAK_RANK = 0
PEAK_DEG = 1
PEAK_MOUNT = 2
PEAK_ROWS = 3

LARGEST_DEVIATION = 100.0  # of a service
TIE_WEIGHT = 1e-13  # of the worst margin, where chances are equal to the last digit


class SearchArrays(NamedTuple):
    """Work arrays of the ranking, made once a thread.

    aims : (2, CIRCLE_AIMS), in degrees
    squares : (3, W, CIRCLE_AIMS), of the angle from each group to each aim
    rows : (SEARCH_ROWS, CIRCLE_AIMS). fast : (FAST_ROWS, CIRCLE_AIMS). few_points : a coarse integral
    deviation, ratio, site : (W, CIRCLE_AIMS), margin, home's and site's part of those with it at each aim,
        as DEVIATION, HOME_PART and SITE_PART of covermap.reception.confidence
    passed : bool (W,), whether a transmitter is a service's best at none of the aims; its rows are not filled
    follows : bool (W,), whether a group is disturbed by neighbours alone, so that its loss tells all of it
    by_loss : (2, W, LOSS_STEPS), then rows DEVIATION_OF and HOME_PART_OF of its site at each of LOSSES
    table_mount : (1,), the mount for which they are filled, -1 for none
    peaks : (PEAK_ROWS, PEAKS + 1), the circle's aims that rank highest, and the best of all at last
    """

    aims: NDArray[np.float64]
    squares: NDArray[np.float32]
    rows: NDArray[np.float64]
    fast: NDArray[np.float32]
    few_points: NDArray[np.float64]
    deviation: NDArray[np.float32]
    ratio: NDArray[np.float32]
    site: NDArray[np.float32]
    passed: NDArray[np.bool_]
    follows: NDArray[np.bool_]
    by_loss: NDArray[np.float32]
    table_mount: NDArray[np.int64]
    peaks: NDArray[np.float64]


def search_arrays(wanted: WantedTransmitters) -> SearchArrays:
    """Return work arrays for a wanted list, the circle's aims filled."""
    count = wanted.station.size
    aims = np.zeros((2, CIRCLE_AIMS))
    aims[CIRCLE, :KNOWN] = np.arange(KNOWN) * (360.0 / KNOWN)
    return SearchArrays(
        aims,
        np.zeros((3, count, CIRCLE_AIMS), np.float32),
        np.empty((SEARCH_ROWS, CIRCLE_AIMS)),
        np.empty((FAST_ROWS, CIRCLE_AIMS), np.float32),
        integral_points(FEW_POINTS),
        np.empty((count, CIRCLE_AIMS), np.float32),
        np.empty((count, CIRCLE_AIMS), np.float32),
        np.empty((count, CIRCLE_AIMS), np.float32),
        np.zeros(count, np.bool_),
        np.zeros(count, np.bool_),
        np.zeros((2, count, LOSS_STEPS), np.float32),
        np.full(1, -1),
        np.empty((PEAK_ROWS, PEAKS + 1)),
    )


@lean_kernel
def fill_squares(stage, first, count, wanted, values, by_aim):
    """Fill the squared angle between each group's bearing and the aims of a set, in square degrees.

    first, count : from which aim on, and where to end
    """
    aims = by_aim.aims
    for group in range(wanted.groups[0]):
        bearing_deg = values[BEARING_DEG, wanted.group_start[group]]
        for number in range(first, count):
            angle_deg = off_axis_deg(aims[stage, number], bearing_deg)
            by_aim.squares[stage, group, number] = angle_deg * angle_deg


@lean_kernel
def fill_near(centre_deg, by_aim):
    """Fill the whole degrees around an aim."""
    for number in range(NEAR_AIMS):
        near_deg = math.floor(centre_deg + 0.5) + float(number - NEAR_AIMS // 2)
        near_deg += 360.0 if near_deg < 0.0 else 0.0
        by_aim.aims[NEAR, number] = near_deg - 360.0 if near_deg >= 360.0 else near_deg


@lean_kernel
def forget_peaks(by_aim):
    """Empty the peaks."""
    for number in range(PEAKS + 1):
        by_aim.peaks[PEAK_RANK, number] = -math.inf


@lean_kernel
def keep_peak(rank, aim_deg, mount, first, last, by_aim):
    """Keep an aim in its place among the peaks from first to before last, where it ranks high enough."""
    peaks, position = by_aim.peaks, last
    while position > first and rank > peaks[PEAK_RANK, position - 1]:
        position -= 1
    for number in range(last - 1, position, -1):
        for row in range(PEAK_ROWS):
            peaks[row, number] = peaks[row, number - 1]
    if position < last:
        peaks[PEAK_RANK, position] = rank
        peaks[PEAK_DEG, position] = aim_deg
        peaks[PEAK_MOUNT, position] = mount


@lean_kernel
def set_row(row, count, number, rows):
    """Fill a row with a number."""
    for position in range(count):
        rows[row, position] = number
