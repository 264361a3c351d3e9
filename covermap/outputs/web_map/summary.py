"""The counts of a wanted list that the page shows before any click."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.outputs.coverage import Coverage
from covermap.outputs.layers import OUTSIDE_FLAG

ROOFTOP_TIER = 5  # a large outdoor antenna is this tier or more
DEAD_ZONE_UNDER_PERCENT = 10  # chance of the dead-zone services under which land counts as getting none


@dataclass(frozen=True)
class ListSummary:
    """Homes of one wanted list; every value counts homes, and a bound is None where it is not known.

    by_tier : homes in cells of tier 1 to 8; with unknown they sum to total
    without : expected homes that get none of the listed services even with tier 7, with its range
    rooftop_or_more : homes in cells of tier 5 to 8; also with all signals 3 dB weaker and 3 dB stronger
    """

    total: float
    unknown: float
    by_tier: tuple[float, ...]
    without: float
    without_low: float | None
    without_high: float | None
    rooftop_or_more: float
    rooftop_or_more_3db_weaker: float | None
    rooftop_or_more_3db_stronger: float | None


@dataclass(frozen=True)
class LandSummary:
    """Shares of the land of one wanted list, in percent of the cells inside the area.

    by_tier_percent : unknown first, then tier 1 to 8
    without_percent : cells whose chance of the dead-zone services is under 10 %
    """

    by_tier_percent: tuple[float, ...]
    rooftop_or_more_percent: float
    without_percent: float


def home_summary(coverage: Coverage, list_name: str) -> ListSummary:
    """Return the counts of homes that the rasters alone give; ranges and 3 dB shifts stay None.

    Homes without = sum of homes x (1 - chance of the dead-zone services).
    """
    inside = _inside(coverage)
    homes = np.nan_to_num(coverage.read("homes").astype(np.float64))[inside]
    tier = coverage.read(f"{list_name}/tier")[inside]
    chance = coverage.read(f"{list_name}/dead_zone_chance")[inside].astype(np.float64)
    by_tier = tuple(float(homes[tier == number].sum()) for number in range(1, TIER_NOT_PROMISED + 1))
    known = tier != UNKNOWN_UINT8
    return ListSummary(
        total=float(homes.sum()),
        unknown=float(homes[~known].sum()),
        by_tier=by_tier,
        without=float((homes * (1.0 - chance / 100.0))[known].sum()),
        without_low=None,
        without_high=None,
        rooftop_or_more=sum(by_tier[ROOFTOP_TIER - 1 :]),
        rooftop_or_more_3db_weaker=None,
        rooftop_or_more_3db_stronger=None,
    )


def land_summary(coverage: Coverage, list_name: str) -> LandSummary:
    """Return the shares of land; cells outside the asked area do not count."""
    inside = _inside(coverage)
    tier = coverage.read(f"{list_name}/tier")[inside]
    chance = coverage.read(f"{list_name}/dead_zone_chance")[inside]
    classes = (UNKNOWN_UINT8, *range(1, TIER_NOT_PROMISED + 1))
    shares = tuple(_percent(tier == number) for number in classes)
    return LandSummary(
        by_tier_percent=shares,
        rooftop_or_more_percent=sum(shares[ROOFTOP_TIER:]),
        without_percent=_percent(chance < DEAD_ZONE_UNDER_PERCENT),
    )


def _inside(coverage: Coverage) -> NDArray[np.bool_]:
    flags: NDArray[Any] = coverage.read("flags")
    return (flags & OUTSIDE_FLAG) == 0


def _percent(chosen: NDArray[np.bool_]) -> float:
    return 100.0 * float(np.count_nonzero(chosen)) / chosen.size if chosen.size else 0.0
