"""How far a transmitter's margin can be off under a plan, and what of that it shares with others."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import vector_formula
from covermap.reception.budget import COMMON_DB, NOISE_DB, SITE_SHARE
from covermap.reception.confidence import APART_INVERSE, LEVEL, OWN_DB, SPREADS

# Interference makes a spread this much wider and narrower at most.
MOST_SPREAD, LEAST_SPREAD = 1.42, 0.45
LEAST_APART = 1e-4  # of s_i^2: where all cancels a margin is met or missed within a tenth of a decibel


@lean_kernel
def set_spreads(wanted, spreads, receiver):
    """Fill each transmitter's spreads by the level of its path; spreads : (W, L, SPREADS) of the tier."""
    for item in range(wanted.items[0]):
        level = receiver.numbers[LEVEL, item]
        for row in range(SPREADS):
            receiver.values[APART_INVERSE + row, item] = spreads[item, level, row]


@vector_formula
def spread_of(share, alike, own_db, apart, of_site, root_of_site, common, noise, one, least):
    """Return what spread_with does, from numbers of one precision, single or double.

    share, alike : as there. own_db : s_i. apart : 1 less the home's correlation. of_site : the site's part of
    the variance; root_of_site : its root. common, noise : squares of s_c and of its part that noise makes
    one : 1. least : LEAST_APART
    """
    other, rest, unlike = share - alike, one - share, one - alike
    variance = of_site * unlike * unlike + (apart - of_site) * (one + share * share) + of_site * other * other
    variance = variance if variance > least else least
    inverse = one / (own_db * math.sqrt(variance))
    entry = common - noise * (one - rest * rest)
    entry = entry if entry > one - one else one - one
    home = (one - apart) * rest * rest * own_db * own_db + entry
    return inverse, math.sqrt(home) * inverse, root_of_site * unlike * own_db * inverse


@lean_kernel
def parts_of(item, figures, values):
    """Return a transmitter's numbers for spread_of, from own_db to noise, the tier set."""
    own_db, inverse, between = values[OWN_DB, item], values[APART_INVERSE, item], figures[SITE_SHARE, item]
    apart = 1.0 / (inverse * inverse * own_db * own_db)
    of_site = between * between * apart
    common_db, noise_db = figures[COMMON_DB, item], figures[NOISE_DB, item]
    return own_db, apart, of_site, math.sqrt(of_site), common_db * common_db, noise_db * noise_db


@lean_kernel
def spread_with(share, alike, item, figures, values):
    """Return 1 / the deviation apart from the home's part, and the home's and the site's part over it.

    share : I / (N + I), of interference in noise and interference; alike : what of it comes from the wanted
    transmitter's own site and band. figures : (FIGURES, W). values : of the receiver site, the tier set

    The margin C - 10 log(N + I) moves by dC - share dI: what wanted and interfering signal have in common
    cancels by share, of the home's part always, of the site's part where they share a site and band.
    Interferers of other sites are taken to move together. Noise weighs 1 - share.

    Source: our own rule, of the correlations of covermap.reception.options.
    """
    own_db, apart, of_site, root_of_site, common, noise = parts_of(item, figures, values)
    return spread_of(share, alike, own_db, apart, of_site, root_of_site, common, noise, 1.0, LEAST_APART)
