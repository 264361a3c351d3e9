"""The chance of a list at an aim of one antenna, from the few transmitters that decide; bounds before it."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.reception.budget import CROSS_DB, FLOOR_DB, ROLLOFF, SITE_SHARE
from covermap.reception.confidence import (
    APART_INVERSE,
    BEARING_DEG,
    CLEAR_DB,
    DEVIATION_AIMED,
    FARTHEST,
    HOME_PART_AIMED,
    HOME_RATIO,
    MARGIN_DB,
    SITE_PART_AIMED,
    UPPER_DB,
)
from covermap.reception.deciding import (
    ALIKE,
    ALL,
    ANY,
    APART,
    LEAST_DB,
    LIKENESS,
    SITE_HOME,
    SITE_MEAN,
    choose_deciding,
    is_touched,
    look_at_list,
)
from covermap.reception.disturbed import disturb
from covermap.reception.extremes import HOME_OF, MEAN_OF, SITE_OF, VARIANCE_OF, least_moments
from covermap.reception.normal import POINT, PRODUCT, WEIGHT, normal_share
from covermap.reception.pattern import off_axis_deg, off_axis_loss_db
from covermap.reception.plan import (
    chance_bound,
    chance_of_list,
    choose_transmitters,
    plan_reaches,
    set_upper,
    weakest_service,
)
from covermap.reception.plan_columns import (
    AIM_DEG,
    BOUND,
    JOINED,
    MOUNT,
    NEXT_DEVIATION,
    SINGLE,
    WEAKEST,
    WEAKEST_DEVIATION,
)

# More than a chance from the deciding ones is off where groups are alike, and where they are close.
NEARLY, ABOUT = 0.004, 0.03


@lean_kernel
def decides_by_few(needed, wanted, figures, pairs, receiver):
    """Return whether the chance of the list follows from a few transmitters; the installation set."""
    look_at_list(wanted, figures, pairs, receiver)
    return receiver.deciding.state[LIKENESS] != APART and (needed == 1 or needed == wanted.services)


@lean_kernel
def slack_of_few(receiver):
    """Return by how much a chance from the deciding transmitters may differ from the list's at most."""
    return NEARLY if receiver.deciding.state[LIKENESS] == ALIKE else ABOUT


@lean_kernel
def _aimed(sign, item, plan, shift_db, figures, other_figures, wanted, pairs, receiver):
    """Return mean, variance, home's and site's part of a deciding transmitter at an aim, and its margin.

    The margin is the least of those it stands for, its sign turned where sign is -1.
    """
    values, found = receiver.values, receiver.deciding.values
    loss_db = off_axis_loss_db(
        off_axis_deg(plan[AIM_DEG], values[BEARING_DEG, item]), figures[ROLLOFF, item],
        figures[FLOOR_DB, item], figures[CROSS_DB + int(plan[MOUNT]), item],
    ) - shift_db  # fmt: skip
    if not is_touched(item, receiver.interfering):
        mean = found[MEAN_OF, item] - sign * loss_db * values[APART_INVERSE, item]
        parts = found[HOME_OF, item], found[SITE_OF, item]
        return mean, found[VARIANCE_OF, item], parts[0], parts[1], found[LEAST_DB, item] - sign * loss_db
    values[MARGIN_DB, item] = values[CLEAR_DB, item] - loss_db
    if values[MARGIN_DB, item] == -math.inf:
        return -sign * FARTHEST, 1.0, values[HOME_RATIO, item], figures[SITE_SHARE, item], -sign * math.inf
    disturb(item, plan, shift_db, figures, other_figures, wanted, pairs, receiver)
    mean = sign * min(FARTHEST, max(-FARTHEST, values[DEVIATION_AIMED, item]))
    return (
        mean, 1.0, values[HOME_PART_AIMED, item], values[SITE_PART_AIMED, item],
        sign * values[MARGIN_DB, item],
    )  # fmt: skip


@lean_kernel
def _at_best(sign, item, figures, receiver):
    """Return the same with the antenna at the transmitter's own bearing, undisturbed."""
    values, found = receiver.values, receiver.deciding.values
    if not is_touched(item, receiver.interfering):
        parts = found[HOME_OF, item], found[SITE_OF, item]
        return found[MEAN_OF, item], found[VARIANCE_OF, item], parts[0], parts[1], found[LEAST_DB, item]
    mean = sign * min(FARTHEST, max(-FARTHEST, values[UPPER_DB, item] * values[APART_INVERSE, item]))
    home_part, site_part = values[HOME_RATIO, item], figures[SITE_SHARE, item]
    return mean, 1.0, home_part, site_part, sign * values[UPPER_DB, item]


@lean_kernel
def set_sites(sign, at_best, plan, shift_db, figures, other_figures, wanted, pairs, receiver):
    """Fill rows SITE_MEAN and SITE_HOME at a plan's aim; return how many, and the worst margin.

    at_best : with every transmitter at its own bearing and without interference instead: no aim does better
    """
    choose_deciding(sign, wanted, figures, receiver)
    items, found = receiver.deciding.item, receiver.deciding.values
    sites, position, least_db = 0, 0, math.inf
    mean, variance, home_part, site_part = 0.0, 1.0, 0.0, 0.0
    while items[position] >= 0:
        item = items[position]
        if at_best:
            one = _at_best(sign, item, figures, receiver)
        else:
            one = _aimed(sign, item, plan, shift_db, figures, other_figures, wanted, pairs, receiver)
        least_db = min(least_db, one[4])
        if position > 0 and wanted.shared[item] == wanted.shared[items[position - 1]]:
            covariance = site_part * one[3]
            mean, variance, share = least_moments(mean, variance, one[0], one[1], covariance)
            home_part = home_part * share + one[2] * (1.0 - share)
            site_part = site_part * share + one[3] * (1.0 - share)
        else:
            mean, variance, home_part, site_part = one[0], one[1], one[2], one[3]
            sites += 1
        inverse = 1.0 / math.sqrt(variance)
        found[SITE_MEAN, sites - 1], found[SITE_HOME, sites - 1] = mean * inverse, home_part * inverse
        position += 1
    return sites, sign * least_db


@lean_kernel
def bounds_of_sites(sites, found):
    """Return two numbers that the chance of all sites and bands lies between: product and least of theirs.

    Source: what they share moves all the same way, so that together they are more likely than if they were
        independent (Slepian's inequality), and never more than the least likely.
    """
    product, least = 1.0, 1.0
    for site in range(sites):
        home_part = found[SITE_HOME, site]
        share = normal_share(found[SITE_MEAN, site] / math.sqrt(1.0 + home_part * home_part))
        product *= share
        least = share if share < least else least
    return product, least


@lean_kernel
def chance_of_sites(sites, found, points):
    """Return the chance of all sites and bands, 0 to 1, as all_confidence; points : of integral_points."""
    for point in range(points.shape[1]):
        points[PRODUCT, point] = points[WEIGHT, point]
    for site in range(sites):
        mean, home_part = found[SITE_MEAN, site], found[SITE_HOME, site]
        for point in range(points.shape[1]):
            points[PRODUCT, point] *= normal_share(mean + home_part * points[POINT, point])
    total = 0.0
    for point in range(points.shape[1]):
        total += points[PRODUCT, point]
    return total


@lean_kernel
def reaches(confidence, plan, shift_db, needed, figures, other_figures, wanted, pairs, receiver):
    """Return whether the chance of a plan reaches a confidence, every field raised by shift_db.

    Of one antenna by bounds where those tell, else from the deciding transmitters; the whole list is only
    looked at where that is too close.
    """
    if plan[JOINED] == SINGLE and decides_by_few(needed, wanted, figures, pairs, receiver):
        sign, slack = ALL if needed == wanted.services else ANY, slack_of_few(receiver)
        found = receiver.deciding.values
        sites, _ = set_sites(sign, False, plan, shift_db, figures, other_figures, wanted, pairs, receiver)
        wanted_chance = confidence if sign == ALL else 1.0 - confidence
        least, most = bounds_of_sites(sites, found)
        if least <= wanted_chance + slack and most >= wanted_chance - slack:
            least = chance_of_sites(sites, found, receiver.points)
            most = least
        if most < wanted_chance - slack:
            return sign != ALL
        if least > wanted_chance + slack:
            return sign == ALL
    return plan_reaches(confidence, plan, shift_db, needed, figures, other_figures, wanted, pairs, receiver)


@lean_kernel
def chance_by_few(at_best, plan, shift_db, needed, figures, other_figures, wanted, pairs, receiver):
    """Return the chance of the list from the deciding transmitters, and its worst margin; as set_sites."""
    sign = ALL if needed == wanted.services else ANY
    sites, worst_db = set_sites(
        sign, at_best, plan, shift_db, figures, other_figures, wanted, pairs, receiver
    )
    chance = chance_of_sites(sites, receiver.deciding.values, receiver.points)
    return chance if sign == ALL else 1.0 - chance, worst_db


@lean_kernel
def bound_plans(enough, needed, figures, other_figures, wanted, pairs, receiver, plan):
    """Fill a plan's columns from BOUND on: what no plan exceeds, with an antenna at every bearing at once.

    enough : below, a coarser bound will do. The installation set; interference left out.
    """
    set_upper(wanted, figures, receiver.values)
    choose_transmitters(wanted, receiver.values, receiver.numbers)
    weakest, least, next_least = weakest_service(wanted.services, receiver.values, receiver.numbers)
    plan[WEAKEST] = weakest
    plan[WEAKEST_DEVIATION], plan[NEXT_DEVIATION] = least, next_least
    plan[BOUND] = normal_share(least)
    if needed < wanted.services:
        plan[BOUND] = chance_bound(wanted.services, needed, receiver.values, receiver.numbers)
    if plan[BOUND] < enough:
        return
    if decides_by_few(needed, wanted, figures, pairs, receiver):
        plan[BOUND], _ = chance_by_few(
            True, receiver.trial, 0.0, needed, figures, other_figures, wanted, pairs, receiver
        )
    else:
        plan[BOUND] = chance_of_list(needed, wanted, receiver, receiver.points)
