"""Loss by scattering in the troposphere."""

import math

from covermap.propagation.compiling import kernel


@kernel
def troposcatter_loss_db(distance_km, theta_mrad, frequency_ghz, n0, time_percent):
    """Return the basic transmission loss by troposcatter not exceeded for time_percent, in dB.

    theta_mrad : angular distance of the path. n0 : sea-level refractivity, N-units.
    time_percent : above 0 and up to 50; above 50 gives NaN.

    Source: ITU-R P.1812-8, section 4.4. Accuracy: a fit, without stated error.
    """
    frequency_db = 25.0 * math.log10(frequency_ghz) - 2.5 * math.log10(0.5 * frequency_ghz) ** 2
    time_db = 10.125 * math.log10(50.0 / time_percent) ** 0.7
    distance_db = 20.0 * math.log10(distance_km)
    return 190.1 + frequency_db + distance_db + 0.573 * theta_mrad - 0.15 * n0 - time_db
