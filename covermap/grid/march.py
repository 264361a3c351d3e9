"""Marching the radials of a mast: sampled, swept, and the answers given to the cells they belong to."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covermap.grid.cell_paths import CellPaths
from covermap.grid.path_terrain import PathTerrain
from covermap.grid.radials import STEPS_PER_KNOT, Radials
from covermap.propagation.compiling import kernel

if TYPE_CHECKING:
    from covermap.grid.sweep import RadialSweep

BATCH_RADIALS = 16  # sampled together: 1.3 MB at 5000 steps, inside a core's cache
CLEAR_OF_CLUTTER_KM = 0.05  # clutter starts 50 m from both ends (our own rule; the far end is the sweep's)


@dataclass(frozen=True, eq=False)
class CellLosses:
    """The answers for N cells, F frequencies and H heights, filled bit by bit; NaN until then.

    loss_db, spread_db : float32 (F, H, N); departure_deg : float32 (N,)
    """

    loss_db: NDArray[np.float32]
    spread_db: NDArray[np.float32]
    departure_deg: NDArray[np.float32]

    @classmethod
    def unknown(cls, frequencies: int, heights: int, cells: int) -> CellLosses:
        """Return losses of which nothing is known yet."""
        shape = (frequencies, heights, cells)
        return cls(
            np.full(shape, np.nan, dtype=np.float32),
            np.full(shape, np.nan, dtype=np.float32),
            np.full(cells, np.nan, dtype=np.float32),
        )


@dataclass(eq=False)
class RadialBatch:
    """Profiles along some radials, arrays of shape (R, steps + 1); index 0 is the mast."""

    ground_m: NDArray[np.float64]
    clutter_m: NDArray[np.float32]
    zone: NDArray[np.uint8]
    mid_latitude_deg: NDArray[np.float64]


def march(
    radials: Radials,
    cells: CellPaths,
    terrain: PathTerrain,
    make_sweep: Callable[[int, int], RadialSweep],
    *,
    tx_height_m: float,
    dn: float,
    n0: float,
    losses: CellLosses,
) -> None:
    """Follow each radial that has cells once, as far as its last cell, and fill the cells' losses.

    make_sweep : called with (steps, items), returns the RadialSweep that does the physics
    tx_height_m : antenna above ground; dn, n0 : N-units/km and N-units
    """
    items = np.diff(cells.first)
    used = np.flatnonzero(items)
    if used.size == 0:
        return
    last_step = cells.step[cells.order[cells.first[used + 1] - 1]]
    sweep = make_sweep(int(last_step.max()), int(items.max()))
    mast_ground_m = float(terrain.ground_m(radials.longitude_deg, radials.latitude_deg))
    item_cell = cells.order
    item_step = cells.step[item_cell]
    item_ground_m = cells.ground_m[item_cell]
    excess_db = 20.0 * np.log10(cells.distance_km[item_cell] / (item_step * radials.step_km))
    for begin in range(0, used.size, BATCH_RADIALS):
        numbers = used[begin : begin + BATCH_RADIALS]
        steps = last_step[begin : begin + BATCH_RADIALS]
        batch = sample_radials(radials, numbers, int(steps.max()), terrain, mast_ground_m)
        for row, (radial, last) in enumerate(zip(numbers, steps, strict=True)):
            mine = slice(cells.first[radial], cells.first[radial + 1])
            sweep.run(
                batch.ground_m[row, : last + 1],
                batch.clutter_m[row, : last + 1],
                batch.zone[row, : last + 1],
                radials.step_km,
                batch.mid_latitude_deg[row, : last + 1],
                tx_height_m,
                item_step[mine],
                item_ground_m[mine],
                dn,
                n0,
            )
            give_to_cells(
                sweep.loss_db,
                sweep.departure_mrad,
                excess_db[mine],
                item_cell[mine],
                losses.loss_db,
                losses.spread_db,
                losses.departure_deg,
            )


def sample_radials(
    radials: Radials, numbers: NDArray[np.int64], steps: int, terrain: PathTerrain, mast_ground_m: float
) -> RadialBatch:
    """Return the profiles along radials as far as a number of steps."""
    shape = (numbers.size, steps + 1)
    ground_m = np.empty(shape)
    clutter_m = np.empty(shape, dtype=np.float32)
    zone = np.empty(shape, dtype=np.uint8)
    longitude_deg, latitude_deg = radials.knots(numbers, steps)
    terrain.sample_profiles(longitude_deg, latitude_deg, STEPS_PER_KNOT, ground_m, clutter_m, zone)
    ground_m[:, 0] = mast_ground_m
    clutter_m[:, : math.ceil(CLEAR_OF_CLUTTER_KM / radials.step_km - 1e-9)] = 0.0
    return RadialBatch(ground_m, clutter_m, zone, radials.mid_latitude_deg(numbers, steps))


@kernel
def give_to_cells(loss_db, departure_mrad, excess_db, cells, loss_out, spread_out, departure_out):
    """Write a radial's answers into the cells they belong to.

    loss_db : shape (F, P, H, items or more), P is 50 % of time and the other percentage
    departure_mrad : shape (H, items or more)
    excess_db : shape (items,), free space over the cell's own distance less over its step's: it takes
        the steps out of the map; terrain keeps the step's (under 0.9 dB, and 0.02 dB from 10 km on)
    cells : shape (items,), indices into the last axis of the outputs (F, H, N) and (N,)
    """
    frequencies, heights, _ = loss_out.shape
    for frequency in range(frequencies):
        for height in range(heights):
            for item in range(cells.size):
                median_db = loss_db[frequency, 0, height, item]
                spread_db = median_db - loss_db[frequency, 1, height, item]
                cell = cells[item]
                loss_out[frequency, height, cell] = median_db + excess_db[item]
                spread_out[frequency, height, cell] = 0.0 if spread_db < 0.0 else spread_db
    for item in range(cells.size):
        known = not math.isnan(loss_db[0, 0, 0, item])
        departure_out[cells[item]] = math.degrees(0.001 * departure_mrad[0, item]) if known else math.nan
