"""Opening a raster file: what makes one unusable, each said once and clearly."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from rasterio.errors import NotGeoreferencedWarning, RasterioError, RasterioIOError
from rasterio.windows import Window, intersect

from covermap.errors import InputError

CACHE_BYTES = 64 * 2**20
READ_CELLS = 1_000_000  # at once
MOST_CELLS = 20e9  # of one raster: 80 GB of heights on disk, and an hour to read


@contextmanager
def open_raster(
    path: Path, what: str = "[terrain]", most_cells: float = MOST_CELLS, *, may_be_rotated: bool = False
) -> Iterator[rasterio.DatasetReader]:
    """Open a raster for reading.

    what : the key that names it, for messages

    Raises InputError when the file is missing, is no raster, has no place on Earth, is rotated, or has more
    than most_cells.
    """
    # left alone, GDAL would keep up to a twentieth of the machine's memory of what was read
    with (
        rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES),
        opened_raster(path, what, most_cells, may_be_rotated=may_be_rotated) as dataset,
    ):
        yield dataset


def opened_raster(
    path: Path, what: str = "[terrain]", most_cells: float = MOST_CELLS, *, may_be_rotated: bool = False
) -> rasterio.DatasetReader:
    """Return a raster opened for reading, for the caller to close; see open_raster."""
    # GDAL's own paths (archives, memory) are no files that the system knows
    if not str(path).startswith("/vsi") and not path.exists():
        raise InputError(f"{path.name} is not there: {path}.\n  Correct the path under {what}.")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said below, as an error
        try:
            dataset = rasterio.open(path)
        except RasterioIOError as error:
            raise InputError(
                f"{path.name} ({what}) cannot be read as a raster: {str(error).rstrip('.')}.\n"
                "  Is it complete, and a format GDAL reads?"
            ) from error
    try:
        _check_size(dataset, path, what, most_cells)
        _check_transform(dataset, path, may_be_rotated)
    except InputError:
        dataset.close()
        raise
    return dataset


@lru_cache(maxsize=64)
def crs_of_wkt(crs_wkt: str) -> pyproj.CRS:
    """Return the CRS of a WKT text; tiles share one."""
    return pyproj.CRS.from_wkt(crs_wkt)


def _check_size(dataset: rasterio.DatasetReader, path: Path, what: str, most_cells: float) -> None:
    if dataset.count < 1:
        raise InputError(f"{path.name} ({what}) holds no band of cells. Name one raster of the file.")
    cells = dataset.width * dataset.height
    if cells > most_cells:
        raise InputError(
            f"{path.name} ({what}): its {dataset.height:,} x {dataset.width:,} = {cells:,} cells are more "
            f"than can be read, {most_cells:,.0f}.\n"
            "  Cut it to the area and what lies around it, or use larger cells."
        )


def _check_transform(dataset: rasterio.DatasetReader, path: Path, may_be_rotated: bool) -> None:
    transform = dataset.transform
    # what rasterio reports where the file has none
    if transform.is_identity:
        raise InputError(
            f"{path.name} does not say where its cells lie (no geotransform).\n"
            "  Give it corners and a CRS, or write it anew from the program it came from."
        )
    if not (np.isfinite(transform).all() and transform.determinant):
        found = ", ".join(f"{number:g}" for number in transform[:6])
        raise InputError(
            f"{path.name}: its cells have no size (geotransform {found}).\n"
            "  Write it anew with corners and cell size from the program it came from."
        )
    if (transform.b != 0.0 or transform.d != 0.0) and not may_be_rotated:
        raise InputError(
            f"{path.name} is rotated: its rows do not run along its CRS's x axis "
            f"(rotation terms {transform.b:g} and {transform.d:g}).\n"
            "  Resample it to a raster without rotation in the same CRS."
        )


def declared_crs(dataset: rasterio.DatasetReader, path: Path) -> str:
    """Return the raster's CRS as WKT.

    Raises InputError when there is none, when it is neither degrees nor projected, and when the
    corners cannot belong to it.
    """
    if dataset.crs is None:
        raise InputError(
            f"{path.name} has no CRS; where its cells lie on Earth is not guessed.\n"
            "  Write the CRS it was made in into the file (as an EPSG code)."
        )
    crs_wkt = str(dataset.crs.to_wkt())
    crs = crs_of_wkt(crs_wkt)
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs
    if not (horizontal.is_geographic or horizontal.is_projected):
        raise InputError(f"{path.name}: its CRS {crs.name!r} is neither projected nor in degrees.")
    _check_corners(dataset, path, horizontal)
    return crs_wkt


def _check_corners(dataset: rasterio.DatasetReader, path: Path, crs: pyproj.CRS) -> None:
    """Raise InputError where the corners cannot belong to the CRS, or are no place on Earth in it."""
    left, bottom, right, top = dataset.bounds
    corners = f"x {left:.6g} to {right:.6g}, y {bottom:.6g} to {top:.6g}"
    reach_x, reach_y = max(abs(left), abs(right)), max(abs(bottom), abs(top))
    # 540: a raster in degrees may run on past 180 by a whole turn; half a cell beyond the pole is usual.
    if crs.is_geographic and (reach_x > 540.0 or reach_y > 90.5):
        raise InputError(
            f"{path.name} says it is in degrees ({crs.name}), but it runs over {corners}.\n"
            "  These look like metres: write the projected CRS it was made in into the file."
        )
    # Near its CRS's origin a projected raster may have such corners too, so its cells must also be as small
    # as degrees.
    if crs.is_projected and reach_x <= 360.0 and reach_y <= 90.0 and abs(dataset.transform.a) < 0.5:
        raise InputError(
            f"{path.name} says it is projected ({crs.name}), but it runs over {corners}.\n"
            "  These look like degrees: write the CRS it was made in (often EPSG:4326) into the file."
        )
    # Nine points, not four corners: edges of a wide raster may leave the projection between them.
    to_wgs84 = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    x, y = (side.ravel() for side in np.meshgrid(np.linspace(left, right, 3), np.linspace(bottom, top, 3)))
    if not np.isfinite(to_wgs84.transform(x, y)).all():
        raise InputError(
            f"{path.name}: its edges ({corners}) are no places on Earth in its CRS ({crs.name}).\n"
            "  Write the CRS and the corners it was made with into the file."
        )


def read_windows(dataset: rasterio.DatasetReader, part: Window | None = None) -> Iterator[Window]:
    """Yield windows of about READ_CELLS that cover a raster or a part of it and follow the file's blocks."""
    block_rows, block_cols = dataset.block_shapes[0]
    cols = dataset.width
    # Tiled file: squares of whole blocks. File in strips: whole rows, as a part of one costs all of it.
    if block_cols < dataset.width:
        cols = _multiple(math.isqrt(READ_CELLS), block_cols)
    rows = _multiple(READ_CELLS // cols, block_rows)
    for row in range(0, dataset.height, rows):
        for col in range(0, dataset.width, cols):
            window = Window(col, row, min(cols, dataset.width - col), min(rows, dataset.height - row))
            if part is None:
                yield window
            elif intersect(window, part):
                yield window.intersection(part)


def _multiple(size: int, of: int) -> int:
    """Return the largest multiple of a number that is not above size, or the number."""
    return max(size // of, 1) * of


def read_rows(dataset: rasterio.DatasetReader, path: Path, window: Window) -> np.ma.MaskedArray:
    """Return a window of band 1 with the file's own voids masked. InputError when it cannot be read."""
    try:
        raw = dataset.read(1, window=window, masked=True)
    except (RasterioError, RasterioIOError) as error:
        raise InputError(
            f"{path.name} breaks off at row {int(window.row_off)} of {dataset.height}: "
            f"{str(error).rstrip('.')}.\n"
            "  The file is damaged or incomplete; fetch or write it again."
        ) from error
    # Older GDAL hands signed bytes out as unsigned ones and says so only here.
    structure = dataset.tags(1, ns="IMAGE_STRUCTURE")
    if raw.dtype == np.uint8 and structure.get("PIXELTYPE") == "SIGNEDBYTE":
        return np.ma.MaskedArray(raw.data.view(np.int8), mask=np.ma.getmaskarray(raw))
    return raw
