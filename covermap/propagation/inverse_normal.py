"""The inverse of the normal distribution, as P.1812 approximates it."""

import math

from covermap.propagation.compiling import kernel


@kernel
def _lower_half(share):
    """Return the value exceeded with probability share, share up to 0.5 (rational approximation)."""
    t = math.sqrt(-2.0 * math.log(share))
    numerator = (0.010328 * t + 0.802853) * t + 2.515516698
    denominator = ((0.001308 * t + 0.189269) * t + 1.432788) * t + 1.0
    return t - numerator / denominator


@kernel
def inverse_complementary_normal(share):
    """Return the value that a standard normal variable exceeds with probability share.

    share : above 0 and below 1; below 0.000001 and above 0.999999 the value at the limit.
        Positive below 0.5, negative above. NaN gives NaN.

    Source: ITU-R P.1812-8, Attachment 2 to Annex 1.
    Accuracy: within 0.00054 of the exact value, as the Recommendation states.
    """
    if share <= 0.5:
        return _lower_half(max(share, 1e-6))
    return -_lower_half(max(1.0 - share, 1e-6))
