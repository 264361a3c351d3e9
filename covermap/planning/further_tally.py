"""Adds up what some results hold beside tiers: 3 dB weaker and stronger, second antenna, amplifier, cause."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.carriers import needs_high_vhf
from covermap.planning.results import Results
from covermap.planning.tally import (
    FIRST_ROOFTOP_TIER,
    HALF,
    LAST_INDOOR_REACH,
    add_at,
    common_aim,
    first_reaching,
)
from covermap.reception.signals import AMPLIFIER_HARMS, AMPLIFIER_HELPS, AMPLIFIER_HELPS_WITH_FILTER

SHIFTS = ("3db_weaker", "3db_stronger")
AMPLIFIER_SHARES = {
    "helps": (AMPLIFIER_HELPS, AMPLIFIER_HELPS_WITH_FILTER),
    "harms": (AMPLIFIER_HARMS,),
}
OPTIONAL = ("second_aim", "main_cause", "amplifier", "tier_without_deciding")


class FurtherResults:
    """The optional rasters of one list and tile, flattened to N cells; None where the result lacks one.

    shifted_tier, shifted_dead_percent : by name of the shift
    optional : by raster name, see OPTIONAL
    high_vhf : bool (N,)
    """

    def __init__(self, results: Results, list_name: str, tile: Tile) -> None:
        def read(kind: str) -> NDArray | None:
            name = f"{list_name}/{kind}"
            return results.read(name, tile).ravel() if results.has(name) else None

        self.shifted_tier = {shift: read(f"tier_{shift}") for shift in SHIFTS}
        self.shifted_dead_percent = {shift: read(f"dead_zone_chance_{shift}") for shift in SHIFTS}
        self.optional = {kind: read(kind) for kind in OPTIONAL}
        self.high_vhf = needs_high_vhf(results, list_name, tile)


class FurtherTally:
    """Sums for P areas and one list; a table column of what the result does not hold stays missing."""

    def __init__(self, areas: int, causes: tuple[str, ...]) -> None:
        self.areas = areas
        self.causes = causes
        self._sums: dict[str, NDArray[np.float64]] = {}

    def add(
        self,
        area: NDArray,
        cell: NDArray,
        weight: NDArray,
        without_roof: NDArray | None,
        further: FurtherResults,
    ) -> None:
        """Add parts of cells; arguments as those of Tally.add."""
        for shift in SHIFTS:
            tier = further.shifted_tier[shift]
            if tier is not None:
                self._add_shifted_tier(shift, area, tier[cell], weight, without_roof)
            chance = further.shifted_dead_percent[shift]
            if chance is not None:
                known = chance[cell] != UNKNOWN_UINT8
                lost = weight * (1.0 - chance[cell] / 100.0)
                self._count(f"without_{shift}", area[known], lost[known])
        self._add_optional(area, cell, weight, further)

    def _add_shifted_tier(
        self, shift: str, area: NDArray, tier: NDArray, weight: NDArray, without_roof: NDArray | None
    ) -> None:
        roofed = weight if without_roof is None else weight - without_roof
        high = (tier >= FIRST_ROOFTOP_TIER) & (tier <= TIER_NOT_PROMISED)
        self._count(f"rooftop_or_more_{shift}", area[high], roofed[high])
        known = tier <= TIER_NOT_PROMISED
        by_tier = self._table(f"tier_{shift}", TIER_NOT_PROMISED + 1)
        add_at(by_tier, area[known], tier[known], roofed[known])
        if without_roof is not None:
            lost = known & (tier > LAST_INDOOR_REACH)
            self._count(f"rooftop_or_more_{shift}", area[lost], without_roof[lost])
            # Homes without a roof can use nothing above a window antenna: the next class up is none for them.
            as_tier = np.where(tier > LAST_INDOOR_REACH, TIER_NOT_PROMISED, tier)
            add_at(by_tier, area[known], as_tier[known], without_roof[known])

    def _add_optional(self, area: NDArray, cell: NDArray, weight: NDArray, further: FurtherResults) -> None:
        second, cause = further.optional["second_aim"], further.optional["main_cause"]
        amplifier, lower = further.optional["amplifier"], further.optional["tier_without_deciding"]
        if second is not None:
            two = second[cell] >= 0
            self._count("two_antennas", area[two], weight[two])
            # % 360: a stored 360 is north too
            add_at(self._table("second_aim", 360), area[two], second[cell][two] % 360, weight[two])
        if amplifier is not None:
            for name, codes in AMPLIFIER_SHARES.items():
                chosen = np.isin(amplifier[cell], codes)
                self._count(f"amplifier_{name}", area[chosen], weight[chosen])
        if cause is not None:
            named = cause[cell] < len(self.causes)
            table = self._table("cause", len(self.causes))
            add_at(table, area[named], cause[cell][named], weight[named])
        if lower is not None:
            known = (lower[cell] >= 1) & (lower[cell] <= TIER_NOT_PROMISED)
            table = self._table("without_deciding", TIER_NOT_PROMISED + 1)
            add_at(table, area[known], lower[cell][known], weight[known])
        if further.high_vhf is not None:
            chosen = further.high_vhf[cell]
            self._count("high_vhf", area[chosen], weight[chosen])

    def _count(self, name: str, area: NDArray, weight: NDArray) -> None:
        add_at(self._table(name, 1), area, 0, weight)

    def _table(self, name: str, width: int) -> NDArray[np.float64]:
        # Made when first counted: a subject that the result lacks stays without a table, and its column
        # missing.
        if name not in self._sums:
            self._sums[name] = np.zeros((self.areas, width))
        return self._sums[name]

    def table(self, name: str) -> NDArray[np.float64] | None:
        """Return the sums of one subject, shape (P, width); None where the result does not hold it."""
        return self._sums.get(name)

    def columns(self, prefix: str, scale: NDArray, known: NDArray) -> pd.DataFrame:
        """Return the columns: counts times scale, shares of the known weight in percent.

        prefix : of counted columns; scale, known : shape (P,)
        """
        with np.errstate(invalid="ignore", divide="ignore"):
            # An area without known homes has no shares; 0 % would be an answer.
            percent = np.where(known > 0, 100.0 / known, np.nan)
        found: dict[str, Any] = {}
        for name in ("rooftop_or_more", "without"):
            for shift in SHIFTS:
                found[f"{prefix}{name}_{shift}"] = self._real(f"{name}_{shift}", scale)
        for name in ("two_antennas", "high_vhf", "amplifier_helps", "amplifier_harms"):
            found[f"{name}_percent"] = self._real(name, percent)
        found["second_aim_deg_true"] = self._by_row("second_aim", common_aim, "Int64")
        found["main_cause"] = self._by_row("cause", lambda row: self.causes[int(row.argmax())], "string")
        found["tier_half_without_deciding"] = self._by_row(
            "without_deciding", lambda row: first_reaching(row, HALF, first=0), "Int64"
        )
        return pd.DataFrame(found)

    def _real(self, name: str, scale: NDArray) -> NDArray[np.float64]:
        table = self._sums.get(name)
        return np.full(self.areas, np.nan) if table is None else np.round(table[:, 0] * scale, 3)

    def _by_row(self, name: str, of_row: Any, dtype: Any) -> pd.api.extensions.ExtensionArray:
        table = self._sums.get(name)
        if table is None:
            return pd.array([None] * self.areas, dtype=dtype)
        # argmax of nothing would be the first cause, or north.
        return pd.array([of_row(row) if row.sum() > 0 else None for row in table], dtype=dtype)
