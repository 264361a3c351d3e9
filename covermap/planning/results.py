"""What planning asks of a finished prediction."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Grid, Tile


class Results(Protocol):
    """A finished prediction, read tile by tile; covermap.open_coverage gives one.

    run : the record run.json as it was read; keys that an older version did not write are missing
    """

    grid: Grid
    run: dict[str, Any]

    @property
    def lists(self) -> tuple[str, ...]:
        """Return the names of the wanted lists."""
        ...

    def services(self, list_name: str) -> tuple[str, ...]:
        """Return the services of a list."""
        ...

    def has(self, name: str) -> bool:
        """Return whether there is a raster of this name."""
        ...

    def read(self, name: str, window: Tile | None = None) -> np.ndarray:
        """Return the cells of a tile of a raster."""
        ...

    def tag_values(self, name: str, tag: str) -> tuple[str, ...]:
        """Return the parts of a raster's tag that lists names, none where it has no such tag."""
        ...

    def inside_area(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile lie in the asked area, shape (rows, cols)."""
        ...


def read_chances(results: Results, list_name: str, tile: Tile | None = None) -> np.ndarray:
    """Return the chance of a list with each tier in percent, shape (7, rows, cols), as the answer has it.

    One antenna, but for the tier of an answer with two: there theirs.
    """
    chance = results.read(f"{list_name}/tier_chance", tile)
    if results.has(f"{list_name}/two_antennas_chance"):
        two = results.read(f"{list_name}/two_antennas_chance", tile)
        row, col = np.nonzero(two != UNKNOWN_UINT8)
        tier = results.read(f"{list_name}/tier", tile)[row, col].astype(np.int64)
        chance[tier - 1, row, col] = two[row, col]
    return chance


def read_cells(results: Results, name: str, row: NDArray[np.int64], col: NDArray[np.int64]) -> np.ndarray:
    """Return single cells of a raster, shape (N,) or (bands, N); memory does not grow with the grid.

    row, col : of the cells, each (N,)
    """
    # one cell read for the shape and type of the answer
    found = results.read(name, Tile(0, 0, 1, 1))[..., 0, np.zeros(row.size, dtype=np.int64)]
    for band in results.grid.bands():
        here = np.flatnonzero((row >= band.row) & (row < band.row + band.rows))
        if here.size:
            found[..., here] = results.read(name, band)[..., row[here] - band.row, col[here]]
    return found


def some_are_enough(results: Results, list_name: str) -> bool:
    """Return whether fewer services than a list holds are enough; then no single one decides."""
    needed = results.run["wanted"][list_name].get("at_least")
    return needed is not None and needed < len(results.services(list_name))
