"""The sweep of ITU-R P.1812-8 along a radial: every item, height, frequency and time percentage at once."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.propagation.p1812 import P1812_WAVELENGTH_M_GHZ
from covermap.propagation.path_geometry import BETA0_RADIUS_KM
from covermap.propagation.sweep.batch import sweep_radials
from covermap.propagation.sweep.hulls import HULL_ROWS
from covermap.propagation.sweep.radial import sweep_radial
from covermap.propagation.sweep.records import (
    Answers,
    Asked,
    CellLosses,
    Radial,
    RadialItems,
    RadialProfiles,
    Work,
)
from covermap.propagation.sweep.rows import (
    BLOCK,
    BY_TIME_ROWS,
    EARTH_ROWS,
    ITEM_ROWS,
    RAY_ROWS,
    SMOOTH_ROWS,
    TERM_ROWS,
)
from covermap.propagation.sweep.taut_string import CLASS_WAVELENGTH_M, STRING_ROWS


class RadialSweep:
    """Path loss by ITU-R P.1812-8 to many places along one radial, with the work arrays for it.

    A place ("item") stands at a whole step of the radial and ends its own path at its own ground height.
    What all paths share (hulls, running sums, geometry without frequency) is computed once, so an answer
    costs the same on a long radial as on a short one.

    Parameters
    ----------
    steps : int
        Most steps of a radial, so ground_m has at most steps + 1 points.
    items : int
        Most items in one run.
    heights_m : sequence of float, H
        Receiving antennas above ground, above 0. [m]
    frequencies_mhz : sequence of float, F
        30 to 6000. [MHz]
    polarization_vertical : sequence of bool, F
        True: vertical, False: horizontal.
    time_percents : sequence of float, P
        1 to 50; with 50 alone the second Earth radius is left out, exactly. [%]

    Attributes
    ----------
    loss_db : ndarray of float64, shape (F, P, H, items of the last run)
        Basic transmission loss at half of the places; a view that the next run overwrites. [dB]
    departure_mrad : ndarray of float64, shape (H, items of the last run)
        Angle above the horizontal at which the path leaves the mast (theta_t): towards the mast's horizon,
        or towards the receiving antenna in line of sight. Overwritten as loss_db. [mrad]
    path_class : ndarray of uint8, shape (items of the last run,)
        What is in the way to the first of heights_m, at 600 MHz: index into
        covermap.propagation.ridges.PATH_CLASSES, 255 unknown. Overwritten as loss_db.

    Raises
    ------
    InputError
        If an argument is outside its range, or frequencies and polarizations differ in number.

    Notes
    -----
    Not for two threads at once: one instance a thread. `run` releases the GIL and allocates only views.

    References
    ----------
    ITU-R P.1812-8, Annex 1, sections 3 and 4.1 to 4.6. Equal to covermap.propagation.p1812.p1812_path within
    1e-10 dB.
    """

    def __init__(
        self,
        steps: int,
        items: int,
        heights_m: Sequence[float],
        frequencies_mhz: Sequence[float],
        polarization_vertical: Sequence[bool],
        time_percents: Sequence[float],
    ) -> None:
        self._steps = _at_least("steps", steps, 2)
        self._items = _at_least("items", items, 1)
        frequencies_ghz = _within("frequencies_mhz", frequencies_mhz, 30.0, 6000.0) / 1000.0
        wavelength_m = max(P1812_WAVELENGTH_M_GHZ / float(frequencies_ghz.min()), CLASS_WAVELENGTH_M)
        asked = Asked(
            _within("heights_m", heights_m, 1e-3, 3000.0),
            frequencies_ghz,
            wavelength_m,
            np.array(polarization_vertical, dtype=np.bool_),
            _within("time_percents", time_percents, 1.0, 50.0),
        )
        if asked.vertical.shape != frequencies_ghz.shape:
            raise InputError(
                f"polarization_vertical has {asked.vertical.size} values and frequencies_mhz "
                f"{frequencies_ghz.size}; give one for each frequency."
            )
        self._asked = asked
        # Where 50 % is all that is asked for, Fi is 0 and the second radius does not count.
        radii = 1 if asked.time_percents.min() >= 50.0 else 2
        heights, times = asked.heights_m.size, asked.time_percents.size
        points = _row_length(steps + 1)
        row = _row_length(items + BLOCK)
        self._answers = (frequencies_ghz.size, times, heights)
        of_items, rays, terms, smooth, earth, by_time = _rows(
            (ITEM_ROWS, row),
            (heights, RAY_ROWS, row),
            (TERM_ROWS, row),
            (SMOOTH_ROWS, row),
            (radii, EARTH_ROWS, row),
            (BY_TIME_ROWS, times, row),
        )
        self._work = Work(
            radii_km=np.full(radii, BETA0_RADIUS_KM),  # each run puts the median radius in the first
            gathered=np.zeros(radii, dtype=np.int64),
            surface_m=np.zeros(points),
            hulls=np.zeros((2, HULL_ROWS, points)),
            chain_slope=np.zeros(points),
            left_neighbour=np.zeros(points, dtype=np.int32),
            string=np.zeros((STRING_ROWS, points)),
            items=of_items,
            rays=rays,
            terms=terms,
            smooth=smooth,
            earth=earth,
            by_time=by_time,
            earth_item=np.zeros((radii, row), dtype=np.int32),
        )
        self._loss = np.zeros(math.prod(self._answers) * items)
        self._departure = np.zeros(heights * items)
        self._class = np.zeros(items, dtype=np.uint8)
        self._show(0)

    def _show(self, count: int) -> None:
        """Make loss_db, departure_mrad and path_class contiguous views for count items."""
        frequencies, times, heights = self._answers
        size = frequencies * times * heights * count
        self.loss_db: NDArray[np.float64] = self._loss[:size].reshape(frequencies, times, heights, count)
        self.departure_mrad: NDArray[np.float64] = self._departure[: heights * count].reshape(heights, count)
        self.path_class: NDArray[np.uint8] = self._class[:count]

    def run(
        self,
        ground_m: ArrayLike,
        clutter_m: ArrayLike,
        zone: ArrayLike,
        step_km: float,
        mid_latitude_deg: ArrayLike,
        tx_height_m: float,
        item_step: ArrayLike,
        item_ground_m: ArrayLike,
        dn: float,
        n0: float,
    ) -> None:
        """Fill loss_db, departure_mrad and path_class for the items of one radial.

        Parameters
        ----------
        ground_m : array_like, float64, shape (points,)
            Ground above sea level, a point each step from the mast (index 0); NaN is unknown, and makes
            NaN of every answer whose path meets it. [m]
        clutter_m : array_like, float32, shape (points,)
            Height of what stands on the ground; counts everywhere but at the mast and at each item's own
            end. NaN as in ground_m. float32, as terrain gives it, needs no copy. [m]
        zone : array_like, uint8, shape (points,)
            1 sea, 3 coastal land, 4 inland. The distances to the coast that ducting asks for are taken from
            it along the radial.
        step_km : float
            Distance between points. [km]
        mid_latitude_deg : array_like, float64, shape (points,)
            Latitude half way from the mast to each point. [deg]
        tx_height_m : float
            Transmitting antenna above ground. [m]
        item_step : array_like, int32, shape (items,)
            Step of each item, rising, from 2; items may share a step, and steps may be left out, so that one
            run can serve several tiles.
        item_ground_m : array_like, float64, shape (items,)
            Ground at the end of each item's own path, in place of ground_m there; NaN gives NaN. [m]
        dn : float
            Fall of the refractive index in the lowest km, below 157. [N-units/km]
        n0 : float
            Sea-level refractivity. [N-units]

        Arrays of another type are copied to the type named, at that price.

        Raises
        ------
        InputError
            If the arrays do not fit each other or the work arrays, or the steps of items are not in order.
        """
        ground = np.ascontiguousarray(ground_m, dtype=np.float64)
        steps_of_items = np.ascontiguousarray(item_step, dtype=np.int32)
        count = steps_of_items.size
        clutter = np.ascontiguousarray(clutter_m, dtype=np.float32)
        zones = np.ascontiguousarray(zone, dtype=np.uint8)
        latitude = np.ascontiguousarray(mid_latitude_deg, dtype=np.float64)
        ends = np.ascontiguousarray(item_ground_m, dtype=np.float64)
        if not ground.shape == clutter.shape == zones.shape == latitude.shape or ends.size != count:
            raise InputError(
                f"ground_m, clutter_m, zone and mid_latitude_deg have shapes {ground.shape}, "
                f"{clutter.shape}, {zones.shape} and {latitude.shape}, item_step and item_ground_m "
                f"{count} and {ends.size} values; the first four must be alike, and the last two."
            )
        if ground.size > self._steps + 1 or count > self._items:
            raise InputError(
                f"the radial has {ground.size - 1} steps and {count} items; this RadialSweep was made for "
                f"{self._steps} and {self._items}. Make a larger one."
            )
        self._show(count)
        radial = Radial(
            ground, clutter, zones, latitude, float(step_km), float(tx_height_m), float(dn), float(n0)
        )
        answers = Answers(self.loss_db, self.departure_mrad, self.path_class)
        unordered = sweep_radial(radial, steps_of_items, ends, self._asked, self._work, answers)
        if unordered >= 0:
            raise InputError(
                f"item_step is {steps_of_items[unordered]} at index {unordered}; the steps must rise, "
                f"from 2 to the last step {ground.size - 1}. Sort the items by step."
            )

    def run_radials(
        self,
        profiles: RadialProfiles,
        step_km: float,
        tx_height_m: float,
        items: RadialItems,
        dn: float,
        n0: float,
        losses: CellLosses,
    ) -> None:
        """Sweep several radials in one call and give the answers to the cells of losses.

        profiles : as run takes them, a radial a row, float64, float32, uint8 and float64
        items : of the same radials, each within the steps and items this sweep was made for, its steps
            in order; they are trusted, as is the rest
        losses : filled at 50 % of time and the other percentage; time_percents must be those two
        """
        if profiles.ground_m.shape[1] > self._steps + 1 or int(np.diff(items.first).max()) > self._items:
            raise InputError(
                f"the radials have {profiles.ground_m.shape[1] - 1} steps and up to "
                f"{int(np.diff(items.first).max())} items; this RadialSweep was made for {self._steps} and "
                f"{self._items}. Make a larger one."
            )
        radials = Radial(
            profiles.ground_m, profiles.clutter_m, profiles.zone, profiles.mid_latitude_deg, float(step_km),
            float(tx_height_m), float(dn), float(n0),
        )  # fmt: skip
        flat = Answers(self._loss, self._departure, self._class)
        unordered = sweep_radials(radials, items, self._asked, self._work, flat, losses)
        if unordered >= 0:
            raise InputError(
                f"item_step is {items.step[unordered]} at index {unordered}; the steps must rise."
            )


def _at_least(name: str, value: int, low: int) -> int:
    """Return value, or raise InputError when it is under low."""
    if value < low:
        raise InputError(f"{name} must be {low} or more, got {value}.")
    return value


def _within(name: str, values: Sequence[float], low: float, high: float) -> NDArray[np.float64]:
    """Return values as an array, or raise InputError when there are none or one is outside low to high."""
    array = np.array(values, dtype=np.float64, ndmin=1)
    if array.size == 0:
        raise InputError(f"{name} is empty; give at least one value from {low:g} to {high:g}.")
    for index, value in enumerate(array):
        if not low <= value <= high:
            raise InputError(f"{name} must be from {low:g} to {high:g}, got {value:g} at index {index}.")
    return array


def _row_length(count: int) -> int:
    """Return a length of at least count numbers for the rows of the work arrays.

    A load of a row whose address is that of a store to another row but for a multiple of 4096 bytes waits for
    the store (first-term loop over the sea: 37 against 21 ns an item). 27 x 64 bytes beyond a multiple of
    4096, two rows meet only when they are 19 or 64 apart.
    """
    return count + (216 - count) % 512


def _rows(*shapes: tuple[int, ...]) -> list[NDArray[np.float64]]:
    """Return work arrays of the given shapes, one behind the other from a boundary of 64 bytes."""
    sizes = [math.prod(shape) for shape in shapes]
    memory = np.zeros(sum(sizes) + 8)
    begin = -(memory.ctypes.data // 8) % 8
    arrays = []
    for shape, size in zip(shapes, sizes, strict=True):
        arrays.append(memory[begin : begin + size].reshape(shape))
        begin += size
    return arrays
