"""All addresses of a list as one table and one layer: class, chance, aim and cost, a row an address."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

from covermap.addresses.report import AddressReport
from covermap.planning.prices import Price, price_of
from covermap.planning.stock import items_of
from covermap.reception.cells import percent_beside
from covermap.reception.tiers import TierTable
from covermap.reports.address_sheet.wording import note
from covermap.result.csv_tables import write_csv
from covermap.result.whole_file import whole_file
from covermap.wording.language import say
from covermap.wording.retold import retold

TABLE_FILE = "address_table.csv"
LAYER_FILE = "addresses.gpkg"
LAYER = "addresses"


def address_table(
    reports: Sequence[AddressReport], tiers: TierTable, prices: Mapping[str, Price] | None
) -> gpd.GeoDataFrame:
    """Return a point an address, WGS 84, in the order of the list.

    prices : of planning.prices.read_prices(); None without. cost is that of the parts of the answer, blank
    where a part has no price, nothing is promised, or nothing is known.
    """
    rows = [_row(report, tiers, prices) for report in reports]
    places = gpd.points_from_xy([r.longitude_deg for r in reports], [r.latitude_deg for r in reports])
    return gpd.GeoDataFrame(rows, geometry=places, crs="EPSG:4326")


def write_address_table(table: gpd.GeoDataFrame, folder: Path, cautions: Sequence[str]) -> list[Path]:
    """Write the table as CSV and as a GeoPackage layer; return the paths."""
    layer = folder / LAYER_FILE
    with whole_file(layer) as temporary:
        pyogrio.write_dataframe(
            table,
            temporary,
            layer=LAYER,
            driver="GPKG",
            geometry_type="Point",
            dataset_options={"VERSION": "1.2"},
            layer_options={"DESCRIPTION": " ".join([say("layer.addresses"), *retold(cautions)])},
        )
    return [write_csv(table, folder / TABLE_FILE), layer]


def _row(report: AddressReport, tiers: TierTable, prices: Mapping[str, Price] | None) -> dict[str, object]:
    aims = [float(aim) for aim in report.aims_deg] + [math.nan, math.nan]
    cost, hours = _cost(report, tiers, prices)
    names = (*report.tier_names, "Not promised")
    return {
        "point_id": report.point_id,
        "label": report.label,
        "latitude_deg": round(report.latitude_deg, 6),
        "longitude_deg": round(report.longitude_deg, 6),
        "status": report.status,
        "reason": "" if report.reason is None else note(report.display, report.reason),
        "wanted_list": report.list_name,
        "tier": pd.NA if report.tier is None else report.tier,
        "tier_name": "" if report.tier is None else names[min(report.tier, len(names)) - 1],
        "chance_percent": _whole_percent(report),
        "aim_deg_true": round(aims[0], 1),
        "second_aim_deg_true": round(aims[1], 1),
        "polarization": report.polarization,
        "needs_filter": report.needs_filter,
        "limiting_service": report.limiting_service or "",
        "deciding_service": report.deciding_service or "",
        "services_kept_one_class_lower": len(report.kept_one_lower),
        "cost": cost,
        "hours": hours,
    }


def _whole_percent(report: AddressReport) -> float:
    """Return the chance as rasters hold it, never on the other side of the confidence; NaN unknown."""
    if report.chance_percent is None:
        return math.nan
    return float(percent_beside(report.chance_percent / 100.0, report.confidence_percent))


def _cost(report: AddressReport, tiers: TierTable, prices: Mapping[str, Price] | None) -> tuple[float, float]:
    """Return what the parts of the answer cost and how long fitting them takes; NaN where not known."""
    if prices is None or report.tier is None or report.tier > len(tiers.tiers):
        return math.nan, math.nan
    own_high_vhf = report.high_vhf is not None and report.high_vhf.needs_own
    whole = price_of(items_of(tiers[report.tier], len(report.aims_deg), own_high_vhf), prices)
    return whole.price_each, whole.hours_each
