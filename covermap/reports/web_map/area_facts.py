"""Neighbourhoods and dead zones as the page's tables and keys need them."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.areas import HOMES_PREFIX, LAND_PREFIX

TIERS = range(1, TIER_NOT_PROMISED + 1)
COUNTS = ("total", "unknown", "rooftop_or_more", "without", "without_low", "without_high")
PLAIN = (
    "tier_half_of_homes", "tier_ninety_percent_of_homes", "tier_half_of_land", "tier_ninety_percent_of_land",
    "deciding_service", "deciding_share_percent", "aim_deg_true", "main_cause",
    "confidence_median_percent", "area_km2", "unknown_area_percent",
)  # fmt: skip
ZONE_COLUMNS = ("kind", "main_cause", "deciding_service", "area_km2", "homes", "near_name")


def neighbourhood_facts(areas: gpd.GeoDataFrame | None, list_name: str) -> list[dict[str, Any]]:
    """Return a list's neighbourhoods, one record each; what is not known or left blank is None.

    Each has neighbourhood_id and name, a place inside it in WGS 84 degrees, of_homes (else shares of land in
    percent), by_tier (8 values), and counts and columns under their own names.
    """
    if areas is None:
        return []
    rows = areas[areas["wanted_list"] == list_name]
    prefix = HOMES_PREFIX if f"{HOMES_PREFIX}total" in rows else LAND_PREFIX
    places = rows.geometry.representative_point().to_crs("EPSG:4326")
    return [
        {
            "neighbourhood_id": str(row["neighbourhood_id"]),
            "name": str(row["neighbourhood_name"]),
            "latitude_deg": round(place.y, 6),
            "longitude_deg": round(place.x, 6),
            "of_homes": prefix == HOMES_PREFIX,
            "by_tier": [_plain(row.get(f"{prefix}tier_{tier}")) for tier in TIERS],
            **{name: _plain(row.get(f"{prefix}{name}")) for name in COUNTS},
            **{name: _plain(row[name]) for name in PLAIN if name in row},
        }
        for (_, row), place in zip(rows.iterrows(), places, strict=True)
    ]


def zone_facts(zones: gpd.GeoDataFrame | None, list_name: str) -> list[dict[str, Any]]:
    """Return a list's dead zones and, after them, its doubtful ones; most homes first as they come.

    Each has a place inside it in WGS 84 degrees and the layer's columns under their own names.
    """
    if zones is None or not len(zones):
        return []
    rows = zones[zones["wanted_list"] == list_name]
    rows = rows.sort_values("kind", key=lambda kind: kind != "dead", kind="stable")
    places = rows.geometry.representative_point().to_crs("EPSG:4326")
    return [
        {
            "latitude_deg": round(place.y, 6),
            "longitude_deg": round(place.x, 6),
            **{name: _plain(row.get(name)) for name in ZONE_COLUMNS},
        }
        for (_, row), place in zip(rows.iterrows(), places, strict=True)
    ]


def _plain(value: Any) -> Any:
    """Return a value as JSON holds it: numbers to 0.01, missing as None."""
    if value is None or pd.isna(value):
        return None
    return value if isinstance(value, str) else round(float(value), 2)
