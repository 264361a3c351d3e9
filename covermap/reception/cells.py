"""The loop over cells: from their fields to tier, chances, plan and the services that decide."""

import math

import numpy as np

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.amplifier import amplifier_code
from covermap.reception.confidence import CHOSEN, INTERFERENCE_DB, TOTAL_DEVIATION
from covermap.reception.home import DEAD_ROW, TWO_ROW, chance_at, find_one, read_home, set_tier
from covermap.reception.network import strongest_interferer
from covermap.reception.normal import normal_share
from covermap.reception.overload import may_overload
from covermap.reception.plan import (
    AIM_DEG,
    CHANCE,
    JOINED,
    SECOND_DEG,
    WORST_DB,
    choose_transmitters,
    copy_plan,
    set_plan,
)
from covermap.reception.rating import (
    MARGIN_TIER,
    NOBODY,
    SHIFTS_DB,
    UNDISTURBED,
    WEAKER,
    rate_home,
    row_of,
    tier_stronger,
    tier_weaker,
)
from covermap.reception.verdicts import plan_flags, tier_without, write_aim_range


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
def write_plans(cell, place, kind, asked, model, work, plans):
    """Write a cell's plans; those that were not looked for, as nothing depends on them, are found now."""
    for tier in range(model.tiers):
        if not work.searched[tier]:
            find_one(
                tier, tier, np.int64(0), work.plans[tier, AIM_DEG], asked.needed, np.int64(NOBODY), kind,
                asked, model, work,
            )  # fmt: skip
        copy_plan(work.plans[tier], plans[cell, tier])
    two = place < model.order.shape[0] and model.order[place, 1] == 2
    copy_plan(work.plans[model.tiers + TWO_ROW], plans[cell, model.tiers])
    plans[cell, model.tiers, CHANCE] = work.plans[model.tiers + TWO_ROW, CHANCE] if two else -1.0


@lean_kernel
def receive_cells(asked, shifted, fields, model, work, result, plans):
    """Fill result (ListReception's arrays, as a tuple in its order) for every cell.

    shifted : bool (N,), where fields are also tried 3 dB weaker and stronger.
    plans : (N, tiers + 1, PLAN_COLUMNS), or empty: see ListReceiver.receive_with_plans
    """
    (
        tier_out, tier_chance, two_chance, dead_zone, margin, stored_margin, aim_out, limiting, deciding,
        chance, lower, second_out, aim_from, aim_to, second_from, second_to, flags, amplifier, without,
        weaker, stronger, dead_weaker, dead_stronger, station, interference, interferer, deciding_station,
        deciding_interference, deciding_interferer, interference_decides,
    ) = result  # fmt: skip
    tiers = model.tiers
    wanted, pairs, home = model.wanted, model.pairs, work.home
    index = home.numbers
    for cell in range(fields.kind.size):
        if not read_home(cell, fields, wanted, pairs, work):
            continue
        kind = fields.kind[cell]
        watched = may_overload(cell, fields.median_dbuvm, model.loads)
        place = rate_home(cell, shifted[cell], watched, kind, asked, fields, model, work)
        tier, row = row_of(place, model)
        stored = tiers if place == model.order.shape[0] else tier
        kept, dead = work.plans[row], work.plans[tiers + DEAD_ROW]
        if shifted[cell]:
            for side in range(2):
                found = percent(
                    chance_at(dead, tiers - 1, SHIFTS_DB[side], asked.dead_needed, kind, model, work)
                )
                if side == WEAKER:
                    dead_weaker[cell] = found
                else:
                    dead_stronger[cell] = found
            weaker[cell] = tier_weaker(place, kind, asked, model, work) + 1
            stronger[cell] = tier_stronger(place, model, work) + 1
        tier_out[cell] = stored + 1
        for number in range(tiers):
            tier_chance[number, cell] = percent_beside(work.plans[number, CHANCE], asked.confidence_percent)
        if row != tier:
            two_chance[cell] = percent_beside(kept[CHANCE], asked.confidence_percent)
        dead_zone[cell] = percent(dead[CHANCE])
        margin[cell] = work.plans[MARGIN_TIER - 1, WORST_DB]
        stored_margin[cell] = kept[WORST_DB]
        aim_out[cell] = int(kept[AIM_DEG])
        second_out[cell] = int(kept[SECOND_DEG])
        lower[:, cell] = 0
        given_up = np.int64(0)
        for one_lower in range(2 if stored > 0 else 1):
            of_tier = stored - 1 if one_lower == 1 else tier
            plan = work.plans[of_tier] if one_lower == 1 else kept
            joined = int(plan[JOINED])
            set_tier(of_tier, joined, np.bool_(False), np.int64(NOBODY), kind, model, work)
            lowest = service_chances(
                cell, plan, model.figures[kind, joined, of_tier], model.pair_figures[kind, joined, of_tier],
                wanted, pairs, home, chance if one_lower == 0 else lower,
            )  # fmt: skip
            if one_lower == 1:
                given_up = lowest
                deciding[cell] = lowest
                interference_decides[cell] = work.passes[of_tier, UNDISTURBED]
                deciding_station[cell] = wanted.station[index[CHOSEN, lowest]]
                deciding_interference[cell] = whole_db(home.values[INTERFERENCE_DB, index[CHOSEN, lowest]])
                deciding_interferer[cell] = strongest_interferer(
                    index[CHOSEN, lowest], pairs, home.disturbing
                )
                continue
            limiting[cell] = lowest
            for number in range(wanted.services):
                item = index[CHOSEN, number]
                station[number, cell] = wanted.station[item]
                interference[number, cell] = whole_db(home.values[INTERFERENCE_DB, item])
                interferer[number, cell] = strongest_interferer(item, pairs, home.disturbing)
            if stored < tiers:
                write_aim_range(cell, AIM_DEG, kept, tier, kind, asked, model, work, aim_from, aim_to)
                if row != tier:
                    write_aim_range(
                        cell, SECOND_DEG, kept, tier, kind, asked, model, work, second_from, second_to
                    )
            flags[cell] = plan_flags(place, tier, row, kind, asked, model, work)
        amplifier[cell] = amplifier_code(cell, tier, row, watched, kind, asked, fields, model, work)
        without[cell] = 1 + tier_without(given_up, place, kind, asked, model, work)
        if plans.shape[0] > 0:
            write_plans(cell, place, kind, asked, model, work, plans)


@lean_kernel
def whole_db(loss_db):
    """Return a loss in whole decibels as a byte, 0 to 254."""
    return np.uint8(min(254.0, max(0.0, math.floor(loss_db + 0.5))))
