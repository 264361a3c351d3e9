"""Invented classes of single services over the small result, for the tests of a reader's own list."""

import numpy as np
from small_coverage import GRID, UNKNOWN_BLOCK
from web_map_case import make_scenario

from covermap.reports.web_map.own_list import ServiceTiers, services_of


def make_service_tiers(seed=7):
    """Return ServiceTiers over GRID, rising by row and column, with gaps that differ by service."""
    rng = np.random.default_rng(seed)
    services = services_of(make_scenario())
    rise = np.add.outer(np.linspace(0, 5, GRID.rows), np.linspace(0, 3, GRID.cols))
    tier = np.clip(rise + rng.normal(1.0, 1.2, (len(services), *GRID.shape)), 1, 8).round().astype(np.uint8)
    tier[2, 5:8, 10:14] = 255
    tier[(Ellipsis, *UNKNOWN_BLOCK)] = 255  # as in the small result
    return ServiceTiers(services, tier)
