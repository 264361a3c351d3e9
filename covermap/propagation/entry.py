"""Building entry loss: from the field outside to the field within."""

import math
import warnings
from statistics import NormalDist

from covermap.errors import InputError
from covermap.propagation.checks import percent, positive, within
from covermap.propagation.compiling import kernel

# r, s, t, u, v, w, x, y, z of ITU-R P.2109-1, table 1; that P.2109-2 keeps them is from memory.
COEFFICIENTS = {
    "traditional": (12.64, 3.72, 0.96, 9.6, 2.0, 9.1, -3.0, 4.5, -2.0),
    "thermally_efficient": (28.19, -3.0, 8.48, 13.5, 3.8, 27.8, -2.9, 9.4, -2.1),
}
FREQUENCY_MHZ = (80.0, 100_000.0)  # ITU-R P.2109-2 section 3


@kernel
def entry_loss_db(frequency_ghz, coefficients, deviate, elevation_deg):
    """Return the building entry loss not exceeded with the probability of a normal deviate, in dB.

    coefficients : nine figures of one building class. deviate : standard normal deviate of the
        probability, 0 for the median. elevation_deg : of the path at the facade; its sign does not matter.

    Source: ITU-R P.2109-2, section 3, equations (1) to (10).
    Accuracy: of the formulas, 0.0005 dB against the published workbook of P.2109-1.
    """
    r, s, t, u, v, w, x, y, z = coefficients
    log_f = math.log10(frequency_ghz)
    near_median_db = r + s * log_f + t * log_f * log_f + 0.212 * abs(elevation_deg)
    through_db = deviate * (u + v * log_f) + near_median_db
    low_db = deviate * (y + z * log_f) + w + x * log_f
    # -0.3 is a tenth of the Recommendation's constant C, -3.0 dB.
    return 10.0 * math.log10(10.0 ** (0.1 * through_db) + 10.0 ** (0.1 * low_db) + 10.0**-0.3)


def entry_loss(
    frequency_mhz: float,
    building: str = "traditional",
    probability_percent: float = 50,
    elevation_deg: float = 0,
) -> float:
    """Building entry loss not exceeded with a probability.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency; the model's range is 80 to 100 000, outside it warns. [MHz]
    building : str
        "traditional" or "thermally_efficient".
    probability_percent : float
        Share of places indoors with no more loss than this. [%]
    elevation_deg : float
        Elevation angle of the path at the facade. [degrees]

    Returns
    -------
    float
        Loss, to be subtracted from the field outside. [dB]

    Raises
    ------
    InputError
        If a figure is not possible or building is neither word.

    References
    ----------
    ITU-R P.2109-2, section 3.
    """
    frequency_mhz = positive("frequency_mhz", frequency_mhz)
    probability_percent = percent("probability_percent", probability_percent)
    elevation_deg = within("elevation_deg", elevation_deg, -90.0, 90.0)
    if building not in COEFFICIENTS:
        raise InputError(f"building must be one of {', '.join(COEFFICIENTS)}, got {building!r}.")
    if not FREQUENCY_MHZ[0] <= frequency_mhz <= FREQUENCY_MHZ[1]:
        warnings.warn(
            f"frequency_mhz is {frequency_mhz:g}, outside 80 to 100000, the range of ITU-R P.2109-2.",
            stacklevel=2,
        )
    deviate = NormalDist().inv_cdf(probability_percent / 100.0)
    return float(entry_loss_db(frequency_mhz / 1000.0, COEFFICIENTS[building], deviate, elevation_deg))
