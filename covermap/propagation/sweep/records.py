"""What the sweep is given and fills: profiles along radials, the ends of paths on them, their losses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.sweep.taut_string import UNKNOWN_CLASS


@dataclass(frozen=True, eq=False)
class CellLosses:
    """The answers for N cells, F frequencies and H heights, filled bit by bit; unknown until then.

    loss_db, spread_db : float32 (F, H, N); departure_deg : float32 (N,); path_class : uint8 (N,), 255 unknown
    """

    loss_db: NDArray[np.float32]
    spread_db: NDArray[np.float32]
    departure_deg: NDArray[np.float32]
    path_class: NDArray[np.uint8]

    @classmethod
    def unknown(cls, frequencies: int, heights: int, cells: int) -> CellLosses:
        """Return losses of which nothing is known yet."""
        shape = (frequencies, heights, cells)
        return cls(
            np.full(shape, np.nan, dtype=np.float32),
            np.full(shape, np.nan, dtype=np.float32),
            np.full(cells, np.nan, dtype=np.float32),
            np.full(cells, UNKNOWN_CLASS, dtype=np.uint8),
        )


@dataclass(frozen=True, eq=False)
class RadialItems:
    """The ends of paths on R radials, I in all.

    last_step : int32 (R,), of each radial; first : int64 (R + 1,), where its items begin
    step, ground_m, excess_db, cell : (I,), see RadialSweep.run and give_to_cells
    """

    last_step: NDArray[np.int32]
    first: NDArray[np.int64]
    step: NDArray[np.int32]
    ground_m: NDArray[np.float64]
    excess_db: NDArray[np.float64]
    cell: NDArray[np.int64]


@dataclass(eq=False)
class RadialProfiles:
    """Profiles along some radials, arrays of shape (R, steps + 1); index 0 is the mast."""

    ground_m: NDArray[np.float64]
    clutter_m: NDArray[np.float32]
    zone: NDArray[np.uint8]
    mid_latitude_deg: NDArray[np.float64]
