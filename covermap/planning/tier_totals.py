"""Exact land and homes by tier, from the cells: what patches and neighbourhoods can only be summed to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from covermap.constants import TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.planning.local_doubts import COVER_DOUBT, IN_LEAF, MOVES_BY
from covermap.planning.results import Results

DECIMALS = 3
OF_HOMES = ("homes", "homes_in_leaf", "homes_cover_doubt")


def tier_totals(results: Results, tier_names: Sequence[str]) -> pd.DataFrame:
    """Return area and homes of every tier of every list: nine rows a list, the last what is unknown.

    results : also with inside_area(tile)
    tier_names : of tiers 1 to 8

    Returns
    -------
    DataFrame: wanted_list, tier (1 to 8, missing where unknown), tier_name, area_km2 (cells of the asked
    area), homes (all of the map, missing where homes are not known), homes_in_leaf (homes by the tier they
    need with the last wood before the antenna in leaf), homes_cover_doubt (homes of the tier that one class
    of land cover more or less would move by two or more). Areas of a list add up to the asked area, homes and
    homes_in_leaf to all homes on the map.
    """
    rows = []
    cell_km2 = results.grid.cell_m**2 / 1e6
    of_homes = results.has("homes")
    numbers = [*range(1, TIER_NOT_PROMISED + 1), UNKNOWN_UINT8]
    for list_name in results.lists:
        # one place for each byte: 255, unknown, is counted like a tier
        cells, homes, in_leaf, doubt = np.zeros(256, dtype=np.int64), *np.zeros((3, 256))
        leaves, cover = (results.has(f"{list_name}/{kind}") and of_homes for kind in (IN_LEAF, COVER_DOUBT))
        for tile in results.grid.tiles():
            tier = results.read(f"{list_name}/tier", tile).ravel()
            cells += np.bincount(tier[results.inside_area(tile).ravel()], minlength=256)
            if of_homes:
                in_cell = np.nan_to_num(results.read("homes", tile).ravel().astype(np.float64))
                homes += np.bincount(tier, in_cell, minlength=256)
            if leaves:
                of_leaf = results.read(f"{list_name}/{IN_LEAF}", tile).ravel()
                in_leaf += np.bincount(of_leaf, in_cell, minlength=256)
            if cover:
                moved = results.read(f"{list_name}/{COVER_DOUBT}", tile).ravel()
                there = (moved >= MOVES_BY) & (moved != UNKNOWN_UINT8)
                doubt += np.bincount(tier[there], in_cell[there], minlength=256)
        rows += [
            (
                list_name,
                None if number == UNKNOWN_UINT8 else number,
                "unknown" if number == UNKNOWN_UINT8 else tier_names[number - 1],
                float(cells[number]) * cell_km2,
                round(float(homes[number]), DECIMALS) if of_homes else None,
                round(float(in_leaf[number]), DECIMALS) if leaves else None,
                round(float(doubt[number]), DECIMALS) if cover else None,
            )
            for number in numbers
        ]
    table = pd.DataFrame(rows, columns=["wanted_list", "tier", "tier_name", "area_km2", *OF_HOMES])
    return table.astype({"tier": "Int64", "area_km2": "float64", **dict.fromkeys(OF_HOMES, "Float64")})
