"""One elevation file: where its cells lie, and a window of them in metres, or one clear error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.enums import ColorInterp
from rasterio.windows import Window

from covermap.errors import InputError
from covermap.terrain.layer import RasterLayer
from covermap.terrain.raster_file import declared_crs, open_raster, read_rows
from covermap.terrain.vertical import metres_per_unit, vertical_remark

VOID_CODES = (
    -32768.0,
    -9999.0,
)  # common practice, no source: what elevation files write where nothing is known
LOWEST_M, HIGHEST_M = -600.0, 9000.0  # the Dead Sea shore and the highest summit lie inside (from memory)
WRONG_UNIT_SHARE = 0.01  # above this share of impossible heights it is the unit that is wrong, not the cells


@dataclass(frozen=True, eq=False)
class ElevationFile:
    """An elevation file that was looked at, not yet read.

    outline : where its cells lie; the array has the file's shape and no heights
    metres : length of its unit of height; warnings : what is worth doubting, a sentence each
    """

    path: Path
    outline: RasterLayer
    metres: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class HeightLimits:
    """Between which heights lie [m], in words, and what to do where many do not."""

    lowest_m: float
    highest_m: float
    range: str
    cure: str


GROUND_LIMITS = HeightLimits(
    LOWEST_M,
    HIGHEST_M,
    f"ground lies between {LOWEST_M:.0f} and {HIGHEST_M:.0f} m",
    "Set [terrain] elevation_unit if the heights are not in metres, or the file's nodata value.",
)


class HeightDoubts:
    """Heights of one file that cannot be on Earth, counted while it is read; they become unknown."""

    def __init__(self, name: str, limits: HeightLimits = GROUND_LIMITS) -> None:
        self._name = name
        self._limits = limits
        self._impossible = self._known = 0
        self._lowest, self._highest = np.inf, -np.inf

    def void_impossible(self, heights_m: NDArray[np.float32]) -> None:
        """Turn heights that cannot be on Earth into NaN and count them."""
        wrong = (heights_m < self._limits.lowest_m) | (heights_m > self._limits.highest_m)
        self._known += int(np.count_nonzero(~np.isnan(heights_m)))
        if wrong.any():
            self._impossible += int(np.count_nonzero(wrong))
            self._lowest = min(self._lowest, float(heights_m[wrong].min()))
            self._highest = max(self._highest, float(heights_m[wrong].max()))
            heights_m[wrong] = np.nan

    @property
    def all_void(self) -> bool:
        """Return whether no height was found at all."""
        return self._known == 0

    def in_words(self) -> tuple[str, ...]:
        """Return a warning when there are some; raises InputError when there are many."""
        if self._impossible == 0:
            return ()
        found = (
            f"{self._impossible} of {self._known} cells lie between {self._lowest:.6g} and "
            f"{self._highest:.6g} m"
        )
        if self._impossible > WRONG_UNIT_SHARE * self._known:
            raise InputError(f"{self._name}: {found}; {self._limits.range}.\n  {self._limits.cure}")
        return (f"{self._name}: {found}; {self._limits.range}: taken as unknown.",)


def look_at_elevation_file(
    path: Path, unit: str | None = None, key: str = "[terrain] elevation"
) -> ElevationFile:
    """Look at one elevation raster of any CRS and unit, without reading its heights.

    path : anything GDAL reads, one band of heights; key : what names it in the scenario
    unit : unit of the heights where the file names none ("m", "ft", "us-ft", "dm", "cm"); None is metres

    Raises InputError if the file is missing, has no CRS, is rotated, or is a picture.
    """
    with open_raster(path, key) as dataset:
        crs_wkt = declared_crs(dataset, path)
        _refuse_pictures(dataset, path)
        metres, warnings = metres_per_unit(dataset, path, unit)
        warnings += vertical_remark(dataset, path)
        # a view of one number: no memory, but the shape that outlines are asked for
        no_heights = np.broadcast_to(np.float32(np.nan), dataset.shape)
        outline = RasterLayer(path.name, no_heights, dataset.transform, crs_wkt)
    return ElevationFile(path, outline, metres, warnings)


def read_heights(
    file: ElevationFile, dataset: rasterio.DatasetReader, window: Window, doubts: HeightDoubts
) -> NDArray[np.float32]:
    """Return the heights of a window of an opened elevation file, NaN unknown. [m]

    Raises InputError when the window cannot be read.
    """
    heights_m = _height_reader(dataset, file.metres)(read_rows(dataset, file.path, window))
    doubts.void_impossible(heights_m)
    return heights_m


def _refuse_pictures(dataset: rasterio.DatasetReader, path: Path) -> None:
    kind = np.dtype(dataset.dtypes[0])
    if kind.kind == "c":
        raise InputError(f"{path.name}: its cells are complex numbers ({kind}), not heights.")
    if dataset.colorinterp[0] == ColorInterp.palette:
        raise InputError(
            f"{path.name}: its cells are numbers of colours in a palette: this is a picture or a map of "
            "classes, not heights.\n  Give the elevation raster itself; a map of classes goes under "
            "[terrain] land_cover."
        )
    if dataset.count >= 3 and kind == np.uint8:
        raise InputError(
            f"{path.name}: found {dataset.count} bands of 8 bits: this is a picture, not heights.\n"
            "  Give the elevation raster itself, one band of heights."
        )


def _height_reader(
    dataset: rasterio.DatasetReader, factor: float
) -> Callable[[np.ma.MaskedArray], NDArray[np.float32]]:
    """Return the function that turns raw cells into heights in m: voids, then scale, offset and unit."""
    scale, offset = dataset.scales[0], dataset.offsets[0]

    def to_metres(raw: np.ma.MaskedArray) -> NDArray[np.float32]:
        # float64 until the end: whole numbers of 32 bits, scaled, would lose digits in float32.
        values = raw.data.astype(np.float64)
        void = np.ma.getmaskarray(raw) | ~np.isfinite(values)
        for code in VOID_CODES:
            # the raw code, before scale and offset turn it into a height
            void |= values == code
        heights_m = (values * scale + offset) * factor
        heights_m[void] = np.nan
        # beyond float32 a value is a void code anyway (-3.4e38 times a scale)
        return np.clip(heights_m, -1e30, 1e30).astype(np.float32)

    return to_metres
