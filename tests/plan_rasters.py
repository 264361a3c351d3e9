"""Adds the rasters that say more of a plan to a small result; everything in it is invented."""

import numpy as np
from small_coverage import GRID, SERVICES, UNKNOWN_BLOCK, WHOLE

from covermap.result.rasters import RasterSet

CAUSES = (
    "ridges",
    "earth_bulge",
    "distance",
    "clutter",
    "noise",
    "same_channel",
    "next_channel",
    "overload",
    "pattern_null",
)
SUMS = (0, 1, 5, 48)  # of plan_flags


def add_plan_rasters(coverage, list_name="main", seed=3):
    """Write second_aim, aim_from, aim_to, main_cause, amplifier, tier_without_deciding and plan_flags."""
    rng = np.random.default_rng(seed)
    tier = coverage.read(f"{list_name}/tier")
    aim = coverage.read(f"{list_name}/aim")
    known = np.ones(GRID.shape, bool)
    known[UNKNOWN_BLOCK] = False
    hard = known & (tier >= 5)
    arrays = {
        "second_aim": np.where(hard & (rng.random(GRID.shape) < 0.5), 205, -1).astype(np.int16),
        "aim_from": np.where(known, (aim - 10) % 360, -1).astype(np.int16),
        "aim_to": np.where(known, (aim + 10) % 360, -1).astype(np.int16),
        "main_cause": np.where(hard, rng.integers(0, len(CAUSES), GRID.shape), 255).astype(np.uint8),
        "amplifier": np.where(known, rng.integers(0, 7, GRID.shape), 255).astype(np.uint8),
        "tier_without_deciding": np.where(known, np.maximum(tier.astype(int) - 1, 1), 255).astype(np.uint8),
        "plan_flags": np.where(known, rng.choice(SUMS, GRID.shape), 255).astype(np.uint8),
    }
    with RasterSet(coverage.folder, GRID, services=SERVICES, tags={"CAUSES": "|".join(CAUSES)}) as rasters:
        for kind, array in arrays.items():
            rasters.write(f"{list_name}/{kind}", WHOLE, array)
    return arrays
