"""One receiver site: its fields read, an installation set, and its best plan with one antenna or with two."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_chance import (
    NEARLY,
    bound_plans,
    chance_by_few,
    decides_by_few,
    reaches,
    slack_of_few,
)
from covermap.reception.aim_search import JUST_MISSED, forget_plan, search_circle
from covermap.reception.budget import NEED_DBUVM
from covermap.reception.confidence import BEARING_DEG, CLEAR_DB, LEVEL, UPPER_DB
from covermap.reception.deciding import forget_deciding
from covermap.reception.interference import set_pairs
from covermap.reception.list_here import ListArrays, fill_list, keep_best
from covermap.reception.pairs_here import read_pairs
from covermap.reception.plan import ReceiverArrays, chance_of_plan
from covermap.reception.plan_columns import BOUND, CHANCE, COMBINED, DIPLEXED, JOINED, SINGLE
from covermap.reception.search_arrays import SearchArrays
from covermap.reception.spreads import set_spreads
from covermap.reception.two_antennas import AimArrays, search_two

NOT_ASKED_DB = 200.0  # margin of a service that is given up
NOBODY = -1  # no service is given up
INDOORS = 1  # index of a tier whose antenna stands indoors

# Rows of the plans at a receiver site behind those of the tiers.
DEAD_ROW = 0  # the last tier's, for at least dead_needed services
OTHER_ROW = 1  # for a list with a service given up, or of an installation tried beside the answer's
TWO_ROW = 2  # of two antennas, where the answer has two
TWIN_ROW = 3  # of the answer's installation with an amplifier added or left out
TRIAL_ROW = 4
FURTHER_ROWS = 5


class Fields(NamedTuple):
    """What arrives in N cells.

    Fields of every station, (S, H, N), its level of spread (S, N), bearing and distance of every mast (M, N),
    kind of surroundings (N,).
    """

    wanted_dbuvm: NDArray[np.float32]
    unwanted_dbuvm: NDArray[np.float32]
    median_dbuvm: NDArray[np.float32]
    spread_level: NDArray[np.uint8]
    bearing_deg: NDArray[np.float32]
    distance_km: NDArray[np.float32]
    kind: NDArray[np.int64]


class Asked(NamedTuple):
    """What is asked: confidence 0 to 1 and in percent, services needed, those that end a dead zone.

    tier_only : nothing but the tier: of each installation any aim that reaches the confidence is enough
    """

    confidence: float
    confidence_percent: float
    needed: int
    dead_needed: int
    tier_only: bool


class CellArrays(NamedTuple):
    """Work arrays of the loop, made once a thread.

    level_dbuvm : (H, W) fields of a cell. known : (services,)
    plans : (tiers + FURTHER_ROWS, PLAN_COLUMNS), the best plan of one antenna of every tier; further rows as
        named below
    searched : (tiers,) whether a tier's plan is the best one
    sure : (1,), whether dead_needed services arrive with the last tier all but certainly, even 3 dB weaker
    passes : (plans, 3), whether a plan holds with every field weaker, stronger, and by day
    """

    receiver: ReceiverArrays
    level_dbuvm: NDArray[np.float64]
    known: NDArray[np.bool_]
    plans: NDArray[np.float64]
    searched: NDArray[np.bool_]
    sure: NDArray[np.bool_]
    passes: NDArray[np.bool_]
    by_aim: SearchArrays
    aims: AimArrays
    here: ListArrays


@inner_kernel
def read_fields(cell, fields, wanted, work):
    """Fill a cell's fields and bearings, and which services are known; return how many are.

    A transmitter unknown at any height gets -inf: it is never chosen where another one is known.
    """
    work.known[:] = False
    for item in range(wanted.items[0]):
        bearing = fields.bearing_deg[wanted.mast[item], cell]
        work.receiver.numbers[LEVEL, item] = fields.spread_level[wanted.station[item], cell]
        whole = not math.isnan(bearing)
        for height in range(work.level_dbuvm.shape[0]):
            level = fields.wanted_dbuvm[wanted.station[item], height, cell]
            work.level_dbuvm[height, item] = level
            whole = whole and not math.isnan(level)
        if whole:
            work.receiver.values[BEARING_DEG, item] = bearing
            work.known[wanted.service[item]] = True
        else:
            work.receiver.values[BEARING_DEG, item] = 0.0
            work.level_dbuvm[:, item] = -math.inf
    known = 0
    for number in range(wanted.services):
        known += 1 if work.known[number] else 0
    return known


@inner_kernel
def read_interfering(cell, fields, wanted, pairs, work):
    """Fill what other stations can do to a cell's transmitters."""
    if pairs.station.size > 0:
        read_pairs(
            cell, fields.unwanted_dbuvm, fields.median_dbuvm, fields.wanted_dbuvm, fields.bearing_deg,
            fields.distance_km, wanted, pairs, work.receiver.numbers, work.receiver.interfering,
        )  # fmt: skip


@inner_kernel
def read_receiver(cell, fields, wanted, pairs, work):
    """Fill a cell's fields, bearings and pairs; return whether every service has a known transmitter."""
    if read_fields(cell, fields, wanted, work) < wanted.services:
        return False
    read_interfering(cell, fields, wanted, pairs, work)
    return True


@inner_kernel
def set_tier(tier, joined, by_day, without, kind, model, work):
    """Fill each transmitter's margin at its own bearing with a tier's installation, its spreads, and what
    disturbs it.

    by_day : with interfering fields at 50 % of time. without : a service taken as received, -1 none
    """
    wanted, values = model.wanted, work.receiver.values
    figures, height = model.figures[kind, joined, tier], model.heights[tier]
    for item in range(wanted.items[0]):
        clear_db = work.level_dbuvm[height, item] - figures[NEED_DBUVM, item]
        clear_db = NOT_ASKED_DB if wanted.service[item] == without else clear_db
        values[CLEAR_DB, item] = clear_db
        values[UPPER_DB, item] = clear_db
    set_spreads(wanted, model.spreads[kind, joined, tier], work.receiver)
    forget_deciding(work.receiver.deciding)
    if work.receiver.interfering.some[0]:
        other_figures = model.other_figures[kind, tier]
        interfering = work.receiver.interfering
        set_pairs(wanted, by_day, height, figures, other_figures, model.pairs, values, interfering)


@inner_kernel
def shorten_list(kind, model, work):
    """Fill the list that counts at a cell, in its kind of surroundings alone: that of work.here.model.

    Each service keeps the transmitters received best, each aimed at, with an indoor antenna and with the last
    tier. The cell is read before.
    """
    wanted, receiver, here = model.wanted, work.receiver, work.here
    here.kept[:] = False
    for tier in (min(INDOORS, model.tiers - 1), model.tiers - 1):
        set_tier(tier, np.int64(SINGLE), np.bool_(False), np.int64(NOBODY), kind, model, work)
        figures, other_figures = model.figures[kind, SINGLE, tier], model.other_figures[kind, tier]
        keep_best(figures, other_figures, wanted, model.pairs, receiver, here)
    fill_list(kind, model, work.level_dbuvm, receiver, here)


@inner_kernel
def find_one(tier, row, quick, start_deg, needed, without, kind, asked, model, work):
    """Find the best plan of one antenna into a row of work.plans; the tier stays set for it.

    quick, start_deg and what is returned as search_circle; without as set_tier.
    """
    set_tier(tier, np.int64(SINGLE), np.bool_(False), without, kind, model, work)
    return search_circle(
        start_deg, quick, asked.confidence, model.directional[tier], needed, model.wanted,
        model.figures[kind, SINGLE, tier], model.other_figures[kind, tier], model.pairs, work.receiver,
        work.by_aim, work.plans[row],
    )  # fmt: skip


@inner_kernel
def find_two(tier, row, needed, without, kind, asked, model, work):
    """Find the best plan of two antennas into a row of work.plans, where two reach the confidence.

    Return whether they do; the tier then stays set for the plan. Without a service given up, one antenna is
    rated before: its bound holds for two as well.
    """
    plan, receiver, by_day = work.plans[row], work.receiver, np.bool_(False)
    forget_plan(plan)
    enough = asked.confidence - JUST_MISSED
    plan[BOUND] = work.plans[tier, BOUND]
    if without >= 0:
        set_tier(tier, np.int64(SINGLE), by_day, without, kind, model, work)
        bound_plans(
            enough, needed, model.figures[kind, SINGLE, tier], model.other_figures[kind, tier],
            model.wanted, model.pairs, receiver, plan,
        )  # fmt: skip
    if plan[BOUND] < enough:
        return False  # two bring no more than one aimed at every mast; their spread may differ a little
    for joined in range(COMBINED, DIPLEXED + 1):
        if model.diplexer if joined == DIPLEXED else not model.paired[tier]:
            set_tier(tier, joined, by_day, without, kind, model, work)
            search_two(
                joined, asked.confidence, needed, model.wanted, model.figures[kind, joined, tier],
                model.other_figures[kind, tier], model.pairs, receiver, work.aims, plan,
            )  # fmt: skip
    if plan[CHANCE] < asked.confidence:
        return False
    set_tier(tier, int(plan[JOINED]), by_day, without, kind, model, work)
    return True


@inner_kernel
def chance_at(plan, tier, shift_db, needed, kind, model, work):
    """Return the chance of a plan with every field raised by shift_db; the tier set for the plan."""
    joined = int(plan[JOINED])
    return chance_of_plan(
        plan, shift_db, needed, model.figures[kind, joined, tier], model.other_figures[kind, tier],
        model.wanted, model.pairs, work.receiver,
    )  # fmt: skip


@inner_kernel
def chance_nearly(plan, tier, shift_db, needed, kind, model, work):
    """Return what chance_at does, from the deciding transmitters where those tell; margins are not left."""
    figures, other_figures = model.figures[kind, SINGLE, tier], model.other_figures[kind, tier]
    few = plan[JOINED] == SINGLE and decides_by_few(needed, model.wanted, figures, model.pairs, work.receiver)
    if few and slack_of_few(work.receiver) == NEARLY:
        return chance_by_few(
            False, plan, shift_db, needed, figures, other_figures, model.wanted, model.pairs, work.receiver
        )[0]
    return chance_at(plan, tier, shift_db, needed, kind, model, work)


@inner_kernel
def holds(plan, tier, shift_db, kind, asked, model, work):
    """Return whether a plan, its tier set, reaches the confidence with every field raised by shift_db."""
    joined = int(plan[JOINED])
    return reaches(
        asked.confidence, plan, shift_db, asked.needed, model.figures[kind, joined, tier],
        model.other_figures[kind, tier], model.wanted, model.pairs, work.receiver,
    )  # fmt: skip
