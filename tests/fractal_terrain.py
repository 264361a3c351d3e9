"""Invented radials: fractal ground with clutter, sea and coast."""

import numpy as np

SEA, COAST, INLAND = 1, 3, 4  # radio zones of ITU-R P.1812-8


def fractal_radial(steps, spread_m, seed, clutter=True, sea=0.35):
    """Return ground, clutter (float32) and zone of an invented radial; sea is its share of sea points."""
    rng = np.random.default_rng(seed)
    wave = np.fft.rfftfreq(8192)
    wave[0] = 1.0
    size = wave**-1.1
    size[0] = 0.0
    shape = np.fft.irfft(size * (rng.standard_normal(wave.size) + 1j * rng.standard_normal(wave.size)))
    ground_m = (shape / shape.std() * spread_m)[: steps + 1]
    ground_m = ground_m - ground_m.min() + 50.0
    zone = np.full(steps + 1, INLAND, dtype=np.uint8)
    if sea:
        level_m = np.quantile(ground_m, sea)
        under_sea = ground_m < level_m
        ground_m = np.maximum(ground_m - level_m, 0.0)
        zone[np.convolve(under_sea, np.ones(21), "same") > 0] = COAST
        zone[under_sea] = SEA
    clutter_m = np.zeros(steps + 1, dtype=np.float32)
    if clutter:
        clutter_m[:] = np.repeat(rng.choice([0.0, 0.0, 5.0, 12.3, 25.0], steps // 8 + 1), 8)[: steps + 1]
        clutter_m[zone == SEA] = 0.0
    return ground_m, clutter_m, zone
