"""Marching the radials of a mast: sampled, swept, and the answers given to the cells they belong to."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from covermap.constants import CLEAR_OF_CLUTTER_KM
from covermap.grid.cell_paths import CellPaths
from covermap.grid.path_terrain import PathTerrain
from covermap.grid.radials import STEPS_PER_KNOT, Radials
from covermap.propagation.itm.along_radials import ItmSweep
from covermap.propagation.sweep.radial_sweep import RadialSweep
from covermap.propagation.sweep.records import CellLosses, RadialItems, RadialProfiles

BATCH_POINTS = 50_000  # of the radials sampled and swept in one call: 1 MB, inside a core's cache
MOST_BATCH_RADIALS = 256


def march(
    radials: Radials,
    cells: CellPaths,
    terrain: PathTerrain,
    make_sweep: Callable[[int, int], RadialSweep | ItmSweep],
    *,
    tx_height_m: float,
    dn: float,
    n0: float,
    losses: CellLosses,
) -> None:
    """Follow each radial that has cells once, as far as its last cell, and fill the cells' losses.

    make_sweep : called with (steps, items), returns the sweep that does the physics
    tx_height_m : antenna above ground; dn, n0 : N-units/km and N-units
    """
    count = np.diff(cells.first)
    used = np.flatnonzero(count)
    mast_ground_m = float(terrain.ground_m(radials.longitude_deg, radials.latitude_deg))
    if used.size == 0 or math.isnan(mast_ground_m):
        return
    last_step = cells.step[cells.order[cells.first[used + 1] - 1]]
    sweep = make_sweep(int(last_step.max()), int(count.max()))
    begin = 0
    while begin < used.size:
        # Neighbouring radials go in one call: their profiles share cells of the terrain, and Python's part
        # costs once.
        end = _batch_end(last_step, begin)
        numbers, steps = used[begin:end], last_step[begin:end]
        profiles = sample_radials(radials, numbers, int(steps.max()), terrain, mast_ground_m)
        items = _items(cells, radials.step_km, numbers, steps)
        sweep.run_radials(profiles, radials.step_km, tx_height_m, items, dn, n0, losses)
        begin = end


def _batch_end(last_step: NDArray[np.int32], begin: int) -> int:
    """Return where a batch of radials that begins there ends: as many as stay within BATCH_POINTS."""
    most = min(MOST_BATCH_RADIALS, last_step.size - begin)
    # A batch is a rectangle as wide as its longest radial, so that is what counts against the limit.
    longest = np.maximum.accumulate(last_step[begin : begin + most].astype(np.int64) + 1)
    fits = longest * np.arange(1, most + 1) <= BATCH_POINTS
    return begin + max(1, int(np.count_nonzero(fits)))


def _items(
    cells: CellPaths, step_km: float, numbers: NDArray[np.int64], last_step: NDArray[np.int32]
) -> RadialItems:
    """Return the cells on neighbouring radials; those between them have none."""
    edges = cells.first[np.append(numbers, numbers[-1] + 1)]
    cell = cells.order[edges[0] : edges[-1]]
    step = cells.step[cell]
    # Free space over the cell's own distance less over its step's, see give_to_cells.
    excess_db = 20.0 * np.log10(cells.distance_km[cell] / (step * step_km))
    return RadialItems(last_step, edges - edges[0], step, cells.ground_m[cell], excess_db, cell)


def sample_radials(
    radials: Radials, numbers: NDArray[np.int64], steps: int, terrain: PathTerrain, mast_ground_m: float
) -> RadialProfiles:
    """Return the profiles along radials as far as a number of steps."""
    shape = (numbers.size, steps + 1)
    ground_m = np.empty(shape)
    clutter_m = np.empty(shape, dtype=np.float32)
    zone = np.empty(shape, dtype=np.uint8)
    longitude_deg, latitude_deg = radials.knots(numbers, steps)
    terrain.sample_profiles(longitude_deg, latitude_deg, STEPS_PER_KNOT, ground_m, clutter_m, zone)
    # The mast stands on the ground, known even where the canopy above it, and so the profile's first point,
    # is not.
    ground_m[:, 0] = mast_ground_m
    # -1e-9: with steps of 50 m the point at 50 m stands clear of the mast, and its clutter counts.
    clutter_m[:, : math.ceil(CLEAR_OF_CLUTTER_KM / radials.step_km - 1e-9)] = 0.0
    return RadialProfiles(ground_m, clutter_m, zone, radials.mid_latitude_deg(numbers, steps))
