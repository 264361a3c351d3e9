"""Tiles after they arrived: checked, sea where there is none, the lowest ground around, land cover as one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import rasterio
import rasterio.warp
from affine import Affine
from rasterio.enums import Resampling
from rasterio.errors import RasterioError, RasterioIOError
from scipy import ndimage

from covermap.constants import METRES_A_DEGREE
from covermap.errors import CovermapError
from covermap.terrain_tiles.sources import Tile

SEA_CELLS = 60  # on a side of a tile of nothing but sea
AROUND_M = 90.0  # within which the ends of a path stand on the lowest cell, where only a surface is known
LAND_COVER_DEG = 1.0 / 3600.0  # cells of the land cover that is kept: one arc-second
ROWS_AT_ONCE = 2048


def check_tile(path: Path, tile: Tile, tile_deg: int) -> None:
    """Check that a tile can be read and lies where its name says; it is removed where not.

    Raises CovermapError with what was found.
    """
    try:
        with rasterio.open(path) as dataset:
            west, south, east, north = dataset.bounds
            # First and last row: a file cut short opens well and fails only where its end is missing.
            dataset.read(1, window=((0, 1), (0, dataset.width)))
            dataset.read(1, window=((dataset.height - 1, dataset.height), (0, dataset.width)))
    except (RasterioError, RasterioIOError) as error:
        path.unlink()
        raise CovermapError(
            f"{path.name} is no whole raster ({error}). It was removed; try again."
        ) from error
    middle = tile.west + tile_deg / 2.0, tile.south + tile_deg / 2.0
    if not (west <= middle[0] <= east and south <= middle[1] <= north):
        path.unlink()
        raise CovermapError(
            f"{path.name} lies at {west:g} to {east:g}, {south:g} to {north:g} degrees, not around "
            f"{middle[0]:g}, {middle[1]:g} as its address says. It was removed; correct the source's address."
        )


def write_sea(path: Path, tile: Tile, tile_deg: int) -> None:
    """Write a tile of sea level."""
    step = tile_deg / SEA_CELLS
    with rasterio.open(
        path, "w", driver="GTiff", width=SEA_CELLS, height=SEA_CELLS, count=1, dtype="float32",
        crs="EPSG:4326", compress="deflate",
        transform=Affine(step, 0.0, tile.west, 0.0, -step, tile.south + tile_deg),
    ) as dataset:  # fmt: skip
        dataset.write(np.zeros((SEA_CELLS, SEA_CELLS), dtype=np.float32), 1)


def write_lowest_around(surface: Path, path: Path) -> None:
    """Write the lowest height within 90 m of each cell of a surface: what stands in for bare ground there."""
    with rasterio.open(surface) as dataset:
        profile = dataset.profile | {"driver": "GTiff", "dtype": "float32", "compress": "deflate"}
        heights_m = dataset.read(1, masked=True).astype(np.float32).filled(np.nan)
        cell_m = abs(dataset.transform.e) * (METRES_A_DEGREE if dataset.crs.is_geographic else 1.0)
    # an odd number of cells, so that the window lies around its cell
    width = 2 * max(1, int(AROUND_M / 2.0 / cell_m)) + 1
    known = ~np.isnan(heights_m)
    lowest_m = ndimage.minimum_filter(np.where(known, heights_m, np.float32(1e9)), size=width, mode="nearest")
    lowest_m[~known] = np.nan
    profile["nodata"] = np.nan
    # The source's blocks need not fit what the GTiff driver allows (multiples of 16).
    for key in ("blockxsize", "blockysize", "tiled", "interleave"):
        profile.pop(key, None)
    with rasterio.open(path, "w", **profile) as dataset:
        dataset.write(lowest_m.astype(np.float32), 1)


def write_land_cover(
    tiles: Sequence[Path], bounds_deg: tuple[float, float, float, float], path: Path
) -> None:
    """Write the commonest class of each arc-second of a box (west, south, east, north); 0 is void."""
    west, south, east, north = bounds_deg
    rows, cols = round((north - south) / LAND_COVER_DEG), round((east - west) / LAND_COVER_DEG)
    with rasterio.open(
        path, "w", driver="GTiff", width=cols, height=rows, count=1, dtype="uint8", crs="EPSG:4326", nodata=0,
        transform=Affine(LAND_COVER_DEG, 0.0, west, 0.0, -LAND_COVER_DEG, north),
        compress="deflate", tiled=True,
    ) as kept:  # fmt: skip
        for first in range(0, rows, ROWS_AT_ONCE):
            count = min(ROWS_AT_ONCE, rows - first)
            classes = np.zeros((count, cols), dtype=np.uint8)
            place = Affine(LAND_COVER_DEG, 0.0, west, 0.0, -LAND_COVER_DEG, north - first * LAND_COVER_DEG)
            for tile in tiles:
                with rasterio.open(tile) as dataset:
                    part = np.zeros_like(classes)
                    rasterio.warp.reproject(
                        rasterio.band(dataset, 1), part, dst_transform=place, dst_crs="EPSG:4326",
                        src_nodata=0, dst_nodata=0, resampling=Resampling.mode,
                    )  # fmt: skip
                    # Neighbouring tiles share their rim: the first that knows a cell keeps it.
                    classes = np.where(classes == 0, part, classes)
            kept.write(classes, 1, window=((first, first + count), (0, cols)))
