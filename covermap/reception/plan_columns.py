"""A plan as the kernels keep it: a row of numbers."""

from covermap.propagation.compiling import lean_kernel

CHANCE = 0
WORST_DB = 1
AIM_DEG = 2
MOUNT = 3
SECOND_DEG = 4  # of the second antenna; -1 where one will do
SECOND_MOUNT = 5
JOINED = 6  # index into JOINED_AS
# Of one antenna, filled where its rating begins: a chance that no plan of the installation exceeds; the
# service with the least chance at its own bearing, its margin there in total deviations, and the next one's.
BOUND = 7
WEAKEST = 8
WEAKEST_DEVIATION = 9
NEXT_DEVIATION = 10
PLAN_COLUMNS = 11

JOINED_AS = ("single", "combined", "diplexed")  # first axis of a tier's figures
SINGLE, COMBINED, DIPLEXED = 0, 1, 2


@lean_kernel
def set_single(aim_deg, mount, plan):
    """Make a plan one antenna at an aim."""
    plan[AIM_DEG] = aim_deg
    plan[MOUNT] = mount
    plan[SECOND_DEG] = -1.0
    plan[SECOND_MOUNT] = 0.0
    plan[JOINED] = SINGLE


@lean_kernel
def copy_plan(source, plan):
    """Copy a plan into another."""
    for column in range(PLAN_COLUMNS):
        plan[column] = source[column]
