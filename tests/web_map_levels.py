"""Invented levels of the three stations of the small result, for the tests of the quick estimate."""

import numpy as np
from small_coverage import GRID, UNKNOWN_BLOCK

from covermap.constants import UNKNOWN_UINT8
from covermap.reception import ReceptionOptions, StationFacts
from covermap.reports.web_map.estimate_inputs import StationLevels
from covermap.tables import read_tiers

HEIGHTS_M = (10.0, 15.0)


def make_facts(stations=3):
    """Return the facts of make_scenario()'s stations: two on one mast, one on another; the last vertical."""
    return StationFacts(
        frequency_mhz=np.full(stations, 473.0),
        bandwidth_mhz=np.full(stations, 6.0),
        required_cn_db=np.full(stations, 15.2),
        mast=np.array([0, 0, 1])[:stations],
        polarization=np.array([0, 0, 1])[:stations],
    )


def make_levels(seed=7):
    """Return StationLevels over GRID from 30 to 110 dB(uV/m), falling by row and column, with gaps."""
    rng = np.random.default_rng(seed)
    fall = np.add.outer(np.linspace(0, 45, GRID.rows), np.linspace(0, 25, GRID.cols))
    low = 168.0 - fall[None] - 4.0 * np.arange(3)[:, None, None] + rng.normal(0.0, 5.0, (3, *GRID.shape))
    whole = np.clip(np.stack([low, low + rng.uniform(0.0, 4.0, low.shape)]).round(), 0, 254).astype(np.uint8)
    whole[:, 2, 5:8, 10:14] = UNKNOWN_UINT8
    whole[(Ellipsis, *UNKNOWN_BLOCK)] = UNKNOWN_UINT8  # as in the small result
    return StationLevels(
        level=whole,
        kind=rng.integers(0, 2, GRID.shape).astype(np.uint8),
        clutter_m=np.array([0.0, 15.0]),
        open_land=np.array([True, False]),
        heights_m=np.array(HEIGHTS_M),
        facts=make_facts(),
        tiers=read_tiers().tiers,
        options=ReceptionOptions(),
    )
