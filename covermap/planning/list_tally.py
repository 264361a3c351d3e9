"""Everything that is added up for areas and one wanted list, and the columns it gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.errors import InputError
from covermap.grid.frame import Tile
from covermap.planning.carriers import groups_of, service_paths
from covermap.planning.further_tally import FurtherResults, FurtherTally
from covermap.planning.ranges import RangeTally, best_until, deviation
from covermap.planning.results import Results
from covermap.planning.shared_errors import SharedErrors, shared_errors, spread_of
from covermap.planning.tally import (
    FIRST_ROOFTOP_TIER,
    HALF,
    LAST_INDOOR_REACH,
    NINETY_PERCENT,
    Tally,
    TileResults,
    read_results,
)

TIER_NUMBERS = range(1, TIER_NOT_PROMISED + 1)
HOMES_PREFIX = "homes_"
LAND_PREFIX = "share_of_land_percent_"
DECIMALS = 3


@dataclass(frozen=True, eq=False)
class LostParts:
    """What RangeTally.add needs of N cells for homes without any listed service."""

    cell_id: NDArray[np.int64]
    deviations: NDArray[np.float64]
    shared: SharedErrors


def lost_parts(
    results: Results,
    list_name: str,
    tile: Tile,
    cell: NDArray,
    of_tile: TileResults,
    further: FurtherResults,
) -> LostParts:
    """Return how near the chosen cells of a tile are to being without, and on which sites that hangs.

    Only for results whose record tells spread and carriers.
    """
    weaker, stronger = (
        None if values is None else values[cell] for values in further.shifted_dead_percent.values()
    )
    row, col = cell // tile.cols + tile.row, cell % tile.cols + tile.col
    chance = _chances(results, list_name, "service_chance", tile, cell)
    shared = _shared(results, list_name, tile, cell, chance, False)
    return LostParts(
        # The number in the whole grid, not in the tile: parts of a cell in two areas must draw the same.
        row * results.grid.cols + col,
        deviation(of_tile.dead_zone_percent[cell], weaker, stronger, shared.per_db),
        shared,
    )


def _shared_of_all(
    results: Results, list_name: str, tile: Tile, cell: NDArray, tier: NDArray
) -> SharedErrors:
    """Return what the chance of all services shares with other cells, with the plan nearest to tier 4."""
    stored = _chances(results, list_name, "service_chance", tile, cell)
    lower = _chances(results, list_name, "service_chance_one_lower", tile, cell)
    # The question is whether tier 4 would do, so what counts is the plan nearest to it: one class below the
    # answer where that is a rooftop.
    return _shared(results, list_name, tile, cell, np.where(tier >= FIRST_ROOFTOP_TIER, lower, stored), True)


def _chances(results: Results, list_name: str, kind: str, tile: Tile, cell: NDArray) -> NDArray:
    stacked = results.read(f"{list_name}/{kind}", tile)
    return stacked.reshape(len(results.services(list_name)), -1)[:, cell]


def _shared(
    results: Results, list_name: str, tile: Tile, cell: NDArray, chance: NDArray, all_needed: bool
) -> SharedErrors:
    groups, spread = groups_of(results), spread_of(results.run)
    paths = service_paths(results, list_name, tile)
    if groups is None or paths is None or spread is None:
        raise InputError("run.json does not tell which sites carry the services. Run covermap map again.")
    return shared_errors(chance, paths.at(cell), len(groups), spread, all_needed=all_needed)


class ListTally:
    """Sums for P areas and one list: tiers, what else the result holds, and with homes their ranges."""

    def __init__(self, results: Results, list_name: str, areas: int, *, of_homes: bool) -> None:
        self.results = results
        self.list_name = list_name
        self.of_homes = of_homes
        self.services = results.services(list_name)
        self.tally = Tally(areas, len(self.services))
        self.further = FurtherTally(areas, causes_of(results, list_name))
        groups, spread = groups_of(results), spread_of(results.run)
        self.without: RangeTally | None = None
        self.rooftop: RangeTally | None = None
        # Without spread and carriers, as in older results, there are no ranges; a guess would pass for one.
        if of_homes and groups and spread is not None:
            self.without = RangeTally(areas, len(groups), spread.home_correlation)
            self.rooftop = RangeTally(areas, len(groups), spread.home_correlation)

    def add(
        self, tile: Tile, area: NDArray, cell: NDArray, weight: NDArray, without_roof: NDArray | None = None
    ) -> TileResults:
        """Add parts of cells of a tile (see Tally.add) and return the tile's results."""
        results = read_results(self.results, self.list_name, tile)
        further = FurtherResults(self.results, self.list_name, tile)
        self.tally.add(area, cell, weight, results, without_roof)
        self.further.add(area, cell, weight, without_roof, further)
        if self.without is not None:
            # Unknown cells have no chance to draw from, and empty ones only cost time.
            kept = (results.tier[cell] <= TIER_NOT_PROMISED) & (weight > 0)
            roofs = None if without_roof is None else without_roof[kept]
            self._add_ranges(tile, area[kept], cell[kept], weight[kept], roofs, results, further)
        return results

    def _add_ranges(
        self,
        tile: Tile,
        area: NDArray,
        cell: NDArray,
        weight: NDArray,
        without_roof: NDArray | None,
        results: TileResults,
        further: FurtherResults,
    ) -> None:
        if self.without is None or self.rooftop is None or not cell.size:
            return
        lost = lost_parts(self.results, self.list_name, tile, cell, results, further)
        self.without.add(area, lost.cell_id, weight, lost.deviations, lost.shared)
        shared_of_all = _shared_of_all(self.results, self.list_name, tile, cell, results.tier[cell])
        chance = results.tier_chance_percent[:, cell]
        roofed = weight if without_roof is None else weight - without_roof
        below_roof = deviation(best_until(chance, FIRST_ROOFTOP_TIER - 1))
        self.rooftop.add(area, lost.cell_id, roofed, below_roof, shared_of_all)
        if without_roof is not None:
            indoors = deviation(best_until(chance, LAST_INDOOR_REACH))
            self.rooftop.add(area, lost.cell_id, without_roof, indoors, shared_of_all)

    def table(self) -> pd.DataFrame:
        """Return the columns, one row an area; without homes the counts are shares of land in percent."""
        tally = self.tally
        prefix, of_what = (HOMES_PREFIX, "homes") if self.of_homes else (LAND_PREFIX, "land")
        with np.errstate(invalid="ignore", divide="ignore"):
            scale = np.ones(len(tally.total)) if self.of_homes else 100.0 / tally.total
            # An area without land: 100 / 0 is no share.
            scale = np.where(np.isfinite(scale), scale, np.nan)
        counted = self._counts(prefix, scale)
        columns: dict[str, Any] = {name: np.round(values, DECIMALS) for name, values in counted.items()}
        columns[f"tier_half_of_{of_what}"] = whole_numbers(tally.tier_reaching(HALF))
        columns[f"tier_ninety_percent_of_{of_what}"] = whole_numbers(tally.tier_reaching(NINETY_PERCENT))
        deciding = tally.deciding()
        names = [None if index is None else self.services[index] for index, _ in deciding]
        columns["deciding_service"] = pd.array(names, dtype="string")
        shares = [np.nan if share is None else share for _, share in deciding]
        columns["deciding_share_percent"] = np.round(np.array(shares, dtype=float), DECIMALS)
        columns["aim_deg_true"] = whole_numbers(tally.common_aim())
        columns["confidence_median_percent"] = whole_numbers(tally.median_confidence())
        further = self.further.columns(prefix, scale, tally.known)
        return pd.concat([pd.DataFrame(columns), further], axis=1)

    def _counts(self, prefix: str, scale: NDArray) -> dict[str, NDArray]:
        tally = self.tally
        # Of land it would be 100 % in every row.
        columns = {f"{prefix}total": tally.total * scale} if self.of_homes else {}
        columns[f"{prefix}unknown"] = tally.by_tier[:, 0] * scale
        columns |= {f"{prefix}tier_{tier}": tally.by_tier[:, tier] * scale for tier in TIER_NUMBERS}
        columns |= {
            f"{prefix}expected_tier_{tier}": tally.expected[:, tier - 1] * scale for tier in TIER_NUMBERS
        }
        columns[f"{prefix}rooftop_or_more"] = tally.rooftop_or_more * scale
        expected = tally.expected[:, FIRST_ROOFTOP_TIER - 1 :].sum(axis=1)
        columns[f"{prefix}expected_rooftop_or_more"] = expected * scale
        columns[f"{prefix}without"] = tally.without * scale
        for name, draws, value in (
            ("expected_rooftop_or_more", self.rooftop, expected),
            ("without", self.without, tally.without),
        ):
            missing = np.full(len(value), np.nan)
            low, high = (missing, missing) if draws is None else draws.ranges(value)
            columns[f"{prefix}{name}_low"], columns[f"{prefix}{name}_high"] = low, high
        return columns


def causes_of(results: Results, list_name: str) -> tuple[str, ...]:
    """Return the names behind the raster main_cause; none where the result has none."""
    name = f"{list_name}/main_cause"
    return results.tag_values(name, "CAUSES") if results.has(name) else ()


def whole_numbers(values: list[Any]) -> pd.api.extensions.ExtensionArray:
    """Return whole numbers with gaps."""
    return pd.array(values, dtype="Int64")
