"""The least, or the j-th best, of correlated normal deviations, taken as normal ones themselves."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.propagation.vector_math import LOG2_OF_E, exp2
from covermap.reception.normal import normal_share

# Rows that describe a normal deviation, the worst of some transmitters: mean, variance without the home's
# part, the home's and the site's part.
MEAN_OF = 0
VARIANCE_OF = 1
HOME_OF = 2
SITE_OF = 3
PARTS = 4

SMALLEST = 1e-9  # of a variance, so that it can be divided by
NO_EFFECT = 4.0  # deviations apart: the better of two does not move the worse by 1e-4 of one
CERTAIN = 8.0  # deviations apart: the density is nothing
DENSITY_AT_MEAN = 0.3989422804014327  # of a standard normal distribution, 1 / sqrt(2 pi)


@lean_kernel
def normal_density(deviation):
    """Return the density of a standard normal distribution at a deviation. Accuracy: exact to rounding."""
    return DENSITY_AT_MEAN * math.exp(-0.5 * deviation * deviation)


@lean_kernel
def least_moments(mean, variance, other, other_variance, covariance):
    """Return mean and variance of the lesser of two normal deviations, and the chance that it is the first.

    Source: C. E. Clark, The greatest of a finite set of random variables, Operations Research 9 (1961),
        formulas (2) and (3), from memory. Accuracy: moments exact; the lesser of two is not quite normal.
    """
    apart, gap = math.sqrt(max(variance + other_variance - 2.0 * covariance, SMALLEST)), other - mean
    first, density = normal_share(gap / apart), normal_density(gap / apart)
    second = 1.0 - first
    step = gap * second - apart * density
    square = variance * first + (other_variance + gap * gap) * second - gap * apart * density
    return mean + step, max(square - step * step, SMALLEST), first


@lean_kernel
def take_lesser(count, first, second, spare, rows):
    """Put the lesser of two normal deviations in place of the first in count columns at once.

    first, second : of the PARTS rows of each, named below. spare : of two rows to work with.
    Source and accuracy as least_moments. No loop writes more than two rows, or it would not be vectorised.
    """
    for number in range(count):
        variance, other_variance = rows[first + VARIANCE_OF, number], rows[second + VARIANCE_OF, number]
        apart = variance + other_variance
        apart -= 2.0 * rows[first + SITE_OF, number] * rows[second + SITE_OF, number]
        apart = math.sqrt(apart if apart > SMALLEST else SMALLEST)
        ratio = (rows[second + MEAN_OF, number] - rows[first + MEAN_OF, number]) / apart
        ratio = ratio if ratio < CERTAIN else CERTAIN
        ratio = ratio if ratio > -CERTAIN else -CERTAIN
        rows[spare, number] = normal_share(ratio)
        rows[spare + 1, number] = apart * DENSITY_AT_MEAN * exp2(-0.5 * LOG2_OF_E * ratio * ratio)
    for number in range(count):
        share, other_share = rows[spare, number], 1.0 - rows[spare, number]
        gap = rows[second + MEAN_OF, number] - rows[first + MEAN_OF, number]
        step = gap * other_share - rows[spare + 1, number]
        square = rows[first + VARIANCE_OF, number] * share
        square += (rows[second + VARIANCE_OF, number] + gap * gap) * other_share
        square -= gap * rows[spare + 1, number] + step * step
        rows[first + MEAN_OF, number] += step
        rows[first + VARIANCE_OF, number] = square if square > SMALLEST else SMALLEST
    for number in range(count):
        share, other_share = rows[spare, number], 1.0 - rows[spare, number]
        rows[first + HOME_OF, number] *= share
        rows[first + HOME_OF, number] += rows[second + HOME_OF, number] * other_share
        rows[first + SITE_OF, number] *= share
        rows[first + SITE_OF, number] += rows[second + SITE_OF, number] * other_share
