"""The loop over cells: from their fields to tier, chances, plan and the services that decide."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_ranking import CIRCLE, CIRCLE_AIMS, ScanArrays, fill_squares
from covermap.reception.aim_search import ANY_AIM, ROUNDS_TO_ALL, search_circle
from covermap.reception.budget import NEED_DBUVM, SHORT_DB, WantedTransmitters
from covermap.reception.confidence import (
    BEARING_DEG,
    CHOSEN,
    CLEAR_DB,
    INTERFERENCE_DB,
    TOTAL_DEVIATION,
    UPPER_DB,
)
from covermap.reception.interference import Pairs, read_pairs, set_pairs
from covermap.reception.normal import normal_share
from covermap.reception.overload import Loads, may_overload, overload_of
from covermap.reception.plan import (
    AIM_DEG,
    CHANCE,
    COMBINED,
    DIPLEXED,
    JOINED,
    MOUNT,
    SECOND_DEG,
    SINGLE,
    WORST_DB,
    HomeArrays,
    chance_of_plan,
    choose_transmitters,
    copy_plan,
    set_plan,
)
from covermap.reception.signals import (
    AMPLIFIER_DOES_NOTHING,
    AMPLIFIER_HARMS,
    AMPLIFIER_HELPS,
    MAY_OVERLOAD,
    NEEDS_FILTER,
)
from covermap.reception.signals import DIPLEXED as DIPLEXED_BIT
from covermap.reception.signals import LOST_AT_NIGHT as NIGHT_BIT
from covermap.reception.signals import OWN_HIGH_VHF as HIGH_VHF_BIT
from covermap.reception.signals import VERTICAL_MOUNT as VERTICAL_BIT
from covermap.reception.two_antennas import AimArrays, search_two

MARGIN_TIER = 5  # the tier whose margin is a layer of its own
SHIFTS_DB = (-3.0, 3.0)  # how every field is tried again
LEAST_HELP = 0.05  # of the list's chance; an amplifier that brings less does nothing (judgement)
NOT_ASKED_DB = 200.0  # margin of a service that is given up
NIGHT, UNDISTURBED = 2, 3  # columns of CellArrays.passes, behind the shifts
NOBODY = -1  # no service is given up
FULL_TURN = 360  # degrees

# A home's state, one number each: CellArrays.state.
OVERLOADED, CLOSE = 2, 1


class Fields(NamedTuple):
    """Fields of every station, (S, H, N), bearing and distance of every mast (M, N), kind of surroundings."""

    wanted_dbuvm: NDArray[np.float32]
    unwanted_dbuvm: NDArray[np.float32]
    median_dbuvm: NDArray[np.float32]
    bearing_deg: NDArray[np.float32]
    distance_km: NDArray[np.float32]
    kind: NDArray[np.int64]


class Installations(NamedTuple):
    """What is the same for every cell: K kinds of surroundings, T tiers, each with one antenna or two.

    figures : (K, 3, T, FIGURES, W), pair_figures : (K, 3, T, PAIR_FIGURES, P), second axis plan.JOINED_AS
    heights : (T,), index of each tier's height. directional, two : bool (T,), whether a tier tells directions
    apart, and whether a second antenna is worth trying. diplexer : whether the list has VHF and UHF
    amplified : index of the first tier with an amplifier, -1 none. high_vhf : whether the list has high VHF
    """

    figures: NDArray[np.float64]
    pair_figures: NDArray[np.float64]
    heights: NDArray[np.int64]
    directional: NDArray[np.bool_]
    two: NDArray[np.bool_]
    diplexer: bool
    amplified: int
    high_vhf: bool
    wanted: WantedTransmitters
    pairs: Pairs
    loads: Loads


class Asked(NamedTuple):
    """What is asked: confidence 0 to 1 and in percent, services needed, those that end a dead zone."""

    confidence: float
    confidence_percent: float
    needed: int
    dead_needed: int


class CellArrays(NamedTuple):
    """Work arrays of the loop, made once a thread.

    level_dbuvm : (H, W) fields of a cell. known : (services,)
    plans : (tiers + 2, PLAN_COLUMNS), the last two for the dead zone and for a list with a service given up
    searched : (tiers + 2,) whether a plan is the best one. overload : (tiers,), 0, CLOSE or OVERLOADED
    passes : (tiers, 4), whether a tier's plan holds with every field weaker, stronger, by day, undisturbed
    """

    home: HomeArrays
    level_dbuvm: NDArray[np.float64]
    known: NDArray[np.bool_]
    plans: NDArray[np.float64]
    searched: NDArray[np.bool_]
    overload: NDArray[np.int64]
    passes: NDArray[np.bool_]
    scan: ScanArrays
    aims: AimArrays


@lean_kernel
def percent(chance):
    """Return a chance in whole percent."""
    return np.uint8(math.floor(100.0 * chance + 0.5))


@lean_kernel
def percent_beside(chance, confidence_percent):
    """Return a chance in whole percent, on the same side of the confidence as the chance itself."""
    rounded = math.floor(100.0 * chance + 0.5)
    if 100.0 * chance < confidence_percent:
        return np.uint8(min(rounded, math.ceil(confidence_percent) - 1.0))
    return np.uint8(max(rounded, math.ceil(confidence_percent)))


@inner_kernel
def read_home(cell, fields, wanted, pairs, work):
    """Fill a cell's fields and bearings; return whether every service has a known transmitter.

    A transmitter unknown at any height gets -inf: it is never chosen where another one is known.
    """
    work.known[:] = False
    for item in range(wanted.station.size):
        bearing = fields.bearing_deg[wanted.mast[item], cell]
        whole = not math.isnan(bearing)
        for height in range(work.level_dbuvm.shape[0]):
            level = fields.wanted_dbuvm[wanted.station[item], height, cell]
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
    if pairs.station.size > 0:
        read_pairs(
            cell, fields.unwanted_dbuvm, fields.median_dbuvm, fields.wanted_dbuvm, fields.bearing_deg,
            fields.distance_km, wanted, pairs, work.home.disturbing,
        )  # fmt: skip
    return True


@inner_kernel
def set_tier(tier, joined, by_day, without, kind, model, work):
    """Fill each transmitter's margin at its own bearing with a tier's installation, and what disturbs it.

    by_day : with disturbing fields at 50 % of time. without : a service taken as received, -1 none
    """
    wanted, values = model.wanted, work.home.values
    figures, height = model.figures[kind, joined, tier], model.heights[tier]
    for item in range(wanted.station.size):
        clear_db = work.level_dbuvm[height, item] - figures[NEED_DBUVM, item]
        clear_db = NOT_ASKED_DB if wanted.service[item] == without else clear_db
        values[CLEAR_DB, item] = clear_db
        values[UPPER_DB, item] = clear_db
    if work.home.disturbing.some[0]:
        pair_figures = model.pair_figures[kind, joined, tier]
        set_pairs(by_day, height, figures, pair_figures, model.pairs, values, work.home.disturbing)


@inner_kernel
def find_plan(tier, row, quick, start_deg, needed, without, kind, asked, model, work):
    """Find the best plan of a tier, one antenna or two, into a row of work.plans; the tier stays set for it.

    Return whether it is the best one, as search_circle. Two antennas are looked at where one does not reach
    the confidence, and kept where they do.
    """
    plan, home = work.plans[row], work.home
    by_day = np.bool_(False)
    set_tier(tier, np.int64(SINGLE), by_day, without, kind, model, work)
    best = search_circle(
        start_deg, quick, asked.confidence, model.directional[tier], needed, model.wanted,
        model.figures[kind, SINGLE, tier], model.pair_figures[kind, SINGLE, tier], model.pairs, home,
        work.scan, plan,
    )  # fmt: skip
    if plan[CHANCE] >= asked.confidence or not model.two[tier]:
        return best
    for joined in range(COMBINED, DIPLEXED + 1):
        if joined == COMBINED or model.diplexer:
            set_tier(tier, joined, by_day, without, kind, model, work)
            search_two(
                joined, asked.confidence, needed, model.wanted, model.figures[kind, joined, tier],
                model.pair_figures[kind, joined, tier], model.pairs, home, work.aims, plan,
            )  # fmt: skip
    set_tier(tier, int(plan[JOINED]), by_day, without, kind, model, work)
    return best or plan[CHANCE] >= asked.confidence


@inner_kernel
def chance_at(plan, tier, shift_db, needed, kind, model, work):
    """Return the chance of a plan with every field raised by shift_db; the tier set for the plan."""
    joined = int(plan[JOINED])
    return chance_of_plan(
        plan, shift_db, needed, model.figures[kind, joined, tier], model.pair_figures[kind, joined, tier],
        model.wanted, model.pairs, work.home,
    )  # fmt: skip


@inner_kernel
def look_again(tier, cell, shifted, watched, kind, asked, fields, model, work):
    """Fill passes and overload of a tier's plan; the tier set for it.

    shifted : whether fields are tried weaker and stronger. watched : whether anything can overload here.
    By day, and with nothing that disturbs, is only looked at where the plan misses the confidence.
    """
    plan = work.plans[tier]
    passes = work.passes[tier]
    passes[:] = False
    if watched:
        excess_db, _, spread_db = overload_of(
            tier, model.heights[tier], cell, model.loads.figures[kind, tier], plan, fields.median_dbuvm,
            fields.bearing_deg, model.loads,
        )  # fmt: skip
        work.overload[tier] = OVERLOADED if excess_db > 0.0 else (CLOSE if excess_db + spread_db > 0.0 else 0)
    else:
        work.overload[tier] = 0
    reaches = plan[CHANCE] >= asked.confidence
    some = work.home.disturbing.some[0]
    for trial in range(UNDISTURBED + 1):
        if trial < NIGHT and (not shifted or (trial == 0 and not reaches) or (trial == 1 and reaches)):
            passes[trial] = trial == 1 and reaches  # 3 dB more never lose what is there, nor 3 less gain it
            continue
        if trial >= NIGHT and (reaches or not some):
            continue
        if trial == NIGHT:
            set_tier(tier, int(plan[JOINED]), np.bool_(True), np.int64(NOBODY), kind, model, work)
        work.home.disturbing.some[0] = some and trial != UNDISTURBED
        shift_db = SHIFTS_DB[trial] if trial < NIGHT else 0.0
        chance = chance_at(plan, tier, shift_db, asked.needed, kind, model, work)
        passes[trial] = chance >= asked.confidence
    work.home.disturbing.some[0] = some


@inner_kernel
def next_task(task, tiers, stored, work):
    """Return the tier whose best plan is to be found, -1 for nothing to do.

    Tasks 0 to tiers - 1 rate each tier. Then come the plans that are kept: of the margin layer, the stored
    tier, the one below it, and at last the dead zone's (row tiers of work.plans).
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


@inner_kernel
def rate_home(cell, shifted, kind, asked, fields, model, work):
    """Fill work.plans for one cell: chance and, where it is kept, the best plan of every tier.

    The row behind the last tier's takes the dead zone's plan: the last tier's best aim for at least
    asked.dead_needed services. Return the index of the lowest tier whose plan holds, overload left out (a
    filter stops it); the number of tiers where none holds.

    Searches are skipped where whole percents do not depend on them.
    """
    tiers = model.directional.size
    stored = tiers
    watched = may_overload(cell, fields.median_dbuvm, model.loads)
    fill_squares(CIRCLE, CIRCLE_AIMS, model.wanted, work.home.values, work.scan)
    start_deg = float(math.floor(work.home.values[BEARING_DEG, 0]))
    for task in range(tiers + 4):
        row = next_task(task, tiers, stored, work)
        if row < 0:
            continue
        tier = min(row, tiers - 1)
        plan = work.plans[row]
        needed = asked.dead_needed if row == tiers else asked.needed
        if row == tiers and needed <= asked.needed and work.plans[tier, CHANCE] >= ROUNDS_TO_ALL:
            copy_plan(work.plans[tier], plan)
            set_tier(tier, int(plan[JOINED]), np.bool_(False), np.int64(NOBODY), kind, model, work)
            continue
        quick = 0
        if task < tiers:
            quick = 2 if stored < tiers else 1
        elif row == tiers:
            quick = 2
        work.searched[row] = find_plan(
            tier, row, quick, start_deg, needed, np.int64(NOBODY), kind, asked, model, work
        )
        if row < tiers:
            look_again(tier, cell, shifted, watched, kind, asked, fields, model, work)
        if task < tiers and plan[CHANCE] >= asked.confidence:
            stored = min(stored, tier)
        if model.directional[tier]:
            start_deg = plan[AIM_DEG]
    return stored


@inner_kernel
def service_chances(cell, plan, figures, pair_figures, wanted, pairs, home, chance_percent):
    """Write each service's own chance under a plan; return the index of the lowest."""
    values, index = home.values, home.numbers
    set_plan(plan, 0.0, figures, pair_figures, wanted, pairs, home)
    choose_transmitters(wanted, values, index)
    lowest = 0
    for number in range(wanted.services):
        deviation = values[TOTAL_DEVIATION, index[CHOSEN, number]]
        chance_percent[number, cell] = percent(normal_share(deviation))
        if deviation < values[TOTAL_DEVIATION, index[CHOSEN, lowest]]:
            lowest = number
    return lowest


@inner_kernel
def tier_holding(column, work):
    """Return the lowest tier whose plan passes a column of work.passes; the number of tiers: none."""
    for tier in range(work.overload.size):
        if work.passes[tier, column]:
            return tier
    return work.overload.size


@inner_kernel
def tier_without(deciding, stored, kind, asked, model, work):
    """Return the lowest tier that holds the rest of a list with its deciding service given up."""
    tiers = model.directional.size
    if asked.needed < model.wanted.services or model.wanted.services == 1:
        return stored
    for tier in range(min(stored, tiers)):
        start_deg = work.plans[tier, AIM_DEG]
        find_plan(
            tier, tiers + 1, np.int64(ANY_AIM), start_deg, asked.needed, deciding, kind, asked, model, work
        )
        if work.plans[tiers + 1, CHANCE] >= asked.confidence:
            return tier
    return stored


@inner_kernel
def reach_of_aim(side, plan, tier, kind, asked, model, work):
    """Return how many degrees to one side (1 or -1) a plan's first antenna may turn and keep the confidence.

    Steps of 8 and then 20 degrees to the first that fails, then halving; 359 where none fails. The plan set.
    """
    trial = work.plans[work.plans.shape[0] - 1]
    good, bad, step = 0, FULL_TURN, 8
    while bad - good > 1:
        turned = good + (bad - good) // 2 if bad < FULL_TURN else min(good + step, FULL_TURN - 1)
        copy_plan(plan, trial)
        trial[AIM_DEG] = (plan[AIM_DEG] + side * turned + 360.0) % 360.0
        if chance_at(trial, tier, 0.0, asked.needed, kind, model, work) >= asked.confidence:
            good = turned
            step = 20
        else:
            bad = turned
    return good


@inner_kernel
def write_aim_range(cell, plan, tier, kind, asked, model, work, aim_from, aim_to):
    """Write the azimuths of a plan's first antenna that keep the confidence; the tier set for the plan."""
    aim_from[cell], aim_to[cell] = 0, 359
    if not model.directional[tier]:
        return
    before = reach_of_aim(-1.0, plan, tier, kind, asked, model, work)
    after = reach_of_aim(1.0, plan, tier, kind, asked, model, work)
    if before + after < 359:
        aim_from[cell] = (int(plan[AIM_DEG]) - before) % 360
        aim_to[cell] = (int(plan[AIM_DEG]) + after) % 360


@inner_kernel
def amplifier_verdict(asked, model, work):
    """Return what an amplifier does at the mount of the first tier that has one; 255 where none has.

    Compared with the tier below it, which is the same installation without.
    """
    tier = model.amplified
    if tier < 1:
        return 255
    if work.overload[tier] == OVERLOADED and work.overload[tier - 1] != OVERLOADED:
        return AMPLIFIER_HARMS
    without, chance = work.plans[tier - 1, CHANCE], work.plans[tier, CHANCE]
    helps = without < asked.confidence and chance - without >= LEAST_HELP
    return AMPLIFIER_HELPS if helps else AMPLIFIER_DOES_NOTHING


@inner_kernel
def plan_flags(plan, tier, stored, kind, asked, model, work):
    """Return the flags of the stored plan; the tier set for it. stored : number of tiers for tier 8."""
    tiers = model.directional.size
    flags = 0
    if work.overload[tier] == OVERLOADED and stored < tiers:
        flags |= NEEDS_FILTER
    elif work.overload[tier] == CLOSE:
        flags |= MAY_OVERLOAD
    for lower in range(min(stored, tiers)):
        if work.passes[lower, NIGHT]:
            flags |= NIGHT_BIT
    if plan[MOUNT] == 1.0:
        flags |= VERTICAL_BIT
    if plan[JOINED] == DIPLEXED:
        flags |= DIPLEXED_BIT
    if model.high_vhf and stored < tiers:
        figures = model.figures[kind, int(plan[JOINED]), tier]
        for item in range(model.wanted.station.size):
            work.home.values[CLEAR_DB, item] -= figures[SHORT_DB, item]
        if chance_at(plan, tier, 0.0, asked.needed, kind, model, work) < asked.confidence:
            flags |= HIGH_VHF_BIT
    return flags


@lean_kernel
def receive_cells(asked, shifted, fields, model, work, result):
    """Fill result (ListReception's arrays, as a tuple in its order) for every cell.

    shifted : bool (N,), where fields are also tried 3 dB weaker and stronger.
    """
    (
        tier_out, tier_chance, dead_zone, margin, stored_margin, aim_out, limiting, deciding, chance, lower,
        second_out, aim_from, aim_to, flags, amplifier, without, weaker, stronger, dead_weaker, dead_stronger,
        station, interference, deciding_station, deciding_interference, interference_decides,
    ) = result  # fmt: skip
    tiers = model.directional.size
    wanted, pairs, home = model.wanted, model.pairs, work.home
    index = home.numbers
    for cell in range(fields.kind.size):
        if not read_home(cell, fields, wanted, pairs, work):
            continue
        kind = fields.kind[cell]
        stored = rate_home(cell, shifted[cell], kind, asked, fields, model, work)
        if shifted[cell]:
            dead_weaker[cell] = percent(
                chance_at(work.plans[tiers], tiers - 1, SHIFTS_DB[0], asked.dead_needed, kind, model, work)
            )
            dead_stronger[cell] = percent(
                chance_at(work.plans[tiers], tiers - 1, SHIFTS_DB[1], asked.dead_needed, kind, model, work)
            )
            weaker[cell] = tier_holding(np.int64(0), work) + 1
            stronger[cell] = tier_holding(np.int64(1), work) + 1
        tier_out[cell] = stored + 1 if stored < tiers else TIER_NOT_PROMISED
        for tier in range(tiers):
            tier_chance[tier, cell] = percent_beside(work.plans[tier, CHANCE], asked.confidence_percent)
        dead_zone[cell] = percent(work.plans[tiers, CHANCE])
        margin[cell] = work.plans[MARGIN_TIER - 1, WORST_DB]
        amplifier[cell] = amplifier_verdict(asked, model, work)
        kept_tier = min(stored, tiers - 1)
        kept = work.plans[kept_tier]
        stored_margin[cell] = kept[WORST_DB]
        aim_out[cell] = int(kept[AIM_DEG])
        second_out[cell] = int(kept[SECOND_DEG])
        lower[:, cell] = 0
        given_up = np.int64(0)
        for one_lower in range(2 if stored > 0 else 1):
            tier = stored - 1 if one_lower == 1 else kept_tier
            plan = work.plans[tier]
            joined = int(plan[JOINED])
            set_tier(tier, joined, np.bool_(False), np.int64(NOBODY), kind, model, work)
            lowest = service_chances(
                cell, plan, model.figures[kind, joined, tier], model.pair_figures[kind, joined, tier], wanted,
                pairs, home, chance if one_lower == 0 else lower,
            )  # fmt: skip
            if one_lower == 1:
                given_up = lowest
                deciding[cell] = lowest
                interference_decides[cell] = work.passes[tier, UNDISTURBED]
                deciding_station[cell] = wanted.station[index[CHOSEN, lowest]]
                deciding_interference[cell] = whole_db(home.values[INTERFERENCE_DB, index[CHOSEN, lowest]])
                continue
            limiting[cell] = lowest
            for number in range(wanted.services):
                item = index[CHOSEN, number]
                station[number, cell] = wanted.station[item]
                interference[number, cell] = whole_db(home.values[INTERFERENCE_DB, item])
            if stored < tiers:
                write_aim_range(cell, plan, tier, kind, asked, model, work, aim_from, aim_to)
            flags[cell] = plan_flags(plan, tier, stored, kind, asked, model, work)
        without[cell] = 1 + tier_without(given_up, stored, kind, asked, model, work)


@lean_kernel
def whole_db(loss_db):
    """Return a loss in whole decibels as a byte, 0 to 254."""
    return np.uint8(min(254.0, max(0.0, math.floor(loss_db + 0.5))))
