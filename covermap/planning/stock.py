"""What a business needs in stock for its area: antennas by tier, amplifiers, masts, hours and cost."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED
from covermap.grid.frame import Tile
from covermap.planning.areas import sharing
from covermap.planning.cell_fractions import PolygonCells, tile_box
from covermap.planning.further_tally import FurtherResults
from covermap.planning.homes import Homes
from covermap.planning.prices import ITEMS, Price
from covermap.planning.results import Results
from covermap.planning.tally import LAST_INDOOR_REACH, read_results
from covermap.reception.tiers import Tier

SHIFT_OF = {-3: "3db_weaker", 0: "predicted", 3: "3db_stronger"}
STOCK_ORDER = (
    "wanted_list", "shift_db", "item", "homes_in_class", "count", "counted_one_class_up", "share_percent",
    "price_each",
    "hours_each", "cost", "hours",
)  # fmt: skip
ROOF_M = 10.0  # mounts above a rooftop's need a mast of their own
NOT_PROMISED, UNKNOWN, TOTAL = "homes_not_promised", "homes_unknown", "total"


def parts_of_tier(tier: Tier) -> list[str]:
    """Return the items a tier needs beside its antenna, of covermap.planning.prices.ITEMS."""
    parts = {"amplifier": tier.has_amplifier, "mast": tier.height_m > ROOF_M}
    return [item for item, needed in parts.items() if needed]


def items_of(tier: Tier, antennas: int, own_high_vhf: bool) -> list[str]:
    """Return the items of one installation, of covermap.planning.prices.ITEMS."""
    items = [f"antenna_tier_{tier.tier}", *parts_of_tier(tier)]
    return items + ["second_antenna"] * (antennas > 1) + ["high_vhf_antenna"] * own_high_vhf


def stock_table(
    results: Results,
    homes: Homes,
    area: shapely.Geometry | None,
    prices: Mapping[str, Price],
    *,
    amplified: Collection[int],
    masts: Collection[int],
) -> pd.DataFrame:
    """Return the stock for the homes of an area, one row a list, shift and item.

    Parameters
    ----------
    results, homes : the run; area : in the grid's CRS, None for all of the grid
    prices : of read_prices(); an item without a price has no cost
    amplified, masts : the tiers with an amplifier, and with a mast of their own

    Returns
    -------
    DataFrame with the columns STOCK_ORDER, in the case that every field is shift_db stronger.
    homes_in_class: homes whose square is of the antenna's tier. count: homes that need the item, those in
    counted_one_class_up among them: they stand one class higher because 3 dB less would change their class
    (not at -3 dB, the weak case itself). share_percent: of the area's homes. The rows homes_not_promised,
    homes_unknown and total close each group.
    """
    rows = []
    for list_name in results.lists:
        for shift_db in SHIFT_OF:
            counts = _Counts()
            for tile, cell, weight, without_roof in _parts(results, homes, area):
                counts.add(results, list_name, tile, cell, weight, without_roof, shift_db)
            rows += _rows(list_name, shift_db, counts, prices, amplified, masts)
    return pd.DataFrame(rows, columns=list(STOCK_ORDER))


class _Counts:
    """Homes by tier (index 0 unknown), those counted one class up, and shares, for one list and shift."""

    def __init__(self) -> None:
        self.by_tier = np.zeros(TIER_NOT_PROMISED + 1)
        self.in_class = np.zeros(TIER_NOT_PROMISED + 1)
        self.moved = np.zeros(TIER_NOT_PROMISED + 1)
        self.high_vhf: float | None = None
        self.second: float | None = None

    def add(
        self,
        results: Results,
        list_name: str,
        tile: Tile,
        cell: NDArray,
        weight: NDArray,
        without_roof: NDArray | None,
        shift_db: int,
    ) -> None:
        """Add parts of cells."""
        further = FurtherResults(results, list_name, tile)
        tiers = {
            -3: further.shifted_tier["3db_weaker"],
            0: read_results(results, list_name, tile).tier,
            3: further.shifted_tier["3db_stronger"],
        }
        # 3 dB under the weak case is not there: nothing is counted one class up in it.
        here, weaker = tiers[shift_db], tiers.get(shift_db - 3)
        if here is None:
            return
        tier = here[cell].astype(np.int64)
        known = tier <= TIER_NOT_PROMISED
        moved = np.zeros(tier.size, dtype=bool)  # homes of tier 7 stay: above it there is nothing to stock
        if weaker is not None:
            moved = known & (weaker[cell] > tier) & (weaker[cell] <= TIER_NOT_PROMISED) & (tier < TIER_COUNT)
        flats = np.zeros(tier.size) if without_roof is None else without_roof
        self.in_class += _by_tier(np.where(known, tier, 0), weight, flats)
        tier = np.where(known, tier + moved, 0)
        self.by_tier += _by_tier(tier, weight, flats)
        self.moved += np.bincount(tier, (weight - flats) * moved, minlength=self.moved.size)
        served = (tier >= 1) & (tier <= TIER_COUNT)
        supplied = np.where(tier > LAST_INDOOR_REACH, weight - flats, weight) * served
        if further.high_vhf is not None:
            self.high_vhf = (self.high_vhf or 0.0) + supplied[further.high_vhf[cell]].sum()
        second = further.optional["second_aim"]
        if second is not None:
            self.second = (self.second or 0.0) + supplied[second[cell] >= 0].sum()


def _by_tier(tier: NDArray, weight: NDArray, flats: NDArray) -> NDArray[np.float64]:
    """Return homes by tier, unknown first; flats that need more than a window antenna are not promised."""
    found = np.bincount(tier, weight - flats, minlength=TIER_NOT_PROMISED + 1)
    lost = np.where(tier > LAST_INDOOR_REACH, TIER_NOT_PROMISED, tier)
    return np.asarray(found + np.bincount(lost, flats, minlength=TIER_NOT_PROMISED + 1), dtype=np.float64)


def _parts(results: Results, homes: Homes, area: shapely.Geometry | None) -> Any:
    """Yield tile, cells, homes and homes without a roof of each part inside the area."""
    grid = results.grid
    outline = tile_box(grid, Tile(0, 0, grid.rows, grid.cols)) if area is None else area
    polygons = np.array([outline], dtype=object)
    cells = PolygonCells(polygons, grid)
    share_out = sharing(homes, polygons, cells, None)
    for tile in grid.tiles():
        if cells.touching(tile).size:
            _, cell, weight, without_roof = share_out(tile, cells.fractions(tile))
            yield tile, cell, weight, without_roof


def _rows(
    list_name: str,
    shift_db: int,
    counts: _Counts,
    prices: Mapping[str, Price],
    amplified: Collection[int],
    masts: Collection[int],
) -> list[dict[str, Any]]:
    needed: dict[str, tuple[float | None, float | None]] = {
        f"antenna_tier_{tier}": (counts.by_tier[tier], None if shift_db < 0 else counts.moved[tier])
        for tier in range(1, TIER_COUNT + 1)
    }
    needed["amplifier"] = (sum(counts.by_tier[tier] for tier in amplified), None)
    needed["mast"] = (sum(counts.by_tier[tier] for tier in masts), None)
    needed["high_vhf_antenna"], needed["second_antenna"] = (counts.high_vhf, None), (counts.second, None)
    total = counts.by_tier.sum()

    def row(item: str, count: float | None, **more: Any) -> dict[str, Any]:
        share = None if count is None or total <= 0 else round(100.0 * count / total, 1)
        figures = {"count": None if count is None else round(count, 1), "share_percent": share}
        return {"wanted_list": list_name, "shift_db": shift_db, "item": item, **figures, **more}

    rows, cost, hours = [], 0.0, 0.0
    for item in ITEMS:
        count, moved = needed[item]
        price = prices.get(item, Price(np.nan, np.nan))
        of_item = {
            "counted_one_class_up": None if moved is None else round(moved, 1),
            "price_each": price.price_each,
            "hours_each": price.hours_each,
            "cost": None if count is None else round(count * price.price_each, 2),
            "hours": None if count is None else round(count * price.hours_each, 1),
        }
        if item.startswith("antenna_tier_"):
            of_item["homes_in_class"] = round(counts.in_class[int(item[-1])], 1)
        rows.append(row(item, count, **of_item))
        cost += np.nan_to_num((count or 0.0) * price.price_each)
        hours += np.nan_to_num((count or 0.0) * price.hours_each)
    rows.append(row(NOT_PROMISED, counts.by_tier[TIER_NOT_PROMISED]))
    rows.append(row(UNKNOWN, counts.by_tier[0]))
    rows.append(row(TOTAL, total, cost=round(cost, 2), hours=round(hours, 1)))
    return rows
