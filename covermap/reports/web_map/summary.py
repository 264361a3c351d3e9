"""The counts of a wanted list that the page shows before any click."""

from __future__ import annotations

from typing import Any

import pandas as pd

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.areas import HOMES_PREFIX, LAND_PREFIX

TIERS = range(1, TIER_NOT_PROMISED + 1)
RANGES = (
    "without_low",
    "without_high",
    "rooftop_or_more_3db_weaker",
    "rooftop_or_more_3db_stronger",
)


def count_facts(columns: pd.Series) -> dict[str, Any]:
    """Return what the page shows of one list: key `homes` with counts, or `land` with shares in percent.

    columns : of planning.areas.WholeSummary; ranges and 3 dB shifts it does not hold are None
    """
    of_homes = f"{HOMES_PREFIX}total" in columns
    prefix = HOMES_PREFIX if of_homes else LAND_PREFIX
    counts: dict[str, Any] = {
        "unknown": float(columns[f"{prefix}unknown"]),
        "by_tier": [float(columns[f"{prefix}tier_{tier}"]) for tier in TIERS],
        "without": float(columns[f"{prefix}without"]),
        "rooftop_or_more": float(columns[f"{prefix}rooftop_or_more"]),
    }
    if of_homes:
        counts["total"] = float(columns["homes_total"])
    for name in RANGES:
        value = columns.get(f"{prefix}{name}")
        counts[name] = None if value is None or pd.isna(value) else float(value)
    return {"homes": counts if of_homes else None, "land": None if of_homes else counts}
