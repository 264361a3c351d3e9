"""The search for the best aim of one antenna: every degree, or a circle and what lies near its best."""

import math

from covermap.propagation.compiling import inner_kernel, lean_kernel
from covermap.reception.aim_chance import (
    NEARLY,
    bound_plans,
    chance_by_few,
    decides_by_few,
    slack_of_few,
)
from covermap.reception.aim_ranking import rank_aims
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF
from covermap.reception.confidence import (
    DEVIATION_AIMED,
    HOME_PART_AIMED,
    SITE_PART_AIMED,
    TOTAL_DEVIATION,
    TOTAL_INVERSE,
    UPPER_DB,
)
from covermap.reception.deciding import is_coarse
from covermap.reception.least_disturbed import may_bring_all
from covermap.reception.pattern import off_axis_deg
from covermap.reception.plan import (
    chance_bound,
    chance_of_list,
    choose_transmitters,
    set_plan,
    set_undisturbed,
    worst_margin_db,
)
from covermap.reception.plan_columns import (
    AIM_DEG,
    BOUND,
    CHANCE,
    JOINED,
    MOUNT,
    SECOND_DEG,
    SECOND_MOUNT,
    WORST_DB,
    set_single,
)
from covermap.reception.search_arrays import (
    CIRCLE,
    CIRCLE_AIMS,
    HELD,
    KNOWN,
    NEAR,
    NEAR_AIMS,
    PEAK_DEG,
    PEAK_MOUNT,
    PEAK_RANK,
    PEAKS,
    RANK,
    fill_near,
    fill_squares,
    forget_peaks,
    keep_peak,
)

ROUNDS_TO_NONE = 0.005  # chances below and from these round to 0 and 100 %
ROUNDS_TO_ALL = 0.9951
ANY_AIM = 3  # search_circle's quick: only whether any aim reaches the confidence
# Aims whose rank is confirmed where ranks are coarse, on the circle and near a peak: where some services are
# enough, and where all are.
CONFIRMED_OF_SOME, CONFIRMED_OF_ALL = (12, 4), (3, 1)
WITHIN_ONE = 0.8414  # the share of a normal distribution below one deviation
APART_DEG = 360.0 / KNOWN + 0.1  # neighbours on the circle stand nearer
JUST_MISSED = 0.03  # more than ranks are off by
PEAKS_OF_ALL = 2  # of the circle looked at, where all services are needed, or one
LOWER_PEAK = 0.15  # a peak of the circle this much lower than the best aim holds no better one


@lean_kernel
def forget_plan(plan):
    """Empty a plan: whatever is tried next is better."""
    set_single(0.0, 0, plan)
    plan[CHANCE] = -1.0
    plan[WORST_DB] = -math.inf


@lean_kernel
def keep_better(chance, worst_db, trial, plan):
    """Keep the better of two plans: greater chance, then worst margin, lower azimuth, lower mount."""
    if chance != plan[CHANCE]:
        better = chance > plan[CHANCE]
    elif worst_db != plan[WORST_DB]:
        better = worst_db > plan[WORST_DB]
    elif trial[AIM_DEG] != plan[AIM_DEG]:
        better = trial[AIM_DEG] < plan[AIM_DEG]
    else:
        better = trial[MOUNT] < plan[MOUNT]
    if better:
        plan[CHANCE] = chance
        plan[WORST_DB] = worst_db
        for column in (AIM_DEG, MOUNT, SECOND_DEG, SECOND_MOUNT, JOINED):
            plan[column] = trial[column]


@lean_kernel
def search_every_degree(needed, wanted, figures, other_figures, pairs, receiver, plan):
    """Find the best plan over all whole degrees and mounts: the reference for search_circle."""
    forget_plan(plan)
    for aim_deg in range(360):
        for mount in wanted.mounts:
            set_single(float(aim_deg), mount, receiver.trial)
            set_plan(receiver.trial, 0.0, figures, other_figures, wanted, pairs, receiver)
            chance = chance_of_list(needed, wanted, receiver, receiver.points)
            worst_db = worst_margin_db(wanted.services, needed, receiver.values, receiver.numbers)
            keep_better(chance, worst_db, receiver.trial, plan)


@lean_kernel
def is_directional(figures):
    """Return whether an installation tells any of its transmitters' directions apart."""
    for item in range(figures.shape[1]):
        if figures[ROLLOFF, item] > 0.0 and figures[FLOOR_DB, item] > 0.0:
            return True
    return False


@inner_kernel
def take_disturbed(number, wanted, receiver, by_aim):
    """Fill what disturb() does from the rows that an aim was ranked with; those passed there are out."""
    values = receiver.values
    for item in range(wanted.items[0]):
        if not receiver.interfering.touched[item]:
            continue
        values[TOTAL_DEVIATION, item] = -math.inf
        if not by_aim.passed[item]:
            deviation, home_part = by_aim.deviation[item, number], by_aim.ratio[item, number]
            values[TOTAL_DEVIATION, item] = deviation / math.sqrt(1.0 + home_part * home_part)
            values[DEVIATION_AIMED, item], values[HOME_PART_AIMED, item] = deviation, home_part
            values[SITE_PART_AIMED, item] = by_aim.site[item, number]


@inner_kernel
def confirm_ranks(stage, count, needed, mount, wanted, figures, receiver, by_aim):
    """Put chances with a coarse integral in place of the best ranks, and nothing in place of the others.

    For lists of which some services are enough, or with alternatives: there ranks only say where to look.
    """
    for number in range(count):
        by_aim.rows[HELD, number] = by_aim.rows[RANK, number]
        by_aim.rows[RANK, number] = -math.inf
    apart_deg = APART_DEG if stage == CIRCLE else 0.5  # neighbours are looked at in the second stage
    some = needed < wanted.services
    confirmed = CONFIRMED_OF_SOME[stage] if some else CONFIRMED_OF_ALL[stage]
    for _ in range(confirmed):
        best = 0
        for number in range(1, count):
            if by_aim.rows[HELD, number] > by_aim.rows[HELD, best]:
                best = number
        set_single(by_aim.aims[stage, best], mount, receiver.trial)
        set_undisturbed(receiver.trial, 0.0, figures, wanted, receiver.values)
        if receiver.interfering.some[0]:
            take_disturbed(best, wanted, receiver, by_aim)
        choose_transmitters(wanted, receiver.values, receiver.numbers)
        by_aim.rows[RANK, best] = chance_of_list(needed, wanted, receiver, by_aim.few_points)
        best_deg = by_aim.aims[stage, best]
        for number in range(count):
            if off_axis_deg(by_aim.aims[stage, number], best_deg) < apart_deg:
                by_aim.rows[HELD, number] = -math.inf


@lean_kernel
def mount_bound(mount, needed, wanted, figures, values, index):
    """Return a chance that no aim of a mount exceeds: all at their own bearings, without interference."""
    for item in range(wanted.items[0]):
        margin_db = values[UPPER_DB, item] - figures[CROSS_DB + mount, item]
        values[TOTAL_DEVIATION, item] = margin_db * values[TOTAL_INVERSE, item]
    choose_transmitters(wanted, values, index)
    return chance_bound(wanted.services, needed, values, index)


@inner_kernel
def is_peak(stage, count, number, by_aim):
    """Return whether no neighbour of an aim in its set ranks higher."""
    aim_deg, rank = by_aim.aims[stage, number], by_aim.rows[RANK, number]
    for other in range(count):
        apart_deg = off_axis_deg(by_aim.aims[stage, other], aim_deg)
        if by_aim.rows[RANK, other] > rank and apart_deg < APART_DEG:
            return False
    return True


@inner_kernel
def rank_set(stage, first, last, needed, wanted, figures, other_figures, pairs, receiver, by_aim):
    """Rank the aims of a set at every mount, and keep the best as peaks from first to before last."""
    count = NEAR_AIMS if stage == NEAR else CIRCLE_AIMS
    coarse = is_coarse(needed, wanted, receiver)
    lower = LOWER_PEAK if coarse else JUST_MISSED
    for mount in wanted.mounts:
        best_rank = by_aim.peaks[PEAK_RANK, first]
        if best_rank > JUST_MISSED and needed > 1:  # then ranks are chances
            bound = mount_bound(mount, needed, wanted, figures, receiver.values, receiver.numbers)
            if bound < best_rank - JUST_MISSED:
                continue
        rank_aims(stage, count, needed, mount, wanted, figures, other_figures, pairs, receiver, by_aim)
        if coarse:
            confirm_ranks(stage, count, needed, mount, wanted, figures, receiver, by_aim)
        best = 0
        for number in range(1, count):
            best = number if by_aim.rows[RANK, number] > by_aim.rows[RANK, best] else best
        highest = by_aim.rows[RANK, best]
        if last - first == 1:
            keep_peak(highest, by_aim.aims[stage, best], mount, first, last, by_aim)
            continue
        for number in range(count):
            rank = by_aim.rows[RANK, number]
            high = rank > by_aim.peaks[PEAK_RANK, last - 1] and rank >= highest - lower
            if high and is_peak(stage, count, number, by_aim):
                keep_peak(rank, by_aim.aims[stage, number], mount, first, last, by_aim)


@inner_kernel
def best_ranked(start_deg, needed, wanted, figures, other_figures, pairs, receiver, by_aim):
    """Return the aim and mount that rank highest: of the circle, then of the degrees around its best.

    start_deg : an aim known to be good, ranked beside the circle's. The degrees around several peaks are
    ranked where the others may hold a better one. Leaves those around the best in row NEAR of the aims.
    """
    by_aim.aims[CIRCLE, KNOWN] = start_deg
    fill_squares(CIRCLE, KNOWN, CIRCLE_AIMS, wanted, receiver.values, by_aim)
    forget_peaks(by_aim)
    coarse = is_coarse(needed, wanted, receiver)
    one_of_many = needed == 1 and wanted.services > 1
    peaks = PEAKS_OF_ALL if coarse or one_of_many else 1
    if coarse and needed < wanted.services:
        peaks = PEAKS
    lower = LOWER_PEAK if coarse else JUST_MISSED
    centre_deg, before = start_deg, -math.inf
    for peak in range(
        -1, peaks
    ):  # first the circle; one place that ranks, as each further one is compiled anew
        stage, first, last = CIRCLE, 0, peaks
        if peak >= 0:
            before, rank = by_aim.peaks[PEAK_RANK, PEAKS], by_aim.peaks[PEAK_RANK, peak]
            if rank == -math.inf or rank < before - lower:
                break
            # Where one of many is enough the rank is -(1 - chance).
            if peak > 0 and not coarse and not JUST_MISSED < 1.0 + before < ROUNDS_TO_ALL:
                break
            fill_near(by_aim.peaks[PEAK_DEG, peak], by_aim)
            fill_squares(NEAR, 0, NEAR_AIMS, wanted, receiver.values, by_aim)
            stage, first, last = NEAR, PEAKS, PEAKS + 1
        rank_set(stage, first, last, needed, wanted, figures, other_figures, pairs, receiver, by_aim)
        if peak < 0:
            centre_deg = by_aim.peaks[PEAK_DEG, 0]
        elif by_aim.peaks[PEAK_RANK, PEAKS] > before:
            centre_deg = by_aim.peaks[PEAK_DEG, peak]
    fill_near(centre_deg, by_aim)
    return by_aim.peaks[PEAK_DEG, PEAKS], int(by_aim.peaks[PEAK_MOUNT, PEAKS])


@inner_kernel
def look_at(needed, few, wanted, figures, other_figures, pairs, receiver, plan):
    """Return chance and worst margin of the trial plan, or a chance no better than a plan's.

    few : of decides_by_few
    """
    if few:
        return chance_by_few(
            False, receiver.trial, 0.0, needed, figures, other_figures, wanted, pairs, receiver
        )
    values, index = receiver.values, receiver.numbers
    set_plan(receiver.trial, 0.0, figures, other_figures, wanted, pairs, receiver)
    chance = chance_bound(wanted.services, needed, values, index)
    if chance >= plan[CHANCE]:
        chance = chance_of_list(needed, wanted, receiver, receiver.points)
    return chance, worst_margin_db(wanted.services, needed, values, index)


@inner_kernel
def settle(needed, wanted, figures, other_figures, pairs, receiver, plan):
    """Put the chance of the whole list in place of the plan's, which the deciding transmitters gave."""
    set_plan(plan, 0.0, figures, other_figures, wanted, pairs, receiver)
    plan[CHANCE] = chance_of_list(needed, wanted, receiver, receiver.points)
    plan[WORST_DB] = worst_margin_db(wanted.services, needed, receiver.values, receiver.numbers)


@inner_kernel
def search_circle(
    start_deg,
    quick,
    confidence,
    directional,
    needed,
    wanted,
    figures,
    other_figures,
    pairs,
    receiver,
    by_aim,
    plan,
):
    """Find the best plan; return False where its chance rounds to 0 or 100 % and no aim was looked for.

    start_deg : a whole azimuth known to be good, such as the tier below's best
    quick : 0 always look for the best aim; 1 not where the chance rounds to 0 % whatever the aim; 2 nor
        where it rounds to 100 % at start_deg; 3 only whether any aim reaches the confidence
    confidence : a chance that just misses it is looked at again, at every degree near the best
    directional : of is_directional; without, all aims are alike and 0 stands for them
    by_aim : the circle's squares filled

    Accuracy: the tier of search_every_degree in over 99.9 % of random receiver sites (tests/test_aim.py).
    """
    few = decides_by_few(needed, wanted, figures, pairs, receiver)
    slack = slack_of_few(receiver) if few else 0.0
    enough = confidence if quick == ANY_AIM else ROUNDS_TO_NONE
    enough -= slack if quick == ANY_AIM else 0.0
    forget_plan(plan)
    aim_deg, mount = start_deg if directional else 0.0, wanted.mounts[0]
    plan[AIM_DEG] = aim_deg
    found = True
    if quick >= 1:
        bound_plans(enough, needed, figures, other_figures, wanted, pairs, receiver, plan)
        if plan[BOUND] < enough:
            plan[CHANCE] = plan[BOUND]
            return False
        disturbed = receiver.interfering.some[0] and enough > WITHIN_ONE and needed == wanted.services
        tried = quick == ANY_AIM and disturbed
        if tried and not may_bring_all(1.0, wanted, figures, other_figures, pairs, receiver):
            plan[CHANCE] = 0.0
            return False
    # The chance is worked out in one place of this loop, as each further one would be compiled anew:
    # first at start_deg, then at the best ranked aim, then at those around it.
    for trial in range(2 + NEAR_AIMS if directional else wanted.mounts.size):
        if trial == 0 and directional and quick < 2:
            continue
        if trial == 1 and directional:
            aim_deg, mount = best_ranked(
                start_deg, needed, wanted, figures, other_figures, pairs, receiver, by_aim
            )
        elif trial == 1:
            mount = wanted.mounts[1]
        elif trial > 1:
            aim_deg = by_aim.aims[NEAR, trial - 2]
        set_single(aim_deg, mount, receiver.trial)
        chance, worst_db = look_at(needed, few, wanted, figures, other_figures, pairs, receiver, plan)
        if chance >= plan[CHANCE]:
            keep_better(chance, worst_db, receiver.trial, plan)
        if trial == 0 and quick >= 2 and plan[CHANCE] >= (confidence if quick == ANY_AIM else ROUNDS_TO_ALL):
            found = not directional
            break
        if trial == 1 and not confidence - JUST_MISSED <= plan[CHANCE] < confidence:
            break
    if few and (slack > NEARLY or abs(plan[CHANCE] - confidence) < slack):
        settle(needed, wanted, figures, other_figures, pairs, receiver, plan)
    return found
