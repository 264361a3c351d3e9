"""The normal distribution in single precision, as formulas for loops that the compiler turns into vectors.

Constants are single-precision numbers too: one double among them would make the whole loop double.
"""

import math

import numpy as np

from covermap.propagation.vector_math import vector_formula

ZERO, HALF, ONE = np.float32(0.0), np.float32(0.5), np.float32(1.0)
FARTHEST = np.float32(12.0)  # deviations; beyond, single precision has no share left
_ROOT_HALF = np.float32(math.sqrt(0.5))
_C1, _C2, _C3 = np.float32(0.0705230784), np.float32(0.0422820123), np.float32(0.0092705272)
_C4, _C5, _C6 = np.float32(0.0001520143), np.float32(0.0002765672), np.float32(0.0000430638)


@vector_formula
def share_above(deviation):
    """Return the share of a standard normal distribution above a deviation, 0 to 1; NaN gives NaN or 0.

    Source: as covermap.reception.normal.normal_share. Accuracy: 3e-7, 0.05 of a share down to 1e-9.
    """
    x = abs(deviation)
    x = (x if x < FARTHEST else FARTHEST) * _ROOT_HALF
    power = ONE + x * (_C1 + x * (_C2 + x * (_C3 + x * (_C4 + x * (_C5 + x * _C6)))))
    power *= power
    power *= power
    power *= power
    tail = HALF / (power * power)
    return ONE - tail if deviation < ZERO else tail


@vector_formula
def lobe_loss(square, rolloff, floor_db, cross_db):
    """Return off_axis_loss_db's loss from the square of the angle, all in single precision."""
    loss_db = rolloff * square
    loss_db = loss_db if loss_db < floor_db else floor_db
    return loss_db if loss_db > cross_db else cross_db
