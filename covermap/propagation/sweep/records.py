"""What the sweep is given, works in and fills: radials, what is asked, work arrays, answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.sweep.taut_string import UNKNOWN_CLASS


class CellLosses(NamedTuple):
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


class RadialItems(NamedTuple):
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


class Radial(NamedTuple):
    """One radial as the kernels take it; arrays of a value a point, index 0 is the mast (RadialSweep.run)."""

    ground_m: NDArray[np.float64]
    clutter_m: NDArray[np.float32]
    zone: NDArray[np.uint8]
    mid_latitude_deg: NDArray[np.float64]
    step_km: float
    tx_height_m: float
    dn: float
    n0: float


class Asked(NamedTuple):
    """What is asked at every item: (H,) heights, (F,) frequencies and polarizations, (P,) percentages."""

    heights_m: NDArray[np.float64]
    frequencies_ghz: NDArray[np.float64]
    longest_wavelength_m: float
    vertical: NDArray[np.bool_]
    time_percents: NDArray[np.float64]


class Work(NamedTuple):
    """Work arrays of one sweep; rows as covermap.propagation.sweep.rows names them.

    radii_km : (1 or 2,) Earth radii; each radial writes the median one into the first, the second is beta0's
    gathered : (radii,) how many items the spherical earth counts for
    surface_m, chain_slope, left_neighbour : (points,); hulls : (2, HULL_ROWS, points)
    string : (STRING_ROWS, points). earth_item : (radii, items)
    """

    radii_km: NDArray[np.float64]
    gathered: NDArray[np.int64]
    surface_m: NDArray[np.float64]
    hulls: NDArray[np.float64]
    chain_slope: NDArray[np.float64]
    left_neighbour: NDArray[np.int32]
    string: NDArray[np.float64]
    items: NDArray[np.float64]
    rays: NDArray[np.float64]
    terms: NDArray[np.float64]
    smooth: NDArray[np.float64]
    earth: NDArray[np.float64]
    by_time: NDArray[np.float64]
    earth_item: NDArray[np.int32]


class Answers(NamedTuple):
    """What one radial's items get: (F, P, H, items) losses, (H, items) angles, (items,) classes."""

    loss_db: NDArray[np.float64]
    departure_mrad: NDArray[np.float64]
    path_class: NDArray[np.uint8]
