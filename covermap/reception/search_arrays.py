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
# Its second axis: the aims, then for each group of transmitters the squared angle to each.
AIMS_DEG = 0
SQUARES = 1

# Rows that describe the worst transmitter of some, as a normal deviation: mean, variance without the home's
# part, the home's and the site's part.
MEAN_OF = 0
VARIANCE_OF = 1
HOME_OF = 2
SITE_OF = 3
PARTS = 4

FEW_POINTS = 3  # of the coarse integral

# Rows of SearchArrays.rows, one column an aim.
RANK = 0
PRODUCT = 1  # at each of the few points
WORST = 4
BEST = 5
MEAN = 6
VARIANCE = 7
SPREAD = 8
SIGNAL = 9
INTERFERENCE = 10
ALIKE = 11  # the part of INTERFERENCE from the wanted transmitter's own site and band
WINDOW_SIGNAL = 12  # of the network's window looked at; SIGNAL and INTERFERENCE then hold the best one
WINDOW_INTERFERENCE = 13
OWN_SIGNAL = 14  # without the network
OWN_INTERFERENCE = 15
SHARED = 16  # PARTS of the worst transmitter of a site and band so far
OTHER = 20  # PARTS of one more
SITE_WORST = 24  # of the services of a site and band so far: the worst deviation, and all chances multiplied
SITE_PRODUCT = 25
SEARCH_ROWS = 26

# Rows of SearchArrays.peaks, one column a peak.
PEAK_RANK = 0
PEAK_DEG = 1
PEAK_MOUNT = 2
PEAK_ROWS = 3

LARGEST_DEVIATION = 100.0
TIE_WEIGHT = 1e-13  # of the worst margin, where chances are equal to the last digit


class SearchArrays(NamedTuple):
    """Work arrays of the ranking, made once a thread.

    aims : (2, 1 + W, CIRCLE_AIMS). rows : (SEARCH_ROWS, CIRCLE_AIMS). few_points : a coarse integral
    item : (W + 1,), the transmitters that decide: of each group the worst one without interference, and
        every one with it; -1 behind the last
    stand_in : (PARTS, W), what stands for a group's ones without interference, before any loss, at its worst
    deviation, ratio, site : (W, CIRCLE_AIMS), margin, home's and site's part of those with it at each aim,
        as DEVIATION, HOME_PART and SITE_PART of covermap.reception.confidence
    peaks : (PEAK_ROWS, PEAKS + 1), the circle's aims that rank highest, and the best of all at last
    """

    aims: NDArray[np.float64]
    rows: NDArray[np.float64]
    few_points: NDArray[np.float64]
    item: NDArray[np.int64]
    stand_in: NDArray[np.float64]
    deviation: NDArray[np.float64]
    ratio: NDArray[np.float64]
    site: NDArray[np.float64]
    peaks: NDArray[np.float64]


def search_arrays(wanted: WantedTransmitters) -> SearchArrays:
    """Return work arrays for a wanted list, the circle's aims filled."""
    count = wanted.station.size
    aims = np.zeros((2, SQUARES + count, CIRCLE_AIMS))
    aims[CIRCLE, AIMS_DEG, :KNOWN] = np.arange(KNOWN) * (360.0 / KNOWN)
    return SearchArrays(
        aims,
        np.empty((SEARCH_ROWS, CIRCLE_AIMS)),
        integral_points(FEW_POINTS),
        np.full(count + 1, -1),
        np.empty((PARTS, count)),
        np.empty((count, CIRCLE_AIMS)),
        np.empty((count, CIRCLE_AIMS)),
        np.empty((count, CIRCLE_AIMS)),
        np.empty((PEAK_ROWS, PEAKS + 1)),
    )


@lean_kernel
def fill_squares(stage, first, count, wanted, values, by_aim):
    """Fill the squared angle between each group's bearing and the aims of a set, in square degrees.

    first, count : from which aim on, and where to end
    """
    aims = by_aim.aims
    for group in range(wanted.group_start.size - 1):
        bearing_deg = values[BEARING_DEG, wanted.group_start[group]]
        for number in range(first, count):
            angle_deg = off_axis_deg(aims[stage, AIMS_DEG, number], bearing_deg)
            aims[stage, SQUARES + group, number] = angle_deg * angle_deg


@lean_kernel
def fill_near(centre_deg, by_aim):
    """Fill the whole degrees around an aim."""
    for number in range(NEAR_AIMS):
        near_deg = math.floor(centre_deg + 0.5) + float(number - NEAR_AIMS // 2)
        near_deg += 360.0 if near_deg < 0.0 else 0.0
        by_aim.aims[NEAR, AIMS_DEG, number] = near_deg - 360.0 if near_deg >= 360.0 else near_deg


@lean_kernel
def forget_peaks(by_aim):
    """Empty the peaks."""
    for number in range(PEAKS + 1):
        by_aim.peaks[PEAK_RANK, number] = -math.inf


@lean_kernel
def keep_peak(rank, aim_deg, mount, first, last, by_aim):
    """Keep an aim in its place among the peaks from first to before last, where it ranks high enough."""
    peaks, place = by_aim.peaks, last
    while place > first and rank > peaks[PEAK_RANK, place - 1]:
        place -= 1
    for number in range(last - 1, place, -1):
        for row in range(PEAK_ROWS):
            peaks[row, number] = peaks[row, number - 1]
    if place < last:
        peaks[PEAK_RANK, place] = rank
        peaks[PEAK_DEG, place] = aim_deg
        peaks[PEAK_MOUNT, place] = mount


@lean_kernel
def set_row(row, count, number, rows):
    """Fill a row with a number."""
    for place in range(count):
        rows[row, place] = number
