"""The normal distribution and the integral over it, as fast kernels."""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import kernel

# Rows of an integral's arrays. Points and weights travel in them, with a length the compiler does not
# know: constants of a known length are unrolled and then not vectorised (163 against 67 ns for two masts).
PRODUCT = 0
POINT = 1
WEIGHT = 2


def integral_points(count: int = 8) -> NDArray[np.float64]:
    """Return work rows, points and weights for integrals over a standard normal distribution, (3, points).

    Points that weigh under 1e-6 are left out: that is little more than normal_share can be off by.
    """
    return _integral_points(count).copy()


@lru_cache
def _integral_points(count: int) -> NDArray[np.float64]:
    points, weights = np.polynomial.hermite_e.hermegauss(count)
    kept = weights > 1e-6 * weights.sum()
    rows = np.zeros((3, np.count_nonzero(kept)))
    rows[POINT] = points[kept]
    rows[WEIGHT] = weights[kept] / weights[kept].sum()
    return rows


_ROOT_HALF = math.sqrt(0.5)


@kernel
def normal_share(deviation):
    """Return the share of a standard normal distribution below a deviation, 0 to 1.

    deviation : in standard deviations, any number or infinity; NaN gives NaN. Never falls as it rises.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, formula 7.1.28.
    Accuracy: within 1.5e-7 of the exact share (2.5e-7 is what the tests allow).
    """
    x = abs(deviation) * _ROOT_HALF
    power = 0.0002765672 + x * 0.0000430638
    power = 0.0092705272 + x * (0.0001520143 + x * power)
    power = 1.0 + x * (0.0705230784 + x * (0.0422820123 + x * power))
    power *= power
    power *= power
    power *= power
    tail = 0.5 / (power * power)
    return tail if deviation < 0.0 else 1.0 - tail
