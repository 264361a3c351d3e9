"""The loop over cells: from their fields to tier, chances, plan and the services that decide."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.propagation.compiling import kernel
from covermap.reception.aim_ranking import CIRCLE, CIRCLE_AIMS, ScanArrays, fill_squares
from covermap.reception.aim_search import AIM_DEG, CHANCE, MOUNT, ROUNDS_TO_ALL, WORST_DB, search_circle
from covermap.reception.budget import NEED_DBUVM
from covermap.reception.confidence import BEARING_DEG, CHOSEN, CLEAR_DB, TOTAL_DEVIATION
from covermap.reception.normal import normal_share
from covermap.reception.plan import HomeArrays, choose_transmitters, set_aim

MARGIN_TIER = 5  # the tier whose margin is a layer of its own


class CellArrays(NamedTuple):
    """Work arrays of the loop, made once a thread.

    level_dbuvm : (H, W) fields of a cell. known : (services,)
    plans : (tiers + 1, PLAN_COLUMNS), the last for the dead zone
    searched : (tiers + 1,) whether a plan is the best one.
    """

    home: HomeArrays
    level_dbuvm: NDArray[np.float64]
    known: NDArray[np.bool_]
    plans: NDArray[np.float64]
    searched: NDArray[np.bool_]
    scan: ScanArrays


@kernel
def percent(chance):
    """Return a chance in whole percent."""
    return np.uint8(math.floor(100.0 * chance + 0.5))


@kernel
def percent_beside(chance, confidence_percent):
    """Return a chance in whole percent, on the same side of the confidence as the chance itself."""
    rounded = math.floor(100.0 * chance + 0.5)
    if 100.0 * chance < confidence_percent:
        return np.uint8(min(rounded, math.ceil(confidence_percent) - 1.0))
    return np.uint8(max(rounded, math.ceil(confidence_percent)))


@kernel
def read_home(cell, field_dbuvm, bearing_deg, wanted, work):
    """Fill a cell's fields and bearings; return whether every service has a known transmitter.

    A transmitter unknown at any height gets -inf: it is never chosen where another one is known.
    """
    work.known[:] = False
    for item in range(wanted.station.size):
        bearing = bearing_deg[wanted.mast[item], cell]
        whole = not math.isnan(bearing)
        for height in range(work.level_dbuvm.shape[0]):
            level = field_dbuvm[wanted.station[item], height, cell]
            work.level_dbuvm[height, item] = level
            whole = whole and not math.isnan(level)
        if whole:
            work.home.values[BEARING_DEG, item] = bearing
            work.known[wanted.service[item]] = True
        else:
            work.home.values[BEARING_DEG, item] = 0.0
            work.level_dbuvm[:, item] = -math.inf
    for number in range(wanted.services):
        if not work.known[number]:
            return False
    return True


@kernel
def set_tier(height, figures, values, level_dbuvm):
    """Fill each transmitter's margin at its own bearing with a tier's installation."""
    for item in range(figures.shape[1]):
        values[CLEAR_DB, item] = level_dbuvm[height, item] - figures[NEED_DBUVM, item]


@kernel
def service_chances(cell, plan, wanted, figures, home, chance_percent):
    """Write each service's own chance under a plan; return the index of the lowest."""
    values, index = home.values, home.numbers
    set_aim(plan[AIM_DEG], int(plan[MOUNT]), figures, values)
    choose_transmitters(wanted, values, index)
    lowest = 0
    for number in range(wanted.services):
        deviation = values[TOTAL_DEVIATION, index[CHOSEN, number]]
        chance_percent[number, cell] = percent(normal_share(deviation))
        if deviation < values[TOTAL_DEVIATION, index[CHOSEN, lowest]]:
            lowest = number
    return lowest


@kernel
def next_task(task, tiers, stored, work):
    """Return the tier whose best plan is to be found, and whether only its chance is asked for.

    Tasks 0 to tiers - 1 rate each tier. Then come the plans that are kept: of the margin layer, the stored
    tier, the one below it, and at last the dead zone's (row tiers of work.plans). -1: nothing to do.
    """
    if task < tiers:
        return task
    if task == tiers:
        tier = MARGIN_TIER - 1
    elif task == tiers + 1:
        tier = min(stored, tiers - 1)
    elif task == tiers + 2:
        tier = stored - 1
    else:
        return tiers
    return -1 if tier < 0 or work.searched[tier] else tier


@kernel
def rate_home(heights, directional, confidence, needed, dead_needed, wanted, figures, work):
    """Fill work.plans for one cell: chance and, where it is kept, the best plan of every tier.

    figures : (T, FIGURES, W) in the cell's surroundings. The row behind the last tier's takes the dead
    zone's plan: the last tier's best aim for at least dead_needed services.
    Return the index of the lowest tier that reaches the confidence, the number of tiers where none does.

    Searches are skipped where whole percents do not depend on them. All of them pass through one call, as
    each further one would be compiled anew.
    """
    tiers = directional.size
    stored = tiers
    fill_squares(CIRCLE, CIRCLE_AIMS, wanted, work.home.values, work.scan)
    start_deg = float(math.floor(work.home.values[BEARING_DEG, 0]))
    for task in range(tiers + 4):
        row = next_task(task, tiers, stored, work)
        if row < 0:
            continue
        tier = min(row, tiers - 1)
        plan = work.plans[row]
        asked = dead_needed if row == tiers else needed
        if row == tiers and asked <= needed and work.plans[tier, CHANCE] >= ROUNDS_TO_ALL:
            plan[CHANCE] = work.plans[tier, CHANCE]
            continue
        quick = 0
        if task < tiers:
            quick = 2 if stored < tiers else 1
        elif row == tiers:
            quick = 2
        set_tier(heights[tier], figures[tier], work.home.values, work.level_dbuvm)
        work.searched[row] = search_circle(
            start_deg, quick, confidence, directional[tier], asked, wanted, figures[tier], work.home,
            work.scan, plan,
        )  # fmt: skip
        if task < tiers and stored == tiers and plan[CHANCE] >= confidence:
            stored = tier
        if directional[tier]:
            start_deg = plan[AIM_DEG]
    return stored


@kernel
def receive_cells(
    field_dbuvm, bearing_deg, kind, heights, directional, confidence_percent, needed, dead_needed, wanted,
    figures, work, result,
):  # fmt: skip
    """Fill result (ListReception's arrays, as a tuple in its order) for every cell.

    field_dbuvm (S, H, N), bearing_deg (M, N), kind (N,) of surroundings, heights (T,) index of each tier's
    height, directional (T,) bool, figures (K, T, FIGURES, W).
    """
    tier_out, tier_chance, dead_zone, margin, stored_margin, aim_out, limiting, deciding, chance, lower = (
        result
    )
    tiers = directional.size
    for cell in range(kind.size):
        if not read_home(cell, field_dbuvm, bearing_deg, wanted, work):
            continue
        figure = figures[kind[cell]]
        stored = rate_home(
            heights, directional, confidence_percent / 100.0, needed, dead_needed, wanted, figure, work
        )
        tier_out[cell] = stored + 1 if stored < tiers else TIER_NOT_PROMISED
        for tier in range(tiers):
            tier_chance[tier, cell] = percent_beside(work.plans[tier, CHANCE], confidence_percent)
        dead_zone[cell] = percent(work.plans[tiers, CHANCE])
        margin[cell] = work.plans[MARGIN_TIER - 1, WORST_DB]
        kept = work.plans[min(stored, tiers - 1)]
        stored_margin[cell] = kept[WORST_DB]
        aim_out[cell] = int(kept[AIM_DEG])
        lower[:, cell] = 0
        for one_lower in range(2 if stored > 0 else 1):
            tier = min(stored, tiers - 1) if one_lower == 0 else stored - 1
            set_tier(heights[tier], figure[tier], work.home.values, work.level_dbuvm)
            lowest = service_chances(
                cell, work.plans[tier], wanted, figure[tier], work.home, chance if one_lower == 0 else lower
            )
            if one_lower == 0:
                limiting[cell] = lowest
            else:
                deciding[cell] = lowest
