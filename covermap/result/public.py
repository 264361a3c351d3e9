"""What a public result leaves out: homes cell by cell, and small counts."""

from __future__ import annotations

import json

import geopandas as gpd

from covermap.planning.suppression import ROUNDED_TO, rounded, suppress_areas, suppress_counts
from covermap.result.coverage import RUN_FILE, Coverage
from covermap.result.whole_file import write_text

HOME_RASTERS = ("homes", "homes_without_roof")
WHERE_HOMES_ARE = (  # filled only where homes are, so they tell the cells with homes
    "tier_3db_weaker", "tier_3db_stronger", "dead_zone_chance_3db_weaker", "dead_zone_chance_3db_stronger",
)  # fmt: skip
NOTE = (
    "Made for the public: no homes by cell, counts under 5 and what would reveal them are left blank, "
    f"totals are rounded to {ROUNDED_TO:g}."
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


def drop_homes_by_cell(coverage: Coverage) -> None:
    """Remove the rasters of homes, and round what run.json says of them."""
    path = coverage.folder / RUN_FILE
    run = json.loads(path.read_text(encoding="utf-8"))
    of_lists = [f"{name}/{kind}" for name in coverage.lists for kind in WHERE_HOMES_ARE]
    for name in (*HOME_RASTERS, *of_lists):
        raster = coverage.path(name)
        for one in (raster, raster.with_suffix(".qml")):
            one.unlink(missing_ok=True)
        run["files"] = [one for one in run.get("files", []) if not one.endswith(f"/{name}.tif")]
    run |= {"public": True, "homes": public_homes(run.get("homes"))}
    run["cautions"] = [*(one for one in run.get("cautions", []) if one != NOTE), NOTE]
    coverage.run.update(run)
    write_text(path, json.dumps(run, indent=2, ensure_ascii=False) + "\n")


def public_homes(record: dict | None) -> dict | None:
    """Return what run.json says about homes with its numbers rounded."""
    if record is None:
        return None
    names = ("total", "outside_map", "outside_neighbourhoods")
    numbers = {name: rounded(record[name]) for name in names if record.get(name) is not None}
    return record | numbers | {"features_without_count": None}
