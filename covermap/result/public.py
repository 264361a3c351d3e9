"""What a public result leaves out: homes cell by cell, and small counts."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd

from covermap.planning.suppression import FIGURES, ROUNDED_TO, rounded, suppress_areas, suppress_counts

NOTE = (
    "Made for the public: no homes by cell, counts under 5 and what would reveal them are left blank, "
    f"totals are rounded to {FIGURES} figures, under 100 to {ROUNDED_TO:g}."
)


def public_areas(areas: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame | None:
    """Return neighbourhoods with small counts missing; None stays None."""
    if areas is None:
        return None
    table = suppress_areas(areas.drop(columns=areas.geometry.name))
    return gpd.GeoDataFrame(table, geometry=areas.geometry.to_numpy(), crs=areas.crs)


def public_zones(zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return dead zones with small counts missing."""
    table = suppress_counts(zones.drop(columns=zones.geometry.name), ["homes", "homes_low", "homes_high"])
    return gpd.GeoDataFrame(table, geometry=zones.geometry.to_numpy(), crs=zones.crs)


def public_ridges(ridges: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return ridges with small counts missing."""
    table = suppress_counts(ridges.drop(columns=ridges.geometry.name), ["homes_shaded"])
    return gpd.GeoDataFrame(table, geometry=ridges.geometry.to_numpy(), crs=ridges.crs)


def public_totals(totals: pd.DataFrame) -> pd.DataFrame:
    """Return land and homes by tier with homes rounded, as the brief tells them."""
    of_homes = [name for name in totals.columns if name.startswith("homes")]
    rounded_off = {
        name: pd.array(
            [count if pd.isna(count) else rounded(float(count)) for count in totals[name]], dtype="Float64"
        )
        for name in of_homes
    }
    return totals.assign(**rounded_off)


def public_record(run: dict[str, Any]) -> dict[str, Any]:
    """Return the content of a public result's run.json: rounded totals, and a note among the cautions."""
    return run | {
        "public": True,
        "homes": public_homes(run.get("homes")),
        "cautions": [*run.get("cautions", []), NOTE],
    }


def public_homes(record: dict | None) -> dict | None:
    """Return what run.json says about homes with its numbers rounded."""
    if record is None:
        return None
    names = ("total", "outside_map", "outside_neighbourhoods")
    numbers = {name: rounded(record[name]) for name in names if record.get(name) is not None}
    return record | numbers | {"features_without_count": None}
