"""One elevation file -> a layer of heights in metres, or one clear error."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.enums import ColorInterp

from covermap.errors import InputError
from covermap.terrain.layer import RasterLayer
from covermap.terrain.raster_file import READ_CELLS, declared_crs, open_raster, read_rows, read_windows
from covermap.terrain.space import TerrainSpace, release
from covermap.terrain.vertical import metres_per_unit, vertical_remark

VOID_CODES = (
    -32768.0,
    -9999.0,
)  # common practice, no source: what elevation files write where nothing is known
LOWEST_M, HIGHEST_M = -600.0, 9000.0  # the Dead Sea shore and the highest summit lie inside (from memory)
WRONG_UNIT_SHARE = 0.01  # above this share of impossible heights it is the unit that is wrong, not the cells


def read_elevation_file(
    path: Path, unit: str | None = None, space: TerrainSpace | None = None
) -> tuple[RasterLayer, tuple[str, ...]]:
    """Read one elevation raster of any CRS and unit.

    Parameters
    ----------
    path : anything GDAL reads, one band of heights
    unit : unit of the heights where the file names none ("m", "ft", "us-ft", "dm", "cm"); None is metres
    space : where the heights are kept; default in memory as far as they fit

    Returns
    -------
    layer, warnings
        float32 heights in m, NaN where unknown; what is worth doubting, a sentence each.

    Raises
    ------
    InputError
        If the file cannot be read whole, has no CRS, is rotated, is a picture, or its heights cannot be.
    """
    with open_raster(path) as dataset:
        crs_wkt = declared_crs(dataset, path)
        _refuse_pictures(dataset, path)
        factor, warnings = metres_per_unit(dataset, path, unit)
        remark = vertical_remark(dataset, path)
        heights_m = (space or TerrainSpace()).array(dataset.height, dataset.width, np.float32)
        _fill_heights(dataset, path, factor, heights_m)
        transform = dataset.transform
    impossible = _void_impossible(heights_m, path)
    layer = RasterLayer(path.name, heights_m, transform, crs_wkt)
    return layer, (*warnings, *remark, *impossible)


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


def _fill_heights(dataset: rasterio.DatasetReader, path: Path, factor: float, out: NDArray) -> None:
    to_metres = _height_reader(dataset, factor)
    for window in read_windows(dataset):
        out[window.toslices()] = to_metres(read_rows(dataset, path, window))
        release(out)


def _height_reader(
    dataset: rasterio.DatasetReader, factor: float
) -> Callable[[np.ma.MaskedArray], NDArray[np.float32]]:
    """Return the function that turns raw cells into heights in m: voids, then scale, offset and unit."""
    scale, offset = dataset.scales[0], dataset.offsets[0]

    def to_metres(raw: np.ma.MaskedArray) -> NDArray[np.float32]:
        values = raw.data.astype(np.float64)
        void = np.ma.getmaskarray(raw) | ~np.isfinite(values)
        for code in VOID_CODES:
            void |= values == code
        heights_m = (values * scale + offset) * factor
        heights_m[void] = np.nan
        # beyond float32 a value is a void code anyway (-3.4e38 times a scale)
        return np.clip(heights_m, -1e30, 1e30).astype(np.float32)

    return to_metres


def _void_impossible(heights_m: NDArray[np.float32], path: Path) -> tuple[str, ...]:
    """Turn heights that cannot be on Earth into NaN; return a warning, or raise when there are many."""
    impossible = known = 0
    lowest, highest = np.inf, -np.inf
    step = max(1, READ_CELLS // heights_m.shape[1])
    for row in range(0, heights_m.shape[0], step):
        block = heights_m[row : row + step]
        wrong = (block < LOWEST_M) | (block > HIGHEST_M)
        known += int(np.count_nonzero(~np.isnan(block)))
        if wrong.any():
            impossible += int(np.count_nonzero(wrong))
            lowest = min(lowest, float(block[wrong].min()))
            highest = max(highest, float(block[wrong].max()))
            block[wrong] = np.nan
        release(heights_m)
    if known == 0:
        raise InputError(f"{path.name}: every cell is void; there is no height in it. Give another file.")
    if impossible == 0:
        return ()
    found = f"{impossible} of {known} cells lie between {lowest:.6g} and {highest:.6g} m"
    if impossible > WRONG_UNIT_SHARE * known:
        raise InputError(
            f"{path.name}: {found}; ground lies between {LOWEST_M:.0f} and {HIGHEST_M:.0f} m.\n"
            "  Set [terrain] elevation_unit if the heights are not in metres, or the file's nodata value."
        )
    return (f"{path.name}: {found}, which no ground does: taken as unknown.",)
