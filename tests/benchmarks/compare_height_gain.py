"""What a mast of 15 m brings over one of 10 m among 10 m of clutter: P.1812, P.1546's height gain, the judge.

Rows of houses stand every 50 m across the path, the last 50 m before the home. The judge is the parabolic
equation with each row a thin edge, means over 8 to 12 m and 13 to 17 m; rows of other heights drawn at
random, ten times.
"""

from __future__ import annotations

import math

import numpy as np

import covermap
from covermap.constants import EARTH_RADIUS_KM
from covermap.propagation.parabolic import ParabolicGrid, propagation_factor

BULGE_RADIUS_M = 1000.0 * EARTH_RADIUS_KM * 157.0 / (157.0 - 45.0)
ROW_M, CLUTTER_M = 50.0, 10.0
HEIGHTS_M = np.linspace(8.0, 17.0, 19)
FLOOR_M = -1000.0  # of nothing: what passes between the rows is absorbed there
PATHS = ((5.0, 100.0), (10.0, 100.0), (20.0, 150.0), (20.0, 300.0))  # km, mast in m
FREQUENCIES_MHZ = (69.0, 195.0, 600.0)
SPREADS_M = (0.0, 2.0, 4.0, 6.0)  # of the rows' heights, either way


def by_p1812(frequency_mhz: float, distance_km: float, mast_m: float) -> float:
    points = round(1000.0 * distance_km / ROW_M) + 1
    clutter_m = np.full(points, CLUTTER_M)
    clutter_m[[0, -1]] = 0.0
    profile = covermap.Profile(np.linspace(0.0, distance_km, points), np.zeros(points), clutter_m)
    at_10, at_15 = (
        covermap.p1812_loss(
            profile,
            frequency_mhz=frequency_mhz,
            tx_height_m=mast_m,
            rx_height_m=height_m,
            latitude_deg=44.0,
        ).loss_db
        for height_m in (10.0, 15.0)
    )
    return at_10 - at_15


def by_p1546(frequency_mhz: float) -> float:
    """ITU-R P.1546-6, Annex 5, section 9: K log(h2 / R), K = 3.2 + 6.2 log f, suburban R = 10 m."""
    return (3.2 + 6.2 * math.log10(frequency_mhz)) * math.log10(15.0 / CLUTTER_M)


def by_judge(frequency_mhz: float, distance_km: float, mast_m: float, spread_m: float, seed: int) -> float:
    length_m = 1000.0 * distance_km
    at_m = np.arange(ROW_M, length_m - ROW_M + 1.0, ROW_M)
    rows_m = CLUTTER_M + np.random.default_rng(seed).uniform(-spread_m, spread_m, at_m.size)
    tops_m = rows_m + at_m * (length_m - at_m) / (2.0 * BULGE_RADIUS_M) - FLOOR_M
    _, factor = propagation_factor(
        covermap.Profile([0.0, distance_km], [0.0, 0.0]),
        frequency_mhz=frequency_mhz,
        tx_height_m=mast_m - FLOOR_M,
        rx_heights_m=HEIGHTS_M - FLOOR_M,
        dn=None,
        edges=list(zip(at_m, tops_m, strict=True)),
        grid=ParabolicGrid(25.0, 0.9, bottom_absorber_m=990.0),
    )
    power = factor[-1] ** 2
    return 10.0 * math.log10(power[HEIGHTS_M >= 13.0].mean() / power[HEIGHTS_M <= 12.0].mean())


def main() -> None:
    print(
        "| MHz | P.1812, 5 to 20 km | P.1546 | judge, 5 to 20 km | rows 8 to 12 m | 6 to 14 m | 4 to 16 m |"
    )
    print("|---|---|---|---|---|---|---|")
    for frequency_mhz in FREQUENCIES_MHZ:
        models = [by_p1812(frequency_mhz, *path) for path in PATHS]
        judged = [by_judge(frequency_mhz, *path, 0.0, 0) for path in PATHS]
        uneven = []
        for spread_m in SPREADS_M[1:]:
            drawn = [by_judge(frequency_mhz, *PATHS[1], spread_m, seed) for seed in range(10)]
            uneven.append(f"{np.mean(drawn):.1f} ± {np.std(drawn):.1f}")
        print(
            f"| {frequency_mhz:g} | {min(models):.1f} to {max(models):.1f} | {by_p1546(frequency_mhz):.1f} | "
            f"{min(judged):.1f} to {max(judged):.1f} | {' | '.join(uneven)} |"
        )


if __name__ == "__main__":
    main()
