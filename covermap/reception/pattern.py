"""The receiving antenna off its aim: lobe, floor and polarization."""

import math

from covermap.propagation.compiling import kernel

HORIZONTAL, VERTICAL, EITHER = 0, 1, 2  # polarization of a mount (the first two) or of a station


@kernel
def off_axis_deg(aim_deg, bearing_deg):
    """Return the angle between two azimuths, 0 to 180 degrees. Both within 0 to 360."""
    apart = abs(aim_deg - bearing_deg)
    return apart if apart < 180.0 else 360.0 - apart


@kernel
def lobe_rolloff(beamwidth_deg):
    """Return 12 / beamwidth^2, in dB per square degree; 0 for NaN, all directions alike."""
    if math.isnan(beamwidth_deg):
        return 0.0
    return 12.0 / (beamwidth_deg * beamwidth_deg)


def lobe_floor_db(beamwidth_deg: float, front_to_back_db: float) -> float:
    """Return how far the lobe falls: front to back, 0 for an antenna that receives all directions alike."""
    return 0.0 if math.isnan(beamwidth_deg) else front_to_back_db


@kernel
def off_axis_loss_db(angle_deg, rolloff, front_to_back_db, cross_polar_db):
    """Return what an antenna receives less than from its aim, in dB, 0 or more.

    angle_deg : of off_axis_deg. rolloff : of lobe_rolloff. cross_polar_db : 0 for a signal of the
    mount's own polarization. Off-axis loss and cross-polar rejection do not add: the larger counts.

    Source: the lobe 12 (angle / beamwidth)^2 down to front_to_back_db is common practice, no source; the
        larger of the two is the rule of ITU-R BT.419-3 (from memory).
    Accuracy: a planning shape; real antennas differ by several dB outside the lobe.
    """
    # Written out: min() and max() look for NaN and take twice as long.
    lobe_db = rolloff * angle_deg * angle_deg
    lobe_db = lobe_db if lobe_db < front_to_back_db else front_to_back_db
    return lobe_db if lobe_db > cross_polar_db else cross_polar_db


def cross_polar_loss_db(mount: int, polarization: int, cross_polar_db: float) -> float:
    """Return the cross-polar rejection of a station at a mount; 0 for slant and circular stations. [dB]"""
    return 0.0 if polarization in (EITHER, mount) else cross_polar_db
