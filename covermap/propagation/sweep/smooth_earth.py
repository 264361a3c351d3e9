"""The smooth path of every item at one height and one Earth radius, without frequency.

The loops stay short and apart: in one loop they took 46 ns an item, in three 16.5 ns, because LLVM
vectorised only the short ones.
"""

import math

from covermap.propagation.sweep.rows import (
    DISTANCE_KM,
    EARTH_CLEARANCE_M,
    EARTH_DISTANCE_KM,
    EARTH_NEEDED_M,
    EARTH_NU,
    EARTH_RADIUS_ROOT,
    EARTH_RX_M,
    EARTH_SEA_SHARE,
    EARTH_TX_M,
    RX_SMOOTH_M,
    SEA_SHARE,
    SMOOTH_ABOVE,
    SMOOTH_CLEARANCE_M,
    SMOOTH_NEEDED_M,
    SMOOTH_NU,
    SMOOTH_POINT_KM,
    SMOOTH_RADIUS_KM,
    STEP,
    TX_SMOOTH_M,
    whole_blocks,
)
from covermap.propagation.vector_math import exp2, log2_positive, third_sine, vector_kernel, vector_order


@vector_kernel
def fill_clearance(columns, items, ray, radius_km, smooth):
    """Write clearance, needed clearance (at 1 m wavelength), radius and point of reflection of each item.

    Beyond the horizon clearance is 0, needed clearance 1 and the radius the given one; within line of
    sight it is the radius that would make the path graze.

    Source: ITU-R P.1812-8, section 4.3, equations (22) to (26), with cos(pi/3 + acos(q)/3) =
    sin(asin(q)/3). Accuracy: rounding.
    """
    horizon_factor = math.sqrt(0.002 * radius_km)
    curvature = 500.0 / radius_km
    for i in range(columns):
        distance_km = items[DISTANCE_KM, i]
        tx_m = ray[TX_SMOOTH_M, i]
        rx_m = ray[RX_SMOOTH_M, i]
        per_km = 1.0 / distance_km
        roots = math.sqrt(tx_m) + math.sqrt(rx_m)
        both_m = tx_m + rx_m
        m = 0.5 * curvature * distance_km * distance_km / both_m
        m1 = m + 1.0
        root = math.sqrt(m1 / (3.0 * m))
        b = 2.0 * root * third_sine(min(max(1.5 * (tx_m - rx_m) / both_m / (root * m1), -1.0), 1.0))
        tx_km = min(max(0.5 * distance_km * (1.0 + b), 0.0), distance_km)
        rx_km = distance_km - tx_km
        clearance_m = (tx_m - curvature * tx_km * tx_km) * (rx_km * per_km) + (
            rx_m - curvature * rx_km * rx_km
        ) * (tx_km * per_km)
        beyond = distance_km >= horizon_factor * roots
        smooth[SMOOTH_CLEARANCE_M, i] = 0.0 if beyond else clearance_m
        smooth[SMOOTH_NEEDED_M, i] = 1.0 if beyond else 17.456 * math.sqrt(tx_km * rx_km * per_km)
        grazing = distance_km / roots
        smooth[SMOOTH_RADIUS_KM, i] = radius_km if beyond else 500.0 * grazing * grazing
        smooth[SMOOTH_POINT_KM, i] = tx_km


@vector_kernel
def fill_horizon_crossing(columns, items, ray, radius_km, step_km, smooth):
    """Write nu at 1 m wavelength where the horizon rays of the smooth path cross, and how they stand.

    The slope from an antenna h above the smooth surface peaks at sqrt(h/curvature): at one of the two
    profile points beside it.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21) with all heights 0. Accuracy: rounding.
    """
    curvature = 500.0 / radius_km
    root = math.sqrt(radius_km / 500.0)
    per_step = 1.0 / step_km
    for i in range(columns):
        distance_km = items[DISTANCE_KM, i]
        last = items[STEP, i] - 1.0
        tx_m = ray[TX_SMOOTH_M, i]
        rx_m = ray[RX_SMOOTH_M, i]
        per_km = 1.0 / distance_km
        slope = (rx_m - tx_m) * per_km
        bulge = curvature * distance_km
        point = min(max(math.floor(math.sqrt(tx_m) * root * per_step), 1.0), last)
        x_km = point * step_km
        next_km = min(point + 1.0, last) * step_km
        tx_slope = bulge - min(curvature * x_km + tx_m / x_km, curvature * next_km + tx_m / next_km)
        point = min(max(math.floor(math.sqrt(rx_m) * root * per_step), 1.0), last)
        x_km = point * step_km
        next_km = min(point + 1.0, last) * step_km
        rx_slope = bulge - min(curvature * x_km + rx_m / x_km, curvature * next_km + rx_m / next_km)
        crossing_km = (rx_m - tx_m + rx_slope * distance_km) / (tx_slope + rx_slope)
        at_km = crossing_km if tx_slope >= slope else 0.5 * distance_km
        above_m = tx_m + tx_slope * at_km - (tx_m * (distance_km - at_km) + rx_m * at_km) * per_km
        smooth[SMOOTH_NU, i] = above_m * math.sqrt(0.002 * distance_km / (at_km * (distance_km - at_km)))
        smooth[SMOOTH_ABOVE, i] = tx_slope - slope


@vector_kernel
def replace_nu_in_sight(columns, items, ray, radius_km, step_km, smooth):
    """Put the largest nu of the profile points in place of the crossing's where the smooth path is clear.

    The point of smallest clearance is also that of the largest nu (its cubic is the same), so the largest
    of the profile's points is one of the two beside it; no search.

    Source: ITU-R P.1812-8, section 4.3, equations (13) to (21) and (25). Accuracy: rounding.
    """
    curvature = 500.0 / radius_km
    per_step = 1.0 / step_km
    for i in range(columns):
        distance_km = items[DISTANCE_KM, i]
        last = items[STEP, i] - 1.0
        tx_m = ray[TX_SMOOTH_M, i]
        slope = (ray[RX_SMOOTH_M, i] - tx_m) / distance_km
        point = min(max(math.floor(smooth[SMOOTH_POINT_KM, i] * per_step), 1.0), last)
        x_km = point * step_km
        next_km = min(point + 1.0, last) * step_km
        width = math.sqrt(x_km * (distance_km - x_km))
        next_width = math.sqrt(next_km * (distance_km - next_km))
        least = min(
            (tx_m + slope * x_km) / width - curvature * width,
            (tx_m + slope * next_km) / next_width - curvature * next_width,
        )
        nu = -least * math.sqrt(0.002 * distance_km)
        smooth[SMOOTH_NU, i] = smooth[SMOOTH_NU, i] if smooth[SMOOTH_ABOVE, i] >= 0.0 else nu


@vector_kernel
def gather_earth(count, items, ray, smooth, longest_wavelength_m, earth, earth_item):
    """Gather the items whose loss over the spherical earth can be above 0 at the longest wavelength.

    Returns their number; earth_item says which they are.

    Source: ITU-R P.1812-8, section 4.3, equations (22) to (26): no loss above the needed
    clearance. Accuracy: exact.
    """
    root = math.sqrt(longest_wavelength_m)
    gathered = 0
    for i in range(count):
        earth[EARTH_DISTANCE_KM, gathered] = items[DISTANCE_KM, i]
        earth[EARTH_TX_M, gathered] = ray[TX_SMOOTH_M, i]
        earth[EARTH_RX_M, gathered] = ray[RX_SMOOTH_M, i]
        earth[EARTH_NU, gathered] = smooth[SMOOTH_NU, i]
        earth[EARTH_RADIUS_ROOT, gathered] = smooth[SMOOTH_RADIUS_KM, i]
        earth[EARTH_CLEARANCE_M, gathered] = smooth[SMOOTH_CLEARANCE_M, i]
        earth[EARTH_NEEDED_M, gathered] = smooth[SMOOTH_NEEDED_M, i]
        earth[EARTH_SEA_SHARE, gathered] = items[SEA_SHARE, i]
        earth_item[gathered] = i
        gathered += 1 if smooth[SMOOTH_CLEARANCE_M, i] <= smooth[SMOOTH_NEEDED_M, i] * root else 0
    for i in range(whole_blocks(gathered)):
        earth[EARTH_RADIUS_ROOT, i] = exp2((-1.0 / 3.0) * log2_positive(earth[EARTH_RADIUS_ROOT, i]))
    return gathered


@vector_order
def fill_earth(count, items, ray, radius_km, step_km, longest_wavelength_m, smooth, earth, earth_item):
    """Write the smooth path of each item at one height; return the number of items gathered in earth."""
    columns = whole_blocks(count)
    fill_clearance(columns, items, ray, radius_km, smooth)
    fill_horizon_crossing(columns, items, ray, radius_km, step_km, smooth)
    replace_nu_in_sight(columns, items, ray, radius_km, step_km, smooth)
    return gather_earth(count, items, ray, smooth, longest_wavelength_m, earth, earth_item)
