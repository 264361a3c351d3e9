"""Man-made noise at an antenna, by frequency and surroundings."""

import math
import warnings

from covermap.errors import InputError
from covermap.propagation.checks import positive
from covermap.propagation.compiling import kernel

# c and d of ITU-R P.372-17, table of man-made noise: Fam = c - d log f(MHz).
ENVIRONMENTS = {
    "city": (76.8, 27.7),
    "residential": (72.5, 27.7),
    "rural": (67.2, 27.7),
    "quiet_rural": (53.6, 28.6),
}
FREQUENCY_MHZ = (0.3, 250.0)  # ITU-R P.372 (limits from memory)


@kernel
def man_made_noise_db(frequency_mhz, c, d):
    """Return the median man-made noise above kT0B, in dB.

    c, d : the two figures of an environment. NaN gives NaN.

    Source: ITU-R P.372-17, man-made noise. Accuracy: a fit to measurements of the 1970s, without
        stated error; single places spread by 4.5 to 6.6 dB.
    """
    return c - d * math.log10(frequency_mhz)


def man_made_noise(frequency_mhz: float, environment: str) -> float:
    """Median man-made noise above kT0B (F_am) in a kind of surroundings.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency. The fit holds from 0.3 to 250; outside it warns and answers with the same
        line, which is too low at UHF near house noise. [MHz]
    environment : str
        "city", "residential", "rural" or "quiet_rural".

    Returns
    -------
    float
        Noise factor. [dB above kT0B]

    Raises
    ------
    InputError
        If frequency_mhz is not above 0 or the environment is not one of the four.

    References
    ----------
    ITU-R P.372-17, man-made noise.
    """
    frequency_mhz = positive("frequency_mhz", frequency_mhz)
    if environment not in ENVIRONMENTS:
        raise InputError(f"environment must be one of {', '.join(ENVIRONMENTS)}, got {environment!r}.")
    if not FREQUENCY_MHZ[0] <= frequency_mhz <= FREQUENCY_MHZ[1]:
        warnings.warn(
            f"frequency_mhz is {frequency_mhz:g}, outside 0.3 to 250, the range of ITU-R P.372's "
            "man-made noise: take the value from a table of your own.",
            stacklevel=2,
        )
    c, d = ENVIRONMENTS[environment]
    return float(man_made_noise_db(frequency_mhz, c, d))
