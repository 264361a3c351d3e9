"""What the quick estimate is given: levels, figures of the tiers, tables; the page holds the same numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.reception.normal import POINT, WEIGHT, integral_points

SHARE_ENDS = 6.0  # standard deviations at which the table of the normal share begins and ends
SHARE_STEPS = 32  # entries a standard deviation; straight between them, within 3e-5
ARCTAN_STEPS = 256  # entries from 0 to 1; straight between them, within 1e-4 degrees
QUADRATURE_POINTS = 6  # 16, as reception takes, change the class of 1 in 1,500 squares of the demo
LEVEL_OFFSET_DB = 60  # a level byte is whole dB(uV/m) plus this; 255 is unknown


class Figures(NamedTuple):
    """What the tiers need of each of S stations, with K kinds of surroundings and T tiers; 64-bit.

    need : (K, T, S), level byte of the path that gives margin 0 at the aim
    own_inverse, common_ratio, total_inverse : (K, T, S), 1 / s_i, s_c / s_i, 1 / sqrt(s_i^2 + s_c^2)
    rolloff, floor_db : (T, S), of the lobe, as covermap.reception.pattern. cross_db : (2, T, S), a mount each
    height : whole numbers (T,), which level counts
    """

    need: NDArray[np.float64]
    own_inverse: NDArray[np.float64]
    common_ratio: NDArray[np.float64]
    total_inverse: NDArray[np.float64]
    rolloff: NDArray[np.float64]
    floor_db: NDArray[np.float64]
    cross_db: NDArray[np.float64]
    height: NDArray[np.int64]


class Rules(NamedTuple):
    """What is the same everywhere; 64-bit.

    confidence : chance that all must arrive, 0 to 1; deviation : what each alone must reach at least
    share, arctan : tables of normal_shares() and arctangents()
    points, weights : of the integral over what a home's services share
    turn_deg : by which a straight line on the map turns from the great circle, degrees a pixel of easting
    mast_row, mast_col : (M,), where the masts stand, in pixels from the picture's corner
    """

    confidence: float
    deviation: float
    share: NDArray[np.float64]
    arctan: NDArray[np.float64]
    points: NDArray[np.float64]
    weights: NDArray[np.float64]
    turn_deg: float
    mast_row: NDArray[np.float64]
    mast_col: NDArray[np.float64]


class Ticked(NamedTuple):
    """The services asked for: W transmitters, those of one mast side by side.

    station, mast, service : whole numbers (W,). services : how many
    masts : masts that occur, each once, in the order of the transmitters
    mounts : polarizations of a mount to try, 0 horizontal, 1 vertical
    """

    station: NDArray[np.int64]
    mast: NDArray[np.int64]
    service: NDArray[np.int64]
    services: int
    masts: NDArray[np.int64]
    mounts: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Levels:
    """What the squares receive.

    level : uint8 (H, S, rows, cols), whole dB(uV/m) + LEVEL_OFFSET_DB at each computed height, 255 unknown
    kind : uint8 (rows, cols), kind of surroundings
    row, col : (rows,), (cols,), middles of the squares in pixels
    """

    level: NDArray[np.uint8]
    kind: NDArray[np.uint8]
    row: NDArray[np.float64]
    col: NDArray[np.float64]


def normal_shares() -> NDArray[np.float64]:
    """Return the share of a normal distribution below -SHARE_ENDS, ..., SHARE_ENDS deviations, to 1e-7."""
    steps = range(2 * int(SHARE_ENDS) * SHARE_STEPS + 1)
    deviations = [i / SHARE_STEPS - SHARE_ENDS for i in steps]
    return np.array([round(0.5 * math.erfc(-deviation / math.sqrt(2.0)), 7) for deviation in deviations])


def arctangents() -> NDArray[np.float64]:
    """Return the arctangents of 0 to 1 in ARCTAN_STEPS steps, in degrees to 1e-6."""
    return np.array([round(math.degrees(math.atan(i / ARCTAN_STEPS)), 6) for i in range(ARCTAN_STEPS + 1)])


def quadrature() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return points and weights of the integral over what a home's services share."""
    rows = integral_points(QUADRATURE_POINTS)
    return rows[POINT].round(9), rows[WEIGHT].round(9)


def ticked(services: Sequence[Sequence[int]], mast: Sequence[int], polarization: Sequence[int]) -> Ticked:
    """Return the transmitters of some services in mast order.

    services : for each the indices of its stations. mast, polarization : of every station; polarization
    0 horizontal, 1 vertical, 2 either
    """
    pairs = [(mast[station], station, number) for number, group in enumerate(services) for station in group]
    pairs.sort()
    fixed = sorted({polarization[station] for _, station, _ in pairs} - {2})
    masts = list(dict.fromkeys(pair[0] for pair in pairs))
    mast_of, station, service = (np.array([pair[part] for pair in pairs], np.int64) for part in range(3))
    return Ticked(
        station, mast_of, service, len(services), np.array(masts, np.int64), np.array(fixed or [0], np.int64)
    )
