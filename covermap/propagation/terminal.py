"""Clutter around a low antenna: the loss from the tops of the surroundings down to its height."""

import math
import warnings

from covermap.propagation.checks import positive
from covermap.propagation.compiling import kernel
from covermap.propagation.diffraction import knife_edge_loss_db

FREQUENCY_MHZ = (30.0, 3000.0)  # ITU-R P.2108-1 section 3.1
STREET_WIDTH_M = 27.0  # ITU-R P.2108-1 section 3.1, where nothing is known
REFERENCE_HEIGHT_M = 10.0  # the lowest height at which a path is computed


@kernel
def _rooftop_loss_db(frequency_ghz, rx_height_m, clutter_height_m, street_width_m):
    """Return form (2a), diffraction over the roof in front. Source: ITU-R P.2108-1, section 3.1."""
    # P.2108's 0.342 holds for the frequency in GHz, heights in m and the angle in degrees, not radians.
    below_m = clutter_height_m - rx_height_m
    angle_deg = math.degrees(math.atan(below_m / street_width_m))
    nu = 0.342 * math.sqrt(frequency_ghz * below_m * angle_deg)
    # 6.03 dB is the edge's loss at nu = 0: an antenna level with the tops loses nothing.
    return knife_edge_loss_db(nu) - 6.03


@kernel
def _open_land_loss_db(frequency_ghz, rx_height_m, clutter_height_m):
    """Return form (2b), height gain over open land and water. Source: ITU-R P.2108-1, section 3.1."""
    return -(21.8 + 6.2 * math.log10(frequency_ghz)) * math.log10(rx_height_m / clutter_height_m)


@kernel
def terminal_clutter_loss_db(frequency_ghz, rx_height_m, clutter_height_m, street_width_m, open_land):
    """Return the loss from the clutter's tops down to an antenna among it, in dB.

    rx_height_m, clutter_height_m : above ground, above 0. open_land : form (2b) instead of (2a).
    0 dB from the tops upwards. NaN gives NaN.

    Source: ITU-R P.2108-1, section 3.1.
    Accuracy: of the formulas, 0.05 dB (the published check values are rounded to 0.1).
    """
    if rx_height_m >= clutter_height_m:
        return 0.0
    if open_land:
        return _open_land_loss_db(frequency_ghz, rx_height_m, clutter_height_m)
    return _rooftop_loss_db(frequency_ghz, rx_height_m, clutter_height_m, street_width_m)


@kernel
def low_mount_loss_db(frequency_ghz, rx_height_m, clutter_height_m, open_land):
    """Return what a mount under 10 m loses against the field at 10 m, in dB.

    clutter_height_m : of the land-cover class, 0 where there is none; at least 10 m is used.
    From 10 m upwards the path itself is computed, and this is 0 dB.

    Source: ITU-R P.2108-1, section 3.1, from the tops to the mount less from the tops to 10 m: the
        path to 10 m already stands below taller tops (our own rule, no source).
    Accuracy: of the formula, as terminal_clutter_loss_db; of the rule, not measured.
    """
    if rx_height_m >= REFERENCE_HEIGHT_M:
        return 0.0
    # Never a path run down into its clutter: at 600 MHz, 1.5 m high among tops of 10 m, it ends 27 to 44 dB
    # under the clear field at 10 m, by the profile's step, where P.2108 says 17.
    tops_m = max(REFERENCE_HEIGHT_M, clutter_height_m)
    down_db = terminal_clutter_loss_db(frequency_ghz, rx_height_m, tops_m, STREET_WIDTH_M, open_land)
    return down_db - terminal_clutter_loss_db(
        frequency_ghz, REFERENCE_HEIGHT_M, tops_m, STREET_WIDTH_M, open_land
    )


def terminal_clutter_loss(
    frequency_mhz: float,
    rx_height_m: float,
    clutter_height_m: float,
    street_width_m: float = STREET_WIDTH_M,
    open_land: bool = False,
) -> float:
    """Loss from the tops of the surroundings down to an antenna that stands among them.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency; the model's range is 30 to 3000, outside it warns. [MHz]
    rx_height_m : float
        Antenna above ground. [m]
    clutter_height_m : float
        Height of the surroundings above ground. [m]
    street_width_m : float
        Width of the street, used by form (2a) only. [m]
    open_land : bool
        True takes form (2b), for open land and water; False form (2a), for towns and woods.

    Returns
    -------
    float
        Loss; 0 where the antenna stands at the tops or above. [dB]

    Raises
    ------
    InputError
        If any figure is zero, negative or not a number.

    References
    ----------
    ITU-R P.2108-1, section 3.1, equations (2a) and (2b).
    """
    frequency_mhz = positive("frequency_mhz", frequency_mhz)
    rx_height_m = positive("rx_height_m", rx_height_m)
    clutter_height_m = positive("clutter_height_m", clutter_height_m)
    street_width_m = positive("street_width_m", street_width_m)
    if not FREQUENCY_MHZ[0] <= frequency_mhz <= FREQUENCY_MHZ[1]:
        warnings.warn(
            f"frequency_mhz is {frequency_mhz:g}, outside 30 to 3000, the range of "
            "ITU-R P.2108-1 section 3.1.",
            stacklevel=2,
        )
    return float(
        terminal_clutter_loss_db(
            frequency_mhz / 1000.0, rx_height_m, clutter_height_m, street_width_m, bool(open_land)
        )
    )
