"""The loop over cells: from their fields to tier, chances, plan and the services that decide."""

import math

import numpy as np

from covermap.constants import TIER_NOT_PROMISED
from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.confidence import CHOSEN, INTERFERENCE_DB, TOTAL_DEVIATION
from covermap.reception.home import chance_at, read_home, set_tier
from covermap.reception.network import strongest_interferer
from covermap.reception.normal import normal_share
from covermap.reception.plan import (
    AIM_DEG,
    CHANCE,
    JOINED,
    SECOND_DEG,
    WORST_DB,
    choose_transmitters,
    set_plan,
)
from covermap.reception.rating import MARGIN_TIER, NOBODY, SHIFTS_DB, UNDISTURBED, rate_home, tier_holding
from covermap.reception.verdicts import amplifier_verdict, plan_flags, tier_without, write_aim_range


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


@lean_kernel
def receive_cells(asked, shifted, fields, model, work, result):
    """Fill result (ListReception's arrays, as a tuple in its order) for every cell.

    shifted : bool (N,), where fields are also tried 3 dB weaker and stronger.
    """
    (
        tier_out, tier_chance, dead_zone, margin, stored_margin, aim_out, limiting, deciding, chance, lower,
        second_out, aim_from, aim_to, flags, amplifier, without, weaker, stronger, dead_weaker, dead_stronger,
        station, interference, interferer, deciding_station, deciding_interference, deciding_interferer,
        interference_decides,
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
                write_aim_range(cell, plan, tier, kind, asked, model, work, aim_from, aim_to)
            flags[cell] = plan_flags(plan, tier, stored, kind, asked, model, work)
        without[cell] = 1 + tier_without(given_up, stored, kind, asked, model, work)


@lean_kernel
def whole_db(loss_db):
    """Return a loss in whole decibels as a byte, 0 to 254."""
    return np.uint8(min(254.0, max(0.0, math.floor(loss_db + 0.5))))
