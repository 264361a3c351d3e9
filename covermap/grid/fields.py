"""From path losses to the field each station makes: ERP, patterns and the time rule come in here."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from covermap.constants import FIELD_FROM_LOSS_DB
from covermap.propagation.free_space import FREE_SPACE_LOSS_DB
from covermap.scenario.records import Station

# Wanted at 90 % of time from a model that ends at 50 %: E90 = E50 - min(E10 - E50, 12 dB).
# Our own assumption (judgement, no source): over sea E10 - E50 is ducting and would mirror into absurd fades.
DEEPEST_FADE_DB = 12.0
STEEP_RAY_DEG = -3.0  # rays that leave a mast lower than this meet an unknown elevation pattern

# time rule -> (the unwanted percentage the paths are also computed for, is the wanted one faded to 90 %)
TIME_RULES = {"us_90_10": (10.0, True), "gt_50_1": (1.0, False)}


def pattern_db(
    station: Station, azimuth_deg: NDArray[np.float64], departure_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the transmitting antenna's gain towards each cell re its greatest, in dB (0 or less).

    azimuth_deg : shape (N,), from the mast, clockwise from true north
    departure_deg : shape (N,), elevation of the ray at the mast, up positive: towards the cell where the
        path is clear, else towards the mast's horizon

    A tilt is positive downwards: it lowers the elevation pattern. A mechanical tilt falls off with the
    cosine of the angle from its own azimuth (common practice, no source).
    """
    total_db = np.zeros(azimuth_deg.shape)
    if station.azimuth_pattern is not None:
        total_db += station.azimuth_pattern.relative_db_at(azimuth_deg)
    if station.elevation_pattern is not None:
        from_tilt = np.radians(azimuth_deg - station.mechanical_tilt_azimuth_deg)
        # Electrical tilt lowers the beam all round, mechanical tilt lowers one side and lifts the other.
        tilt_deg = station.electrical_tilt_deg + station.mechanical_tilt_deg * np.cos(from_tilt)
        total_db += station.elevation_pattern.relative_db_at(departure_deg + tilt_deg)
    return total_db


def median_field(
    station: Station, loss_db: NDArray[np.float32], gain_db: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Return the field exceeded for 50 % of time, in dB(uV/m), shape of loss_db (…, N).

    Source: ITU-R P.1812-8 section 4.8 for 1 kW ERP, plus the station's ERP and pattern.
    """
    level_db = (
        FIELD_FROM_LOSS_DB
        + 20.0 * math.log10(station.frequency_mhz / 1000.0)
        + 10.0 * math.log10(station.erp_kw)
    )
    return (level_db + gain_db - loss_db).astype(np.float32)


def excess_loss_db(
    loss_db: NDArray[np.float32], distance_km: NDArray[np.float64], frequency_mhz: float
) -> NDArray[np.float64]:
    """Return the loss of paths above free space over the ground distance, in dB: how obstructed they are.

    Source: ITU-R P.1812-8 section 4.2. No distance counts as one metre.
    """
    free_db = FREE_SPACE_LOSS_DB + 20.0 * math.log10(frequency_mhz / 1000.0)
    return loss_db - free_db - 20.0 * np.log10(np.maximum(distance_km, 0.001))


def wanted_field(
    median_dbuvm: NDArray[np.float32], spread_db: NDArray[np.float32], time_rule: str
) -> NDArray[np.float32]:
    """Return the field at the time rule's wanted percentage, in dB(uV/m).

    spread_db : field at the unwanted percentage (10 or 1 % of time) minus the median, 0 or more
    """
    faded = TIME_RULES[time_rule][1]
    if not faded:
        return median_dbuvm
    return (median_dbuvm - np.minimum(spread_db, DEEPEST_FADE_DB)).astype(np.float32)


def unwanted_field(median_dbuvm: NDArray[np.float32], spread_db: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the field at the time rule's unwanted percentage, in dB(uV/m).

    spread_db : field at the unwanted percentage (10 or 1 % of time) minus the median, 0 or more
    """
    return (median_dbuvm + spread_db).astype(np.float32)
