"""How far a transmitter's margin can be off under a plan, and what of that it shares with others."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.reception.budget import COMMON_DB, NOISE_DB, SITE_SHARE
from covermap.reception.confidence import APART_INVERSE, LEVEL, OWN_DB, SPREADS

LEAST_APART = 1e-4  # of s_i^2: where all cancels a margin is met or missed within a tenth of a decibel


@lean_kernel
def set_spreads(spreads, home):
    """Fill each transmitter's spreads by the level of its path; spreads : (W, L, SPREADS) of the tier."""
    for item in range(spreads.shape[0]):
        level = home.numbers[LEVEL, item]
        for row in range(SPREADS):
            home.values[APART_INVERSE + row, item] = spreads[item, level, row]


@lean_kernel
def spread_with(share, alike, item, figures, values):
    """Return 1 / the deviation apart from the home's part, and the home's and the site's part over it.

    share : I / (N + I), of interference in noise and interference; alike : what of it comes from the wanted
    transmitter's own site and band. figures : (FIGURES, W). values : of the home, the tier set

    The margin C - 10 log(N + I) moves by dC - share dI: what wanted and interfering signal have in common
    cancels by share, of the home's part always, of the site's part where they share a site and band.
    Interferers of other sites are taken to move together. Noise weighs 1 - share.

    Source: our own rule, of the correlations of covermap.reception.options.
    """
    own_db, inverse, between = values[OWN_DB, item], values[APART_INVERSE, item], figures[SITE_SHARE, item]
    apart = 1.0 / (inverse * inverse * own_db * own_db)  # 1 less the home's correlation
    of_site = between * between * apart
    other, rest = share - alike, 1.0 - share
    site = of_site * (1.0 - alike) * (1.0 - alike)
    own = (apart - of_site) * (1.0 + share * share) + of_site * other * other
    apart_db = own_db * math.sqrt(max(site + own, LEAST_APART))
    common_db, noise_db = figures[COMMON_DB, item], figures[NOISE_DB, item]
    home = (1.0 - apart) * rest * rest * own_db * own_db
    home += max(0.0, common_db * common_db - noise_db * noise_db * (1.0 - rest * rest))
    return 1.0 / apart_db, math.sqrt(max(0.0, home)) / apart_db, math.sqrt(site) * own_db / apart_db
