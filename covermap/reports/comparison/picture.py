"""The picture of a comparison: where the antenna became harder or easier, over the relief."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.grid.frame import Tile
from covermap.planning.changes import EASIER, HARDER, NOW_KNOWN, NOW_UNKNOWN, Comparison
from covermap.reports.brief.picture import Label, Picture, still_map
from covermap.terrain import relief_grey
from covermap.wording import palette

HARDER_FILL, EASIER_FILL, OTHER_FILL = "#1F4F56", "#E3A44B", "#8C7FA0"
FILLS = {"harder": HARDER_FILL, "easier": EASIER_FILL, "known": OTHER_FILL}
OPACITY = 0.85
PAPER = (255, 255, 255)


def change_picture(
    comparison: Comparison, change: NDArray[np.uint8], labels: Sequence[Label], distance_unit: str = "km"
) -> Picture:
    """Return the map: harder dark, easier light, unknown only now or before violet-grey, all else relief.

    change : codes into CHANGES, shape (rows, cols) of the comparison's grid
    """
    grid, later = comparison.grid, comparison.later
    row = round((later.grid.y_max - grid.y_max) / grid.cell_m)
    col = round((grid.x_min - later.grid.x_min) / grid.cell_m)
    ground_m = later.read("ground", Tile(row, col, grid.rows, grid.cols))
    relief = relief_grey(ground_m, grid.cell_m)

    def paint(rows: slice, cols: slice, px: int) -> tuple[NDArray[np.uint8], list[tuple[int, float, float]]]:
        grey = np.repeat(relief[rows, cols, None].astype(float), 3, axis=2)
        for codes, fill in (
            ((HARDER,), HARDER_FILL),
            ((EASIER,), EASIER_FILL),
            ((NOW_KNOWN, NOW_UNKNOWN), OTHER_FILL),
        ):
            chosen = np.isin(change[rows, cols], codes)
            grey[chosen] = np.array(palette.rgb(fill)) * OPACITY + grey[chosen] * (1.0 - OPACITY)
        grey[~comparison.inside[rows, cols]] = PAPER
        return grey.round().astype(np.uint8).repeat(px, axis=0).repeat(px, axis=1), []

    return still_map(grid, comparison.inside, paint, labels, distance_unit)


def key_fills() -> dict[str, str]:
    """Return each fill as it looks over flat ground: harder, easier, known."""
    flat = palette.RELIEF_FLAT_GREY * (1.0 - OPACITY)
    return {
        name: "#{:02X}{:02X}{:02X}".format(*(round(part * OPACITY + flat) for part in palette.rgb(fill)))
        for name, fill in FILLS.items()
    }
