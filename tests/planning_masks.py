"""Receiving antennas as regulators assume them: planning masks, to check against, never to rank antennas."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypeVar

from covermap.errors import InputError

Value = TypeVar("Value")

# Front-to-back ratios of 47 CFR planning: OET Bulletin 69, table 6 (from memory), by band.
OET69_FRONT_TO_BACK_DB = {"low_vhf": 10.0, "high_vhf": 12.0, "uhf": 14.0}

# ITU-R BT.419-3, figure 1 (from memory), by band: no loss up to the first angle, then a straight line to the
# loss at the second, and that loss beyond. [deg, deg, dB]
BT419_CORNERS = {"high_vhf": (27.0, 60.0, 12.0), "uhf": (20.0, 60.0, 16.0)}


def oet69_loss_db(off_axis_deg: float, band: str) -> float:
    """Return what a receiving antenna of OET Bulletin 69 loses off its axis, in dB, 0 or more.

    off_axis_deg : 0 to 180. band : low_vhf, high_vhf or uhf

    Raises InputError for another band.
    Source: OET Bulletin 69 (from memory): relative field cos^4 of the angle, down to the front-to-back ratio.
    """
    floor_db = _of_band(OET69_FRONT_TO_BACK_DB, band, "OET-69")
    cosine = math.cos(math.radians(min(abs(off_axis_deg), 90.0)))
    return floor_db if cosine <= 0.0 else min(floor_db, -80.0 * math.log10(cosine))


def bt419_loss_db(off_axis_deg: float, band: str) -> float:
    """Return what a receiving antenna of ITU-R BT.419-3 loses off its axis in built-up areas, in dB.

    off_axis_deg : 0 to 180. band : high_vhf (band III) or uhf (bands IV and V)

    Raises InputError for another band. Source: ITU-R BT.419-3, figure 1 (from memory).
    """
    start_deg, end_deg, loss_db = _of_band(BT419_CORNERS, band, "BT.419-3")
    share = (abs(off_axis_deg) - start_deg) / (end_deg - start_deg)
    return loss_db * min(1.0, max(0.0, share))


def _of_band(table: Mapping[str, Value], band: str, mask: str) -> Value:
    if band not in table:
        raise InputError(f"{mask} has masks for {', '.join(table)}, got {band!r}.")
    return table[band]
