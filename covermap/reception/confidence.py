"""The chance that a plan suffices: one service, all services, or at least some of them."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.reception.extremes import NO_EFFECT, SMALLEST, least_moments
from covermap.reception.normal import POINT, PRODUCT, WEIGHT, normal_share

# A service's deviation from its median has three parts: what it shares with all services of the home (clutter
# and height around it, entry, noise), what it shares with those of its site and band, and its own. Given the
# home's part z, it arrives where MARGIN / apart + HOME_PART z + SITE_PART u + own part > 0; "apart" is the
# standard deviation without the home's part.

# Rows of the work arrays of a receiver: values (VALUE_ROWS + services, services + 1 or more), services of one
# site and band side by side. They are passed whole: a view of a row costs more than the sums over it.
CLEAR_DB = 0  # of a transmitter: margin at its own bearing; -inf where it is unknown
BEARING_DEG = 1
MARGIN_DB = 2  # at the aim
TOTAL_DEVIATION = 3  # the same in total standard deviations
DEVIATION = 4  # of a service: margin in standard deviations without the home's part
HOME_PART = 5  # of a service, in the same unit
SITE_PART = 6  # of a service: the share of it that is common to its site and band
SHARE = 7
COUNT_CHANCE = 8
UPPER_DB = 9  # of a transmitter: margin that no aim exceeds
INTERFERENCE_DB = 10  # at the aim: what interference takes from its margin, network stations' help against it
DEVIATION_AIMED = 11  # of a transmitter at the aim, interference included: as DEVIATION, HOME_PART, SITE_PART
HOME_PART_AIMED = 12
SITE_PART_AIMED = 13
RANKED = 14  # of a site and band: mean, 1 / deviation, home's and site's part of its j-th best service
RANKED_INVERSE = 15
RANKED_HOME = 16
RANKED_SITE = 17
CARRIED = 18  # covariances of the service that is being put in its place
# of a transmitter on its path, with the tier set; s_a = s_i sqrt(1 - home_correlation), the deviation apart
# from what all services of a home share
APART_INVERSE = 19  # 1 / s_a
HOME_RATIO = 20  # sqrt(home_correlation s_i^2 + s_c^2) / s_a
TOTAL_INVERSE = 21  # 1 / sqrt(s_i^2 + s_c^2)
OWN_DB = 22  # s_i
SPREADS = 4  # rows from APART_INVERSE on
TAKEN_DB = 23  # of a transmitter, a tier set: what interference takes from its margin at least, at any
# aim; where a service has several transmitters
VALUE_ROWS = 24
COVARIANCE = VALUE_ROWS  # from this row on: covariances of the j-th best, one row each

# Rows of the whole numbers that go with them.
GROUP_START = 0  # index of each group's first service; behind the last group the number of services
CHOSEN = 1  # transmitter of each service
LEVEL = 2  # of a transmitter: which of the spreads its path has
INDEX_ROWS = 3

FARTHEST = 100.0  # deviations; what is farther off is certain either way


@lean_kernel
def pack_services(wanted, values, index):
    """Pack the chosen transmitters' deviations and shared parts in order; return how many sites and bands."""
    shared, service = wanted.shared, wanted.service
    packed = 0
    groups = 0
    previous = -1
    for item in range(wanted.items[0]):
        if index[CHOSEN, service[item]] != item:
            continue
        if shared[item] != previous:
            index[GROUP_START, groups] = packed
            previous = shared[item]
            groups += 1
        values[DEVIATION, packed] = min(FARTHEST, max(-FARTHEST, values[DEVIATION_AIMED, item]))
        values[HOME_PART, packed] = values[HOME_PART_AIMED, item]
        values[SITE_PART, packed] = values[SITE_PART_AIMED, item]
        packed += 1
    index[GROUP_START, groups] = packed
    return groups


@lean_kernel
def worst_of_group(sign, first, last, values):
    """Return mean, variance, home's and site's part of the worst service of one site and band.

    The variance is the one that is left when the home's part is known.

    sign : 1, or -1 for the best one, with its sign turned
    """
    worst = first
    for item in range(first + 1, last):
        if sign * values[DEVIATION, item] < sign * values[DEVIATION, worst]:
            worst = item
    mean, variance = sign * values[DEVIATION, worst], 1.0
    home, site = values[HOME_PART, worst], values[SITE_PART, worst]
    for item in range(first, last):
        other = sign * values[DEVIATION, item]
        covariance = site * values[SITE_PART, item]
        better = other - mean
        far = better > 0.0 and better * better > NO_EFFECT * NO_EFFECT * (variance + 1.0 - 2.0 * covariance)
        if item == worst or far:
            continue
        mean, variance, share = least_moments(mean, variance, other, 1.0, covariance)
        home = home * share + values[HOME_PART, item] * (1.0 - share)
        site = site * share + values[SITE_PART, item] * (1.0 - share)
    return mean, variance, home, site


@lean_kernel
def all_confidence(sign, groups, values, index, points):
    """Return the chance that every service is received, 0 to 1.

    sign : 1, or -1 for the chance that every service fails
    groups : number of sites and bands
    values, index : rows DEVIATION, HOME_PART, SITE_PART and GROUP_START filled
    points : of integral_points

    Groups are independent given the home's part z; of one group the worst service decides, taken as normal.

    Source: integral of phi(z) product of normal_share((mean + home z) / deviation) dz, a factor model of our
        own, by Gauss-Hermite quadrature; the worst of a group by Clark's moments.
    Accuracy: within 0.005 of the factor model's own integrals (tests/test_confidence.py).
    """
    if groups == 1:
        mean, variance, home, _ = worst_of_group(sign, index[GROUP_START, 0], index[GROUP_START, 1], values)
        return normal_share(mean / math.sqrt(variance + home * home))
    for point in range(points.shape[1]):
        points[PRODUCT, point] = points[WEIGHT, point]
    for group in range(groups):
        mean, variance, home, _ = worst_of_group(
            sign, index[GROUP_START, group], index[GROUP_START, group + 1], values
        )
        inverse = 1.0 / math.sqrt(variance)
        mean, home = mean * inverse, home * inverse
        for point in range(points.shape[1]):
            points[PRODUCT, point] *= normal_share(mean + home * points[POINT, point])
    total = 0.0
    for point in range(points.shape[1]):
        total += points[PRODUCT, point]
    return total


@lean_kernel
def _put_in_place(count, deviation, home, site, values, first):
    """Put one more service among the count ranked ones of a group, best first, by the moments of each pair.

    Rows RANKED, RANKED_HOME, RANKED_SITE and COVARIANCE, columns from first; the diagonal holds variances.
    """
    variance = 1.0
    for rank in range(count):
        values[CARRIED, rank] = site * values[RANKED_SITE, first + rank]
    for rank in range(count):
        position, row = first + rank, COVARIANCE + rank
        mean, covariance = values[RANKED, position], values[CARRIED, rank]
        spread = values[row, rank]
        least, least_variance, ranked_is_less = least_moments(mean, spread, deviation, variance, covariance)
        greater, gap = mean + deviation - least, deviation - mean
        squares = spread + variance + gap * gap - (least - mean) ** 2 - (greater - mean) ** 2
        greater_variance = max(squares - least_variance, SMALLEST)
        stays = 1.0 - ranked_is_less  # the chance that the ranked one is the greater
        for other in range(count):
            with_ranked, with_carried = values[row, other], values[CARRIED, other]
            values[row, other] = stays * with_ranked + ranked_is_less * with_carried
            values[COVARIANCE + other, rank] = values[row, other]
            values[CARRIED, other] = ranked_is_less * with_ranked + stays * with_carried
        values[row, rank] = greater_variance
        values[CARRIED, rank] = mean * deviation + covariance - least * greater
        ranked_home, ranked_site = values[RANKED_HOME, position], values[RANKED_SITE, position]
        values[RANKED, position] = greater
        values[RANKED_HOME, position] = stays * ranked_home + ranked_is_less * home
        values[RANKED_SITE, position] = stays * ranked_site + ranked_is_less * site
        home = ranked_is_less * ranked_home + stays * home
        site = ranked_is_less * ranked_site + stays * site
        deviation, variance = least, least_variance
    values[RANKED, first + count] = deviation
    values[RANKED_HOME, first + count] = home
    values[RANKED_SITE, first + count] = site
    for rank in range(count):
        values[COVARIANCE + rank, count] = values[CARRIED, rank]
        values[COVARIANCE + count, rank] = values[CARRIED, rank]
    values[COVARIANCE + count, count] = variance


@lean_kernel
def rank_group(first, last, values):
    """Fill the RANKED rows of one site and band: its best service, its second best, ..., as normal ones.

    Puts the group's services in order, the weakest first: so the moments are off least.

    Source: Clark's moments of each pair, and of a third with the greater of two. Accuracy: of the chance that
        at least some arrive, within 0.01 in 99 of 100 random lists (tests/test_confidence.py).
    """
    for item in range(first + 1, last):
        position = item
        while position > first and values[DEVIATION, position] < values[DEVIATION, position - 1]:
            for row in (DEVIATION, HOME_PART, SITE_PART):
                held = values[row, position]
                values[row, position] = values[row, position - 1]
                values[row, position - 1] = held
            position -= 1
    for item in range(first, last):
        _put_in_place(
            item - first,
            values[DEVIATION, item],
            values[HOME_PART, item],
            values[SITE_PART, item],
            values,
            first,
        )
    for item in range(first, last):
        values[RANKED_INVERSE, item] = 1.0 / math.sqrt(values[COVARIANCE + item - first, item - first])


@lean_kernel
def _fill_shares_downward(common, first, last, values):
    """Fill row SHARE with the chances of one group's best, second best, ... at a home's part."""
    least = 1.0
    for item in range(first, last):
        deviation = values[RANKED, item] + values[RANKED_HOME, item] * common
        least = min(least, normal_share(deviation * values[RANKED_INVERSE, item]))
        values[SHARE, item - first] = least


@lean_kernel
def _add_group(services, needed, values):
    """Convolve the chances of 0 to needed received services with those of one more group, in place.

    At least j of the group's services arrive with chance share[j - 1] (row SHARE). The last count means
    needed or more.
    """
    for have in range(needed - 1, -1, -1):
        chance = values[COUNT_CHANCE, have]
        values[COUNT_CHANCE, have] = chance * (1.0 - values[SHARE, 0])
        for brought in range(1, services + 1):
            exactly = values[SHARE, brought - 1]
            if brought < services:
                exactly -= values[SHARE, brought]
            values[COUNT_CHANCE, min(needed, have + brought)] += chance * exactly


@lean_kernel
def at_least_confidence(needed, groups, values, index, points):
    """Return the chance that at least needed services are received, 0 to 1; arguments as all_confidence.

    Source: as all_confidence; the groups' counts are added by convolution (Poisson-binomial).
    Accuracy: as rank_group.
    """
    for group in range(groups):
        rank_group(index[GROUP_START, group], index[GROUP_START, group + 1], values)
    total = 0.0
    for point in range(points.shape[1]):
        values[COUNT_CHANCE, 0] = 1.0
        for count in range(1, needed + 1):
            values[COUNT_CHANCE, count] = 0.0
        for group in range(groups):
            first, last = index[GROUP_START, group], index[GROUP_START, group + 1]
            _fill_shares_downward(points[POINT, point], first, last, values)
            _add_group(last - first, needed, values)
        total += points[WEIGHT, point] * values[COUNT_CHANCE, needed]
    return total


@lean_kernel
def needed_confidence(needed, groups, values, index, points):
    """Return the chance of at least needed services, by whichever way is quickest.

    At least one arrives unless all fail, and the common deviation is symmetric.
    """
    services = index[GROUP_START, groups]
    if 1 < needed < services:
        return at_least_confidence(needed, groups, values, index, points)
    sign = 1.0 if needed == services else -1.0
    chance = all_confidence(sign, groups, values, index, points)
    return chance if needed == services else 1.0 - chance
