"""What one cell of a result says, in values a program can use."""

from __future__ import annotations

from typing import Any

import numpy as np

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import AIM_UNKNOWN


def cell_answer(coverage: Coverage, list_name: str, row: int, col: int) -> dict[str, Any]:
    """Return what a cell says for a list, as Coverage.at() tells it; None is unknown."""
    window = Tile(row, col, 1, 1)

    def whole(kind: str, unknown: int = UNKNOWN_UINT8) -> int | None:
        value = int(coverage.read(f"{list_name}/{kind}", window)[0, 0])
        return None if value == unknown else value

    def service(kind: str) -> str | None:
        index = whole(kind)
        return None if index is None else coverage.services(list_name)[index]

    tier = whole("tier")
    chances = [
        None if value == UNKNOWN_UINT8 else int(value)
        for value in coverage.read(f"{list_name}/tier_chance", window)[:, 0, 0]
    ]
    margin_db = float(coverage.read(f"{list_name}/stored_margin", window)[0, 0])
    return {
        "tier": tier,
        "chance_percent": None
        if tier is None
        else _chance_of_answer(coverage, list_name, window, tier, chances),
        "tier_chance_percent": chances,
        "dead_zone_chance_percent": whole("dead_zone_chance"),
        "margin_db": None if np.isnan(margin_db) else margin_db,
        "aim_deg_true": whole("aim", AIM_UNKNOWN),
        "limiting_service": service("limiting_service"),
        "deciding_service": service("deciding_service"),
        "row": row,
        "col": col,
    }


def _chance_of_answer(
    coverage: Coverage, list_name: str, window: Tile, tier: int | None, chances: list[int | None]
) -> int | None:
    if tier is None:
        return None
    name = f"{list_name}/two_antennas_chance"
    two = int(coverage.read(name, window)[0, 0]) if coverage.has(name) else UNKNOWN_UINT8
    # tier 8 has no chance of its own: what tier 7 brings is told
    return chances[min(tier, len(chances)) - 1] if two == UNKNOWN_UINT8 else two
