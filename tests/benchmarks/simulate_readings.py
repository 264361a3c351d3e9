"""What calibrate accepts and covers, on readings from a generator unlike its own model.

simulate_readings.py DEM.tif [--sets 150]      prints the table of docs/validation.md

The model behind calibrate is a Gaussian process with exponential covariance. Here what the prediction
misses is fractal (a surface of power law, so of no one range), goes with the terrain's own relief, and each
house has Laplace noise. Houses stand where people would drive: in streets, or one by one.
"""

from __future__ import annotations

import argparse
import math

import numpy as np
import rasterio
from scipy import ndimage

from covermap.measurements.mixed_model import KM_PER_DEG, fit_mixed
from covermap.measurements.offsets import fit_offsets, judge
from covermap.measurements.residuals import PointResidual

SIDE_KM, CELLS = 25.0, 257  # of the square readings are taken in
SHADOW_DB, RELIEF_DB, OWN_DB = 4.0, 1.5, 4.0
DEFAULT_DB = 6.7  # what calibrate takes for the spread with land cover
STREET_KM = 0.15
SCENARIOS = {
    # name: (true offset, streets, houses a street)
    "mast right: 15 points in 3 streets": (0.0, 3, 5),
    "mast right: 30 points in 6 streets": (0.0, 6, 5),
    "mast right: 15 houses anywhere": (0.0, 15, 1),
    "mast right: 30 houses anywhere": (0.0, 30, 1),
    "4 dB off: 15 points in 3 streets": (-4.0, 3, 5),
    "4 dB off: 15 houses anywhere": (-4.0, 15, 1),
    "4 dB off: 30 houses anywhere": (-4.0, 30, 1),
    "8 dB off: 15 houses anywhere": (-8.0, 15, 1),
}


def fractal(rng, exponent=1.7):
    """A surface of power law 1 / f^exponent, mean 0 and sd 1."""
    f = np.hypot(np.fft.fftfreq(CELLS)[:, None], np.fft.rfftfreq(CELLS)[None, :])
    f[0, 0] = np.inf
    waves = (rng.normal(size=f.shape) + 1j * rng.normal(size=f.shape)) / f**exponent
    surface = np.fft.irfft2(waves, s=(CELLS, CELLS))
    return (surface - surface.mean()) / surface.std()


def relief_of(path, rng):
    """The elevation of a random square of the model, mean 0 and sd 1."""
    with rasterio.open(path) as source:
        height = source.read(1).astype(float)
    row = rng.integers(0, max(height.shape[0] - 200, 1))
    col = rng.integers(0, max(height.shape[1] - 200, 1))
    window = height[row : row + 200, col : col + 200]
    scaled = ndimage.zoom(window, CELLS / np.array(window.shape), order=1)
    return (scaled - scaled.mean()) / scaled.std()


def readings(rng, path, offset_db, streets, houses):
    shadow = SHADOW_DB * fractal(rng) + RELIEF_DB * relief_of(path, rng)
    found = []
    for street in range(streets):
        x0, y0 = rng.uniform(1.0, SIDE_KM - 1.0, 2)
        turn = rng.uniform(0.0, math.pi)
        for house in range(houses):
            along = rng.uniform(-STREET_KM, STREET_KM)
            x, y = x0 + along * math.cos(turn), y0 + along * math.sin(turn)
            at = [[y / SIDE_KM * (CELLS - 1)], [x / SIDE_KM * (CELLS - 1)]]
            missed = float(ndimage.map_coordinates(shadow, at, order=1)[0])
            value = offset_db + missed + rng.laplace(0.0, OWN_DB / math.sqrt(2.0))
            found.append(
                PointResidual(
                    f"{street}-{house}", "Mast", "uhf", value, value, 0.0, 44.0 + y / KM_PER_DEG,
                    -36.0 + x / (KM_PER_DEG * math.cos(math.radians(44.0))), (5.0, 20.0), 1, "one_ridge",
                )
            )  # fmt: skip
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("dem")
    parser.add_argument("--sets", type=int, default=150)
    asked = parser.parse_args()
    print("| readings | accepted, of 100 | interval holds the offset, of 100 | its half width dB, median |")
    print("|---|---|---|---|")
    for name, (offset_db, streets, houses) in SCENARIOS.items():
        accepted, held, reach = 0, 0, []
        for run in range(asked.sets):
            points = readings(np.random.default_rng([11, run]), asked.dem, offset_db, streets, houses)
            model = fit_mixed(points, DEFAULT_DB)
            offset = fit_offsets(model)[0]
            accepted += not judge(model).refused
            held += abs(offset.offset_db - offset_db) < 1.96 * offset.sd_db
            reach.append(1.96 * offset.sd_db)
        sets = asked.sets / 100.0
        print(f"| {name} | {accepted / sets:.0f} | {held / sets:.0f} | {np.median(reach):.1f} |", flush=True)


if __name__ == "__main__":
    main()
