"""The normal distribution and the integral over it, as fast kernels."""

import math

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import kernel

# Rows of an integral's arrays. Points and weights travel in them, with a length the compiler does not
# know: constants of a known length are unrolled and then not vectorised (163 against 67 ns for two masts).
PRODUCT = 0
LEAST = 1
POINT = 2
WEIGHT = 3


def integral_points() -> NDArray[np.float64]:
    """Return work rows, points and weights for integrals over a standard normal distribution, (4, 12).

    The outer two pairs of the 16 Gauss-Hermite points weigh 3e-7 together, less than normal_share can be
    off by: they are left out.
    """
    points, weights = np.polynomial.hermite_e.hermegauss(16)
    rows = np.zeros((4, points.size - 4))
    rows[POINT] = points[2:-2]
    rows[WEIGHT] = weights[2:-2] / weights[2:-2].sum()
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


# ln of the share at steps of 1/32 from -16 to 16, where it is 0.
LOG_END = 16.0
LOG_STEPS_EACH = 32.0
LOG_SHARE = np.array(
    [math.log(0.5 * math.erfc(-step / LOG_STEPS_EACH * math.sqrt(0.5))) for step in range(-512, 513)]
)


@kernel
def log_share(deviation):
    """Return the natural logarithm of normal_share and its derivative, for ranking plans.

    deviation : in standard deviations, any number; -inf gives -inf. NaN gives NaN.

    Source: table of the exact function, straight between its rows; below -16 the first terms of the
        asymptotic series of the share's tail.
    Accuracy: 0.0002 from -16 upwards; the derivative 0.02.
    """
    if deviation >= LOG_END or deviation != deviation:
        return deviation * 0.0, 0.0
    if deviation < -LOG_END:
        return -0.5 * deviation * deviation - math.log(-deviation) - 0.9189, -deviation
    place = (deviation + LOG_END) * LOG_STEPS_EACH
    step = np.int64(place)
    rise = LOG_SHARE[step + 1] - LOG_SHARE[step]
    return LOG_SHARE[step] + (place - step) * rise, rise * LOG_STEPS_EACH
