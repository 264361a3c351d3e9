"""The slow judge of the search for aims: every whole degree and mount, the whole integral at each."""

import numpy as np

from covermap.propagation.compiling import lean_kernel
from covermap.reception import ListReceiver
from covermap.reception.aim_search import search_every_degree
from covermap.reception.best_plans import read_receiver, set_tier
from covermap.reception.plan_columns import AIM_DEG, CHANCE, SINGLE
from covermap.reception.receive import cell_arrays, fields_of


@lean_kernel
def _fill_best(asked, fields, model, work, chance, aim_deg):
    for cell in range(fields.kind.size):
        if not read_receiver(cell, fields, model.wanted, model.pairs, work):
            continue
        kind = fields.kind[cell]
        for tier in range(model.tiers):
            set_tier(tier, np.int64(SINGLE), np.bool_(False), np.int64(-1), kind, model, work)
            search_every_degree(
                asked.needed, model.wanted, model.figures[kind, SINGLE, tier],
                model.other_figures[kind, tier], model.pairs, work.receiver, work.plans[tier],
            )  # fmt: skip
            chance[tier, cell] = work.plans[tier, CHANCE]
            aim_deg[tier, cell] = work.plans[tier, AIM_DEG]


def best_of_every_degree(signals, facts, tiers, wanted, options):
    """Return chance and azimuth of each tier's best aim of one antenna in every cell, shapes (7, N)."""
    around = (signals.surroundings,)
    receiver = ListReceiver(facts, tiers, wanted, options, signals.heights_m, *around)
    fields = fields_of(signals, receiver.kind_of(signals), receiver.level_of)
    shape = len(tiers), signals.open_land.size
    chance, aim_deg = np.full(shape, np.nan), np.full(shape, np.nan)
    _fill_best(
        receiver.asked, fields, receiver.model, cell_arrays(signals.heights_m.size, receiver.model), chance,
        aim_deg,
    )  # fmt: skip
    return chance, aim_deg


def with_one_antenna(signals, facts, tiers, wanted, options):
    """Return reception of every cell, second antennas left out."""
    around = (signals.surroundings,)
    receiver = ListReceiver(facts, tiers, wanted, options, signals.heights_m, *around)
    order = receiver.model.order
    receiver.model = receiver.model._replace(order=order[order[:, 1] == 1])
    return receiver.receive(signals)
