"""Adds up, for areas made of cells, what their homes need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.results import Results, read_chances

AIM_WIDTH_DEG = 10
FIRST_ROOFTOP_TIER = 5
LAST_INDOOR_REACH = 2  # Window: the highest tier for homes that may use no roof
HALF, NINETY_PERCENT = 0.5, 0.9


@dataclass(frozen=True, eq=False)
class TileResults:
    """What the cells of a tile need for one list, flattened to N cells.

    tier, aim_deg, deciding, dead_zone_percent : shape (N,) as stored, unknown included
    tier_chance_percent : shape (7, N), of read_chances
    """

    tier: NDArray[np.uint8]
    tier_chance_percent: NDArray[np.uint8]
    dead_zone_percent: NDArray[np.uint8]
    deciding: NDArray[np.uint8]
    aim_deg: NDArray[np.int16]


def read_results(results: Results, list_name: str, tile: Tile) -> TileResults:
    """Return the results of a tile for one list."""
    return TileResults(
        tier=results.read(f"{list_name}/tier", tile).ravel(),
        tier_chance_percent=read_chances(results, list_name, tile).reshape(TIER_COUNT, -1),
        dead_zone_percent=results.read(f"{list_name}/dead_zone_chance", tile).ravel(),
        deciding=results.read(f"{list_name}/deciding_service", tile).ravel(),
        aim_deg=results.read(f"{list_name}/aim", tile).ravel(),
    )


def expected_shares(tier_chance_percent: NDArray) -> NDArray[np.float64]:
    """Return how a cell's homes fall on tiers 1 to 8, shape (8, N), each column summing to 1.

    The share of a tier is the rise of the running maximum of the chance (0 to 100, shape (7, N)) from
    the tier below; the rest falls on tier 8. Source: common practice, no source.
    """
    # With several wanted directions a higher tier can bring less, on the flank of its narrower beam; whoever
    # can use a lower one stays with that.
    best = np.maximum.accumulate(np.asarray(tier_chance_percent), axis=0) / 100.0
    shares = np.empty((TIER_NOT_PROMISED, best.shape[1]))
    shares[0] = best[0]
    np.subtract(best[1:], best[:-1], out=shares[1:-1])
    np.subtract(1.0, best[-1], out=shares[-1])
    return shares


def add_at(sums: NDArray[np.float64], area: NDArray, column: NDArray | int, weight: NDArray) -> None:
    """Add weights to sums (P, columns) at area and column; one place may come up many times, where += counts
    it once.

    numpy adds at places of one row six times as fast as at pairs.
    """
    np.add.at(sums.reshape(-1), area.astype(np.int64) * sums.shape[1] + column, weight)


class Tally:
    """Sums for P areas and one wanted list of V services.

    by_tier : shape (P, 9), weight by tier; index 0 is unknown
    expected : shape (P, 8)
    without : shape (P,), expected weight that not even tier 7 brings dead_zone_services of the list
    by_service : shape (P, V); by_aim : shape (P, 360); by_confidence : shape (P, 101)
    """

    def __init__(self, areas: int, services: int) -> None:
        self.by_tier = np.zeros((areas, TIER_NOT_PROMISED + 1))
        self.expected = np.zeros((areas, TIER_NOT_PROMISED))
        self.without = np.zeros(areas)
        self.by_service = np.zeros((areas, services))
        self.by_aim = np.zeros((areas, 360))
        self.by_confidence = np.zeros((areas, 101))

    def add(
        self,
        area: NDArray,
        cell: NDArray,
        weight: NDArray,
        results: TileResults,
        without_roof: NDArray | None = None,
    ) -> None:
        """Add parts of cells: which area, which cell of the tile, and homes (or cell area) there.

        without_roof : the part of the weight that may use no roof; tiers above Window are not available
            to it and count as not promised
        """
        tier = results.tier[cell]
        known = tier != UNKNOWN_UINT8
        add_at(self.by_tier, area, np.where(known, tier, 0), weight)
        if without_roof is not None:
            self._move_without_roof(area[known], tier[known], without_roof[known])
            without_roof = without_roof[known]
        area, cell, weight, tier = area[known], cell[known], weight[known], tier[known]
        chance = results.tier_chance_percent[:, cell]
        for index, share in enumerate(expected_shares(chance)):
            add_at(self.expected, area, index, weight * share)
            if without_roof is not None and index >= LAST_INDOOR_REACH:
                add_at(self.expected, area, index, -without_roof * share)
                add_at(self.expected, area, TIER_COUNT, without_roof * share)
        np.add.at(self.without, area, weight * (1.0 - results.dead_zone_percent[cell] / 100.0))
        # of a square that is not promised the list: what tier 7 brings
        confidence = chance[np.minimum(tier, TIER_COUNT) - 1, np.arange(tier.size)]
        add_at(self.by_confidence, area, np.minimum(confidence, 100), weight)
        service = results.deciding[cell]
        decided = service < self.by_service.shape[1]
        add_at(self.by_service, area[decided], service[decided], weight[decided])
        aimed = results.aim_deg[cell] >= 0
        add_at(self.by_aim, area[aimed], results.aim_deg[cell][aimed] % 360, weight[aimed])

    def _move_without_roof(self, area: NDArray, tier: NDArray, without_roof: NDArray) -> None:
        """Count homes without a roof as not promised where their cell needs more than Window."""
        lost = tier > LAST_INDOOR_REACH
        add_at(self.by_tier, area[lost], tier[lost], -without_roof[lost])
        add_at(self.by_tier, area[lost], TIER_NOT_PROMISED, without_roof[lost])

    @property
    def total(self) -> NDArray[np.float64]:
        """Return the weight of each area, unknown included."""
        return self.by_tier.sum(axis=1)

    @property
    def known(self) -> NDArray[np.float64]:
        """Return the weight of each area in cells with a tier."""
        return self.by_tier[:, 1:].sum(axis=1)

    @property
    def rooftop_or_more(self) -> NDArray[np.float64]:
        """Return the weight in cells of tiers 5 to 8."""
        return self.by_tier[:, FIRST_ROOFTOP_TIER:].sum(axis=1)

    def tier_reaching(self, share: float) -> list[int | None]:
        """Return for each area the lowest tier that serves `share` of the known weight; None without."""
        return [
            first_reaching(by_tier[1:], share, first=1) if known > 0 else None
            for by_tier, known in zip(self.by_tier, self.known, strict=True)
        ]

    def median_confidence(self) -> list[int | None]:
        """Return the weighted median of the stored tier's chance, in percent."""
        return [first_reaching(row, HALF, first=0) if row.sum() > 0 else None for row in self.by_confidence]

    def deciding(self) -> list[tuple[int, float] | tuple[None, None]]:
        """Return the service that decides for the most weight, and its share of the known in percent."""
        return [
            (int(row.argmax()), 100.0 * float(row.max() / known))
            if row.size and row.sum() > 0
            else (None, None)
            for row, known in zip(self.by_service, self.known, strict=True)
        ]

    def common_aim(self) -> list[int | None]:
        """Return the aim of most weight: the median within the fullest 10 degrees, the lower one of equals.

        A mean over all aims would point between two masts, at neither.
        """
        return [common_aim(row) if row.sum() > 0 else None for row in self.by_aim]


def first_reaching(weights: NDArray, share: float, first: int) -> int:
    """Return the first class at which the running sum reaches the share of all weights."""
    running = np.cumsum(weights)
    # a rounding error under the share is the share: half of ten homes is reached by five
    return first + int(np.argmax(running >= share * running[-1] * (1.0 - 1e-12)))


def common_aim(by_degree: NDArray) -> int:
    """Return the weighted median azimuth within the fullest 10 degrees, whole degrees.

    The fullest 10 degrees are those of one mast; single degrees would flip from mast to mast by a few homes.
    """
    # across north, so that 355 and 5 degrees are one direction
    wrapped = np.concatenate([by_degree, by_degree[: AIM_WIDTH_DEG - 1]])
    windows = np.lib.stride_tricks.sliding_window_view(wrapped, AIM_WIDTH_DEG)
    start = int(windows.sum(axis=1).argmax())
    return first_reaching(windows[start], HALF, first=start) % 360
