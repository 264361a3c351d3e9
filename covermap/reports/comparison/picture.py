"""The picture of a comparison: where the antenna became harder or easier, over the relief."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from covermap.grid.frame import BAND_CELLS, Grid, Tile
from covermap.planning.changes import EASIER, HARDER, NOW_KNOWN, NOW_UNKNOWN, Comparison
from covermap.reports.brief.picture import Label, Picture, still_map
from covermap.result.coarsened import MOST_DRAWN_CELLS
from covermap.terrain import relief_grey
from covermap.wording import palette

HARDER_FILL, EASIER_FILL, OTHER_FILL = "#1F4F56", "#E3A44B", "#8C7FA0"
FILLS = {"harder": HARDER_FILL, "easier": EASIER_FILL, "known": OTHER_FILL}
OPACITY = 0.85
PAPER = (255, 255, 255)


def change_picture(
    comparison: Comparison, list_name: str, labels: Sequence[Label], distance_unit: str = "km"
) -> Picture:
    """Return the map: harder dark, easier light, unknown only now or before violet-grey, all else relief.

    Of more cells than a page draws one of several is shown.
    """
    step = math.ceil(math.sqrt(comparison.grid.cells / MOST_DRAWN_CELLS))
    grid, change, inside, ground_m = _drawn(comparison, list_name, step)
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
        grey[~inside[rows, cols]] = PAPER
        return grey.round().astype(np.uint8).repeat(px, axis=0).repeat(px, axis=1), []

    return still_map(grid, inside, paint, labels, distance_unit)


def _drawn(
    comparison: Comparison, list_name: str, step: int
) -> tuple[Grid, NDArray[np.uint8], NDArray[np.bool_], np.ndarray]:
    """Return the grid, the change, which cells lie inside and the ground of one cell in step x step."""
    shared, of_list = comparison.shared, comparison.lists[list_name]
    fine = comparison.grid
    rows, cols = fine.rows // step, fine.cols // step
    grid = replace(fine, cell_m=fine.cell_m * step, rows=rows, cols=cols)
    change = np.empty((rows, cols), dtype=np.uint8)
    inside = np.empty((rows, cols), dtype=bool)
    ground_m = np.empty((rows, cols), dtype=np.float32)
    at_once = max(1, BAND_CELLS // (fine.cols * step))
    for row in range(0, rows, at_once):
        count = min(at_once, rows - row)
        tile = Tile(row * step, 0, count * step, cols * step)
        picked = np.s_[step // 2 :: step, step // 2 :: step]
        part = slice(row, row + count)
        change[part], inside[part] = of_list.of(tile)[picked], shared.inside(tile)[picked]
        ground_m[part] = shared.ground_m(tile)[picked]
    return grid, change, inside, ground_m


def key_fills() -> dict[str, str]:
    """Return each fill as it looks over flat ground: harder, easier, known."""
    flat = palette.RELIEF_FLAT_GREY * (1.0 - OPACITY)
    return {
        name: "#{:02X}{:02X}{:02X}".format(*(round(part * OPACITY + flat) for part in palette.rgb(fill)))
        for name, fill in FILLS.items()
    }
