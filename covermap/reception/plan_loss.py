"""What the antennas of a plan lose of a signal: one, two combined, or one a band."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import DB_OF_LOG2, LOG2_OF_DB, exp2, log2_positive
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan_columns import (
    AIM_DEG,
    COMBINED,
    DIPLEXED,
    JOINED,
    MOUNT,
    SECOND_DEG,
    SECOND_MOUNT,
)


@lean_kernel
def combined_loss_db(loss_db, other_db, wanted):
    """Return what two combined antennas lose of a signal, in dB; inf where both hear a wanted one alike.

    loss_db, other_db : of each antenna. wanted : True takes the worst phase, False (an interfering signal)
    the strongest sum.

    Source: sum and difference of two voltages, x dB apart: 20 log(1 -+ 10^(-x/20)). Accuracy: exact bound.
    """
    apart_db = abs(loss_db - other_db)
    voltage = exp2(LOG2_OF_DB * -0.5 * apart_db)
    ripple = 1.0 - voltage if wanted else 1.0 + voltage
    least_db = loss_db if loss_db < other_db else other_db
    return least_db - 2.0 * DB_OF_LOG2 * log2_positive(ripple) if ripple > 0.0 else math.inf


@lean_kernel
def plan_loss_db(plan, uhf, wanted, bearing_deg, rolloff, floor_db, cross_h_db, cross_v_db):
    """Return what a plan's antennas lose of a signal against one antenna aimed at it, in dB.

    uhf : which antenna a diplexer takes it from. wanted : as combined_loss_db.
    """
    joined = plan[JOINED]
    first = joined != DIPLEXED or not uhf
    cross_db = cross_v_db if plan[MOUNT if first else SECOND_MOUNT] == 1.0 else cross_h_db
    angle_deg = off_axis_deg(plan[AIM_DEG if first else SECOND_DEG], bearing_deg)
    loss_db = off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db)
    if joined != COMBINED:
        return loss_db
    cross_db = cross_v_db if plan[SECOND_MOUNT] == 1.0 else cross_h_db
    angle_deg = off_axis_deg(plan[SECOND_DEG], bearing_deg)
    return combined_loss_db(loss_db, off_axis_loss_db(angle_deg, rolloff, floor_db, cross_db), wanted)
