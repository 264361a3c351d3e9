"""How loss varies over the places of one cell."""

from covermap.propagation.checks import not_negative, positive
from covermap.propagation.compiling import kernel
from covermap.propagation.inverse_normal import inverse_complementary_normal


@kernel
def location_loss_db(location_percent, location_sd_db):
    """Return what is added to the median loss so that location_percent of places have less, in dB.

    location_percent : above 0 and below 100; 50 gives 0. location_sd_db : standard deviation, 0 or more.

    Source: ITU-R P.1812-8, section 4.7 (the inverse normal is the Recommendation's approximation).
    Accuracy: within 0.0006 location_sd_db of the exact normal distribution.
    """
    if location_percent == 50.0:
        return 0.0
    return -inverse_complementary_normal(location_percent / 100.0) * location_sd_db


@kernel
def height_share(rx_height_m, clutter_height_m):
    """Return the share of the location spread left at a height: 1 below the tops, 0 from 10 m above.

    Source: ITU-R P.1812-8, section 4.7 (u of the receiver height). Accuracy: exact.
    """
    above_m = rx_height_m - clutter_height_m
    return min(1.0, max(0.0, 1.0 - above_m / 10.0))


@kernel
def location_spread_db(frequency_ghz, cell_m, rx_height_m, clutter_height_m):
    """Return the standard deviation of the loss over the places of a cell, in dB.

    cell_m : side of the cell (wa). clutter_height_m : R of the class. NaN gives NaN.

    Source: ITU-R P.1812-8, section 4.7: (0.52 + 0.024 f) wa^0.28 times height_share.
        (An edition printed 0.0024 in error.)
    Accuracy: a fit, without stated error.
    """
    spread_db = (0.52 + 0.024 * frequency_ghz) * cell_m**0.28
    return spread_db * height_share(rx_height_m, clutter_height_m)


def location_sd_db(
    frequency_mhz: float, cell_m: float, rx_height_m: float = 10.0, clutter_height_m: float = 10.0
) -> float:
    """Standard deviation of the field over the places of one cell.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency. [MHz]
    cell_m : float
        Side of the cell. [m]
    rx_height_m : float
        Receiving antenna above ground; from 10 m above the clutter the spread is 0. [m]
    clutter_height_m : float
        Height of the land-cover class. [m]

    Returns
    -------
    float
        Standard deviation. [dB]

    Raises
    ------
    InputError
        If frequency_mhz or cell_m is not above 0, or a height is negative.

    References
    ----------
    ITU-R P.1812-8, section 4.7.
    """
    return float(
        location_spread_db(
            positive("frequency_mhz", frequency_mhz) / 1000.0,
            positive("cell_m", cell_m),
            not_negative("rx_height_m", rx_height_m),
            not_negative("clutter_height_m", clutter_height_m),
        )
    )
