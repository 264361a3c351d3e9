"""What stands on the ground: heights from a raster of trees and buildings, and heights that are assumed."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.terrain.elevation_file import HeightDoubts, HeightLimits, look_at_elevation_file, read_heights
from covermap.terrain.layer import Floats, RasterLayer
from covermap.terrain.lookup import classes_of, fill_classes_along
from covermap.terrain.raster_file import open_raster, read_windows
from covermap.terrain.space import TerrainSpace, release

KEY = "[terrain] clutter_height"
_WGS84 = pyproj.CRS.from_epsg(4326)
UNKNOWN_STEP = 255
NOISE_BELOW_M = (
    2.0  # a canopy height is a difference of two surveys: a little below 0 is the ground; judgement
)
TALL_M = 45.0  # few woods and towns stand higher; judgement
TALL_SHARE = 0.1  # of what stands over 2 m: from here it may be feet; judgement
STANDS_M = 2.0
FINEST_M = 10.0  # of a cell; judgement
OPEN_BELOW_M = 5.0  # what stands lower leaves open land open; judgement
LIMITS = HeightLimits(
    -NOISE_BELOW_M,
    150.0,
    "trees and buildings stand 0 to 150 m above their ground",
    "Give heights above the ground, not above the sea, in metres (or name their unit in the file), and set "
    "the file's nodata value.",
)

# Heights are kept in steps of 0.5 m up to 20 m, 1 m up to 60 m and 5 m beyond: finer than they are known.
_STEPS_M = np.concatenate(
    [np.arange(0.0, 20.0, 0.5), np.arange(20.0, 60.0, 1.0), np.arange(60.0, 155.0, 5.0)]
)
_MIDDLES_M = 0.5 * (_STEPS_M[1:] + _STEPS_M[:-1])
STEP_HEIGHT_M: NDArray[np.float32] = np.full(256, np.nan, dtype=np.float32)
STEP_HEIGHT_M[: _STEPS_M.size] = _STEPS_M


@dataclass(frozen=True, eq=False)
class HeightsByCell:
    """Heights above ground by the value of a raster's cells.

    layer : uint8. height_m : shape (256,), by the layer's value; NaN: it does not say. [m]
    outside_m : beyond the layer; NaN: it does not say
    """

    layer: RasterLayer
    height_m: NDArray[np.float32]
    outside_m: float = math.nan

    def at(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.float32]:
        """Return the height at places in WGS 84 degrees, NaN where it does not say. [m]"""
        longitude, latitude = np.broadcast_arrays(longitude_deg, latitude_deg)
        col, row = self.layer.positions(longitude, latitude)
        heights_m = self.height_m[classes_of(self.layer, col, row, 0)]
        return np.where(self.layer.holds(col, row), heights_m, np.float32(self.outside_m))

    def fill_along(self, longitude_deg: Floats, latitude_deg: Floats, steps: int, out: NDArray) -> None:
        """Write the height along lines of knots into out; see Terrain.sample_profiles. [m]"""
        fill_classes_along(self.layer, self.height_m, self.outside_m, longitude_deg, latitude_deg, steps, out)

    def digest(self) -> str:
        """Return the SHA-256 of the raster and of what its values mean."""
        sha = hashlib.sha256(self.layer.digest().encode())
        sha.update(self.height_m.tobytes() + np.float64(self.outside_m).tobytes())
        return sha.hexdigest()


def in_steps(height_m: ArrayLike) -> NDArray[np.uint8]:
    """Return heights as the steps they are kept in, NaN as UNKNOWN_STEP; negative ones are 0 m."""
    height_m = np.asarray(height_m)
    return np.where(np.isnan(height_m), UNKNOWN_STEP, np.searchsorted(_MIDDLES_M, height_m)).astype(np.uint8)


def heights_from(
    layers: Sequence[HeightsByCell], longitude_deg: ArrayLike, latitude_deg: ArrayLike
) -> NDArray[np.float32]:
    """Return heights at places, from the first layer that says; 0 where none does. [m]"""
    shape = np.broadcast(longitude_deg, latitude_deg).shape
    heights_m = np.full(shape, np.nan, dtype=np.float32)
    for layer in layers:
        heights_m = np.where(np.isnan(heights_m), layer.at(longitude_deg, latitude_deg), heights_m)
    return np.nan_to_num(heights_m, copy=False)


def fill_heights_from(
    layers: Sequence[HeightsByCell],
    longitude_deg: Floats,
    latitude_deg: Floats,
    steps_per_knot: int,
    out: NDArray[np.float32],
) -> None:
    """Write what heights_from gives along lines of knots into out; see Terrain.sample_profiles. [m]"""
    out[...] = np.nan if layers else 0.0
    further = out
    for number, layer in enumerate(layers):
        if number:
            further = np.empty_like(out)
        layer.fill_along(longitude_deg, latitude_deg, steps_per_knot, further)
        if number:
            np.copyto(out, further, where=np.isnan(out))
    np.nan_to_num(out, copy=False)


def assumed_everywhere(height_m: float) -> HeightsByCell:
    """Return one height on the whole Earth."""
    whole = RasterLayer(
        "assumed",
        np.zeros((1, 1), dtype=np.uint8),
        Affine(360.0, 0.0, -180.0, 0.0, -180.0, 90.0),
        str(_WGS84.to_wkt()),
    )
    return HeightsByCell(whole, np.full(256, height_m, dtype=np.float32), height_m)


def read_clutter_heights(
    path: Path, space: TerrainSpace | None = None
) -> tuple[HeightsByCell, tuple[str, ...]]:
    """Read a raster of heights of trees and buildings above their ground, and what is worth doubting.

    Any CRS, its unit as the file says it, else metres; cells without a value do not say. space says where it
    is kept, by default in memory if it fits.

    Raises InputError if the file cannot be read, has no CRS or is rotated, is a picture or classes, holds no
    height at all, or many that nothing on Earth has.
    """
    file = look_at_elevation_file(path, key=KEY)
    doubts = HeightDoubts(path.name, LIMITS)
    standing = tall = 0
    with open_raster(path, KEY) as dataset:
        steps = (space or TerrainSpace()).array(dataset.height, dataset.width, np.uint8)
        for window in read_windows(dataset):
            heights_m = read_heights(file, dataset, window, doubts)
            # counted before the heights become steps, and only of what stands: bare ground would drown the
            # share
            standing += int(np.count_nonzero(heights_m > STANDS_M))
            tall += int(np.count_nonzero(heights_m > TALL_M))
            steps[window.toslices()] = in_steps(heights_m)
            release(steps)
    if doubts.all_void:
        raise InputError(
            f"{path.name} ({KEY}): not one cell has a height.\n  Give a raster of heights above the ground."
        )
    warnings = (*file.warnings, *doubts.in_words(), *_doubt_feet(path, standing, tall))
    layer = RasterLayer(path.name, steps, file.outline.transform, file.outline.crs_wkt)
    return HeightsByCell(layer, STEP_HEIGHT_M), (*warnings, *_doubt_spacing(layer))


def _doubt_feet(path: Path, standing: int, tall: int) -> tuple[str, ...]:
    if not standing or tall <= TALL_SHARE * standing:
        return ()
    return (
        f"{path.name}: {100.0 * tall / standing:.0f} % of what stands there is over {TALL_M:.0f} m high. If "
        "its heights are in feet, write the unit into the file (ft); if above the sea, take the ground away.",
    )


def _doubt_spacing(layer: RasterLayer) -> tuple[str, ...]:
    if layer.cell_m >= FINEST_M:
        return ()
    return (
        f"{layer.name}: its cells are {layer.cell_m:.2g} m wide, and paths read one every 50 m: a roof or "
        "the gap beside it, by chance. Average it over cells of 20 to 30 m.",
    )
