"""One home: its fields read, a tier's installation set, and the best plan of a tier, one antenna or two."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import inner_kernel
from covermap.reception.aim_search import JUST_MISSED, search_circle
from covermap.reception.budget import NEED_DBUVM, WantedTransmitters
from covermap.reception.confidence import BEARING_DEG, CLEAR_DB, UPPER_DB
from covermap.reception.interference import Pairs, read_pairs, set_pairs
from covermap.reception.overload import Loads
from covermap.reception.plan import (
    CHANCE,
    COMBINED,
    DIPLEXED,
    JOINED,
    SINGLE,
    HomeArrays,
    chance_bound,
    chance_of_plan,
    choose_transmitters,
    plan_reaches,
    set_upper,
)
from covermap.reception.scan import ScanArrays
from covermap.reception.two_antennas import AimArrays, search_two

NOT_ASKED_DB = 200.0  # margin of a service that is given up


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
    set_upper(model.figures[kind, SINGLE, tier], home.values)
    choose_transmitters(model.wanted, home.values, home.numbers)
    bound = chance_bound(model.wanted.services, needed, home.values, home.numbers)
    if bound < asked.confidence - JUST_MISSED:
        return best  # two bring no more than one aimed at every mast; their spread may differ a little
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
def holds(plan, tier, shift_db, kind, asked, model, work):
    """Return whether a plan, its tier set, reaches the confidence with every field raised by shift_db."""
    joined = int(plan[JOINED])
    return plan_reaches(
        asked.confidence, plan, shift_db, asked.needed, model.figures[kind, joined, tier],
        model.pair_figures[kind, joined, tier], model.wanted, model.pairs, work.home,
    )  # fmt: skip
