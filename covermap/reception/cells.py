"""The loop over cells: from their fields to tier, chances, plan and the services that decide."""

import dataclasses
import math
from collections import namedtuple

import numpy as np

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.amplifier import amplifier_code
from covermap.reception.best_plans import (
    DEAD_ROW,
    NOBODY,
    TWO_ROW,
    chance_nearly,
    find_one,
    read_receiver,
    set_tier,
    shorten_list,
)
from covermap.reception.confidence import CHOSEN, INTERFERENCE_DB, TOTAL_DEVIATION
from covermap.reception.network import strongest_interferer
from covermap.reception.normal import normal_share
from covermap.reception.overload import may_overload
from covermap.reception.pairs_here import disturbed_from_elsewhere
from covermap.reception.plan import set_plan
from covermap.reception.plan_columns import AIM_DEG, CHANCE, JOINED, SECOND_DEG, WORST_DB, copy_plan
from covermap.reception.rating import (
    MARGIN_TIER,
    SHIFTS_DB,
    STRONGER,
    WEAKER,
    holds_undisturbed,
    overload_state,
    rate_receiver,
    row_of,
    tier_stronger,
    tier_weaker,
)
from covermap.reception.signals import ListReception
from covermap.reception.verdicts import plan_flags, tier_without, write_aim_range

# ListReception's arrays as kernels read them.
CellResults = namedtuple("CellResults", [field.name for field in dataclasses.fields(ListReception)])  # type: ignore[misc]


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


@lean_kernel
def whole_db(loss_db):
    """Return a loss in whole decibels as a byte, 0 to 254."""
    return np.uint8(min(254.0, max(0.0, math.floor(loss_db + 0.5))))


@inner_kernel
def write_services(cell, tier, plan, kind, model, work, chance_percent):
    """Write each service's own chance under a plan; return the index of the lowest. The plan stays set."""
    values, index, joined = work.receiver.values, work.receiver.numbers, int(plan[JOINED])
    set_tier(tier, joined, np.bool_(False), np.int64(NOBODY), kind, model, work)
    set_plan(
        plan, 0.0, model.figures[kind, joined, tier], model.other_figures[kind, tier], model.wanted,
        model.pairs, work.receiver,
    )  # fmt: skip
    lowest = 0
    for number in range(model.wanted.services):
        deviation = values[TOTAL_DEVIATION, index[CHOSEN, number]]
        chance_percent[number, cell] = percent(normal_share(deviation))
        if deviation < values[TOTAL_DEVIATION, index[CHOSEN, lowest]]:
            lowest = number
    return lowest


@inner_kernel
def write_lower(cell, tier, promised, kind, asked, model, work, result):
    """Write what one antenna of a tier, that below the answer's, keeps at its best, and what decides there.

    promised : without, the answer's plan, which stays set from write_answer, is the last tier's too
    Return the index of the deciding service.
    """
    lower, lowest = result.service_chance_one_lower_percent, np.int64(result.limiting_service[cell])
    if promised:
        lowest = write_services(cell, tier, work.plans[tier], kind, model, work, lower)
    else:
        for number in range(model.wanted.services):
            lower[number, cell] = result.service_chance_percent[number, cell]
    item = work.receiver.numbers[CHOSEN, lowest]
    result.deciding_service[cell] = lowest
    result.deciding_station[cell] = model.wanted.station[item]
    result.deciding_interference_db[cell] = whole_db(work.receiver.values[INTERFERENCE_DB, item])
    result.deciding_interferer[cell] = strongest_interferer(item, model.pairs, work.receiver.interfering)
    result.interference_decides[cell] = holds_undisturbed(work.plans[tier], tier, kind, asked, model, work)
    return lowest


@inner_kernel
def write_answer(cell, rank, overload, kind, asked, model, work, result):
    """Write the answer's plan: aims, their ranges, each service alone, and remarks.

    overload : of overload_state
    """
    tier, row = row_of(rank, model)
    plan = work.plans[row]
    result.stored_margin_db[cell] = plan[WORST_DB]
    result.aim_deg[cell] = int(plan[AIM_DEG])
    result.second_aim_deg[cell] = int(plan[SECOND_DEG])
    result.limiting_service[cell] = write_services(
        cell, tier, plan, kind, model, work, result.service_chance_percent
    )
    for number in range(model.wanted.services):
        item = work.receiver.numbers[CHOSEN, number]
        result.service_station[number, cell] = model.wanted.station[item]
        result.service_interference_db[number, cell] = whole_db(work.receiver.values[INTERFERENCE_DB, item])
        result.service_interferer[number, cell] = strongest_interferer(
            item, model.pairs, work.receiver.interfering
        )
    if rank < model.order.shape[0]:
        write_aim_range(
            cell, AIM_DEG, plan, tier, kind, asked, model, work, result.aim_from_deg, result.aim_to_deg
        )
        if row != tier:
            write_aim_range(
                cell, SECOND_DEG, plan, tier, kind, asked, model, work, result.second_from_deg,
                result.second_to_deg,
            )  # fmt: skip
    result.plan_flags[cell] = plan_flags(rank, tier, row, overload, kind, asked, model, work)


@inner_kernel
def write_chances(cell, rank, asked, model, work, result):
    """Write the answer's tier and what is told in percent of the list."""
    tier, row = row_of(rank, model)
    result.tier[cell] = 1 + (tier if rank < model.order.shape[0] else model.tiers)
    for number in range(model.tiers):
        chance = work.plans[number, CHANCE]
        result.tier_chance_percent[number, cell] = percent_beside(chance, asked.confidence_percent)
    if row != tier:
        chance = work.plans[row, CHANCE]
        result.two_antennas_chance_percent[cell] = percent_beside(chance, asked.confidence_percent)
    result.dead_zone_chance_percent[cell] = percent(work.plans[model.tiers + DEAD_ROW, CHANCE])
    result.margin_db[cell] = work.plans[MARGIN_TIER - 1, WORST_DB]


@inner_kernel
def write_shifted(cell, rank, kind, asked, model, work, result):
    """Write tier and dead zone with every field weaker and stronger; the last tier set for the dead zone."""
    dead, last, needed = work.plans[model.tiers + DEAD_ROW], model.tiers - 1, asked.dead_needed
    for side in range(STRONGER + 1):
        found = np.uint8(100)
        if not work.sure[0]:
            found = percent(chance_nearly(dead, last, SHIFTS_DB[side], needed, kind, model, work))
        if side == WEAKER:
            result.dead_weaker[cell] = found
        else:
            result.dead_stronger[cell] = found
    result.tier_weaker[cell] = 1 + tier_weaker(rank, kind, asked, model, work)
    result.tier_stronger[cell] = 1 + tier_stronger(rank, model, work)


@inner_kernel
def write_plans(cell, rank, kind, asked, model, work, plans):
    """Write a cell's plans; those that were not looked for, as nothing depends on them, are found now."""
    for tier in range(model.tiers):
        if not work.searched[tier]:
            find_one(
                tier, tier, np.int64(0), work.plans[tier, AIM_DEG], asked.needed, np.int64(NOBODY), kind,
                asked, model, work,
            )  # fmt: skip
        copy_plan(work.plans[tier], plans[cell, tier])
    two = rank < model.order.shape[0] and model.order[rank, 1] == 2
    copy_plan(work.plans[model.tiers + TWO_ROW], plans[cell, model.tiers])
    plans[cell, model.tiers, CHANCE] = work.plans[model.tiers + TWO_ROW, CHANCE] if two else -1.0


@inner_kernel
def receive_cell(cell, shifted, kind, asked, fields, model, work, result, plans):
    """Fill the result for a cell, read before; model, kind : of the list here. Else as receive_cells."""
    result.disturbed[cell] = disturbed_from_elsewhere(model.wanted, model.pairs, work.receiver.interfering)
    rank = rate_receiver(shifted, kind, asked, model, work)
    if asked.tier_only:
        result.tier[cell] = 1 + row_of(rank, model)[0] + (rank == model.order.shape[0])
        return
    if shifted:
        write_shifted(cell, rank, kind, asked, model, work, result)
    write_chances(cell, rank, asked, model, work, result)
    tier, row = row_of(rank, model)
    watched = may_overload(cell, fields.median_dbuvm, model.loads)
    overload = 0
    if watched:
        overload = overload_state(tier, work.plans[row], cell, fields, model)
    write_answer(cell, rank, overload, kind, asked, model, work, result)
    result.service_chance_one_lower_percent[:, cell] = 0
    given_up = np.int64(0)
    if result.tier[cell] > 1:
        lower, promised = np.int64(result.tier[cell]) - 2, rank < model.order.shape[0]
        given_up = write_lower(cell, lower, promised, kind, asked, model, work, result)
    result.amplifier[cell] = amplifier_code(
        cell, tier, row, watched, overload, kind, asked, fields, model, work
    )
    without = tier_without(given_up, rank, kind, asked, model, work)
    result.tier_without_deciding[cell] = 1 + without
    if plans.shape[0] > 0:
        write_plans(cell, rank, kind, asked, model, work, plans)


@lean_kernel
def receive_cells(asked, shifted, fields, model, work, result, plans):
    """Fill the result, CellResults, for every cell.

    shifted : bool (N,), where fields are also tried 3 dB weaker and stronger.
    plans : (N, tiers + 1, PLAN_COLUMNS), or empty: see ListReceiver.receive_with_plans
    """
    for cell in range(fields.kind.size):
        if not read_receiver(cell, fields, model.wanted, model.pairs, work):
            continue
        kind = fields.kind[cell]
        if work.here.shortened:
            shorten_list(kind, model, work)
            kind = np.int64(0)
        receive_cell(cell, shifted[cell], kind, asked, fields, work.here.model, work, result, plans)
