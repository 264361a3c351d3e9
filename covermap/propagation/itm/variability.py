"""Variability in the irregular terrain model: over time, places and situations, by climate."""

import math

import numpy as np

from covermap.propagation.compiling import kernel
from covermap.propagation.itm.path import WAVE_NUMBER_MHZ_M, roughness_over_m

# Hufford 1995, climate constants. One row a climate, in each: c1, c2 (dB), x1, x2, x3 (km).
_MEDIAN = np.array(
    [
        [-9.67, 12.7, 144.9, 190.3, 133.8],
        [-0.62, 9.19, 228.9, 205.2, 143.6],
        [1.26, 15.5, 262.6, 185.2, 99.8],
        [-9.21, 9.05, 84.1, 101.1, 98.6],
        [-0.62, 9.19, 228.9, 205.2, 143.6],
        [-0.39, 2.86, 141.7, 315.9, 167.4],
        [3.15, 857.9, 2222.0, 164.8, 116.3],
    ]
)
_SPREAD_BELOW = np.array(  # signals weaker than the median
    [
        [2.13, 159.5, 762.2, 123.6, 94.5],
        [2.66, 7.67, 100.4, 172.5, 136.4],
        [6.11, 6.65, 138.2, 242.2, 178.6],
        [1.98, 13.11, 139.1, 132.7, 193.5],
        [2.68, 7.16, 93.7, 186.8, 133.5],
        [6.86, 10.38, 187.8, 169.6, 108.9],
        [8.51, 169.8, 609.8, 119.9, 106.6],
    ]
)
_SPREAD_ABOVE = np.array(  # signals stronger than the median
    [
        [2.11, 102.3, 636.9, 134.8, 95.6],
        [6.87, 15.53, 138.7, 143.7, 98.6],
        [10.08, 9.60, 165.3, 225.7, 129.7],
        [3.68, 159.3, 464.4, 93.1, 94.2],
        [4.75, 8.12, 93.2, 135.9, 113.4],
        [8.58, 13.97, 216.0, 152.0, 122.7],
        [8.43, 8.19, 136.2, 188.5, 122.9],
    ]
)
# the same: share of the upper spread in rare, very strong signals, and from which deviate on
_DUCT_SHARE = np.array([1.224, 0.801, 1.380, 1.000, 1.224, 1.518, 1.518])
_DUCT_FROM = np.array([1.282, 2.161, 1.282, 20.0, 1.282, 1.282, 1.282])
# the same: frequency factor 1 + b / ((c ln 0.133 k)^2 + 1) of both spreads: a, b, c
_FREQUENCY_BELOW = np.array([[1.0, 0.0, 0.0]] * 4 + [[0.92, 0.25, 1.77]] + [[1.0, 0.0, 0.0]] * 2)
_FREQUENCY_ABOVE = np.array(
    [
        [1.0, 0.0, 0.0],
        [0.93, 0.31, 2.00],
        [1.0, 0.0, 0.0],
        [0.93, 0.19, 1.79],
        [0.93, 0.31, 2.00],
        [1.0, 0.0, 0.0],
        [1.0, 0.0, 0.0],
    ]
)
SINGLE_MESSAGE, ACCIDENTAL, MOBILE, BROADCAST = 0, 1, 2, 3
NO_LOCATIONS, NO_SITUATIONS = 10, 20  # added to the mode: that variability is left out


@kernel
def climate_curve_db(row, distance_km):
    """Return a curve of the climate tables at an effective distance, in dB.

    row : c1, c2 (dB), x1, x2, x3 (km). Source: Hufford 1995, variability. Accuracy: exact.
    """
    reached = (distance_km / row[2]) ** 2
    return (row[0] + row[1] / (1.0 + ((distance_km - row[3]) / row[4]) ** 2)) * reached / (1.0 + reached)


@kernel
def frequency_factor(row, wave_number):
    """Return the factor of a time spread for a wave number (1/m). Source: Hufford 1995. Accuracy: exact."""
    return row[0] + row[1] / ((row[2] * math.log(0.133 * wave_number)) ** 2 + 1.0)


@kernel
def effective_distance_km(path, wave_number):
    """Return the distance at which the climate curves are read, in km.

    Source: Hufford 1995, variability (effective earth of 9000 km, 130 km to the knee). Accuracy: exact.
    """
    knee_m = (
        math.sqrt(18e6 * path.tx_effective_m)
        + math.sqrt(18e6 * path.rx_effective_m)
        + (575.7e12 / wave_number) ** (1.0 / 3.0)
    )
    if path.length_m < knee_m:
        return 130.0 * path.length_m / knee_m
    return 130.0 + (path.length_m - knee_m) / 1000.0


@kernel
def time_spread_db(climate, distance_km, wave_number, z_time):
    """Return the spread over time to use at a deviate, in dB.

    climate : 1 to 7. distance_km : effective. z_time : positive for strong signals.
    Source: Hufford 1995, variability. Accuracy: exact.
    """
    row = climate - 1
    if z_time < 0.0:
        return climate_curve_db(_SPREAD_BELOW[row], distance_km) * frequency_factor(
            _FREQUENCY_BELOW[row], wave_number
        )
    above_db = climate_curve_db(_SPREAD_ABOVE[row], distance_km) * frequency_factor(
        _FREQUENCY_ABOVE[row], wave_number
    )
    if z_time <= _DUCT_FROM[row]:
        return above_db
    duct_db = above_db * _DUCT_SHARE[row]
    return duct_db + (above_db - duct_db) * _DUCT_FROM[row] / z_time


@kernel
def varied_loss_db(path, frequency_mhz, reference_db, climate, mode, z_time, z_location, z_situation):
    """Return the loss beyond free space at given deviates of time, place and situation, in dB.

    reference_db : of reference_attenuation_db. climate : 1 to 7. mode : 0 single message, 1 accidental,
        2 mobile, 3 broadcast; + 10 without variability of places, + 20 without that of situations.
    z_time, z_location, z_situation : standard normal deviates, positive for the stronger signals.

    Source: Hufford 1995, variability. Accuracy: exact as a formula.
    """
    wave_number = frequency_mhz / WAVE_NUMBER_MHZ_M
    distance_km = effective_distance_km(path, wave_number)
    kind = mode % 10
    if kind == SINGLE_MESSAGE:
        z_time = z_situation
    if kind in (SINGLE_MESSAGE, ACCIDENTAL):
        z_location = z_situation
    elif kind == MOBILE:
        z_location = z_time

    time_db = time_spread_db(climate, distance_km, wave_number, z_time)
    location_db = 0.0
    if mode // 10 not in (1, 3):
        roughness = roughness_over_m(path.length_m, path.delta_h_m) * wave_number
        location_db = 10.0 * roughness / (roughness + 13.0)
    situation_db2 = 0.0
    if mode // 10 not in (2, 3):
        situation_db2 = (5.0 + 3.0 * math.exp(-distance_km / 100.0)) ** 2
    doubt = z_situation * z_situation
    doubt_db2 = (
        situation_db2
        + (time_db * z_time) ** 2 / (7.8 + doubt)
        + (location_db * z_location) ** 2 / (24.0 + doubt)
    )
    stronger_db = 0.0
    if kind == SINGLE_MESSAGE:
        doubt_db2 += time_db * time_db + location_db * location_db
    elif kind == ACCIDENTAL:
        stronger_db = time_db * z_time
        doubt_db2 += location_db * location_db
    elif kind == MOBILE:
        stronger_db = math.sqrt(time_db * time_db + location_db * location_db) * z_time
    else:
        stronger_db = time_db * z_time + location_db * z_location
    loss_db = (
        reference_db
        - climate_curve_db(_MEDIAN[climate - 1], distance_km)
        - stronger_db
        - math.sqrt(doubt_db2) * z_situation
    )
    if loss_db < 0.0:  # a signal far above free space is not believed whole
        loss_db *= (29.0 - loss_db) / (29.0 - 10.0 * loss_db)
    return loss_db
