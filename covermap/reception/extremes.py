"""The least, or the j-th best, of correlated normal deviations, taken as normal ones themselves."""

import math

from covermap.propagation.compiling import lean_kernel
from covermap.reception.normal import normal_share

SMALLEST = 1e-9  # of a variance, so that it can be divided by
NO_EFFECT = 4.0  # deviations apart: the better of two does not move the worse by 1e-4 of one
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
