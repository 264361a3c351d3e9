"""The picture of a comparison of installations: where only one of two holds the list, over the relief."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.planning.installation_comparison import (
    BOTH,
    DIFFERENCES,
    ONLY_FIRST,
    ONLY_OTHER,
    InstallationComparison,
)
from covermap.reports.brief.picture import Label, Picture, still_map
from covermap.terrain import relief_grey
from covermap.wording import palette

FILLS = {code: palette.INSTEAD_FILLS[DIFFERENCES[code]] for code in (ONLY_OTHER, ONLY_FIRST, BOTH)}
OPACITY = {ONLY_OTHER: 0.9, ONLY_FIRST: 0.9, BOTH: 0.45}
PAPER = (255, 255, 255)


def painted(code: int) -> str:
    """Return a fill as it looks over flat relief: '#E3B063'."""
    flat = np.full(3, float(palette.RELIEF_FLAT_GREY))
    mixed = np.array(palette.rgb(FILLS[code])) * OPACITY[code] + flat * (1.0 - OPACITY[code])
    return "#" + "".join(f"{round(value):02X}" for value in mixed)


def difference_picture(
    found: InstallationComparison, code: NDArray[np.uint8], labels: Sequence[Label], distance_unit: str = "km"
) -> Picture:
    """Return the map of one difference; code : places in DIFFERENCES, shape (rows, cols) of the grid."""
    relief = relief_grey(found.ground_m, found.grid.cell_m)

    def paint(rows: slice, cols: slice, px: int) -> tuple[NDArray[np.uint8], list[tuple[int, float, float]]]:
        grey = np.repeat(relief[rows, cols, None].astype(float), 3, axis=2)
        for kind, fill in FILLS.items():
            chosen = code[rows, cols] == kind
            share = OPACITY[kind]
            grey[chosen] = np.array(palette.rgb(fill)) * share + grey[chosen] * (1.0 - share)
        grey[~found.inside[rows, cols]] = PAPER
        return grey.round().astype(np.uint8).repeat(px, axis=0).repeat(px, axis=1), []

    return still_map(found.grid, found.inside, paint, labels, distance_unit)
