"""Tiles of one grid joined into one raster, so that no seam is left between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from rasterio.windows import Window, union

from covermap.errors import InputError
from covermap.terrain.elevation_file import ElevationFile, HeightDoubts, read_heights
from covermap.terrain.layer import Floats, RasterLayer
from covermap.terrain.raster_file import open_raster, read_windows
from covermap.terrain.space import TerrainSpace, release

MISFIT_CELLS = 0.01  # tiles whose cells fit within this are one grid
ROWS_AT_ONCE = 1024
EMPTY_FACTOR = 2.0  # no join when it would hold more than twice the cells of its tiles
SPARE_CELLS = 2  # read beyond a part asked for, so that bilinear heights at its edge stay the same


@dataclass(frozen=True, eq=False)
class Mosaic:
    """Elevation files that are tiles of one grid; where two know a cell, the one given first counts.

    window : the part that is read, in cells of the first file (columns and rows may be negative)
    """

    files: tuple[ElevationFile, ...]
    window: Window

    @property
    def outline(self) -> RasterLayer:
        """Return the part as a layer without heights."""
        first = self.files[0].outline
        t = first.transform
        transform = Affine(
            t.a, 0.0, t.c + self.window.col_off * t.a, 0.0, t.e, t.f + self.window.row_off * t.e
        )
        more = len(self.files) - 1
        name = f"{first.name} and {more} more" if more else first.name
        shape = self.window.height, self.window.width
        return RasterLayer(name, np.broadcast_to(np.float32(np.nan), shape), transform, first.crs_wkt)

    def place_of(self, file: ElevationFile) -> Window:
        """Return where a file lies in the part, in cells from its corner; it may stick out."""
        col, row = (round(axis) for axis in _offset(self.files[0].outline, file.outline))
        rows, cols = file.outline.array.shape
        return Window(col - self.window.col_off, row - self.window.row_off, cols, rows)

    def cut(self, longitude_deg: Floats, latitude_deg: Floats) -> Mosaic | None:
        """Return the part around points in WGS 84 degrees; None where it lies beyond all files."""
        at_col, at_row = self.outline.positions(longitude_deg, latitude_deg)
        rows, cols = self.outline.array.shape
        left, right = _range(at_col, cols)
        top, bottom = _range(at_row, rows)
        if left >= right or top >= bottom:
            return None
        corner = _shifted(self.window, left, top)
        window = Window(corner.col_off, corner.row_off, right - left, bottom - top)
        part = Mosaic(self.files, window)
        inside = [file for file in self.files if clip(part.place_of(file), part.window) is not None]
        if not inside:
            return None
        col, row = (round(axis) for axis in _offset(inside[0].outline, self.files[0].outline))
        return Mosaic(tuple(inside), _shifted(window, col, row))


def clip(place: Window, part: Window) -> Window | None:
    """Return what of a place lies within a part of the same corner, None for nothing."""
    left, top = max(place.col_off, 0), max(place.row_off, 0)
    right = min(place.col_off + place.width, part.width)
    bottom = min(place.row_off + place.height, part.height)
    return Window(left, top, right - left, bottom - top) if left < right and top < bottom else None


def join_aligned(files: Sequence[ElevationFile]) -> tuple[Mosaic, ...]:
    """Return the files as mosaics, those of the finest cells first.

    Files of one CRS and cell size whose cells fall on each other become one. Others stay as they are
    and are asked in turn.
    """
    groups: list[_Group] = []
    for number, file in enumerate(files):
        groups = _with(groups, _alone(number, file))
    # tiles that came far from each other may have found the ones between by now
    merged: list[_Group] = []
    for group in groups:
        merged = _with(merged, group)
    # In the order the user named them; among rasters of different cells the finest comes first (sorted is
    # stable).
    merged.sort(key=lambda group: min(group.files))
    mosaics = [group.mosaic() for group in merged]
    return tuple(sorted(mosaics, key=lambda mosaic: mosaic.files[0].outline.cell_m))


def read_mosaic(mosaic: Mosaic, space: TerrainSpace | None = None) -> tuple[RasterLayer, tuple[str, ...]]:
    """Read all heights of a mosaic; return them and what is worth doubting.

    space : where they are kept, by default in memory if they fit

    Raises InputError if a file cannot be read, or its heights cannot be.
    """
    outline = mosaic.outline
    rows, cols = outline.array.shape
    heights_m = (space or TerrainSpace()).array(rows, cols, np.float32)
    for row in range(0, rows, ROWS_AT_ONCE):
        # In pieces that are released: filled at once, a mapped mosaic would stand in memory whole.
        heights_m[row : row + ROWS_AT_ONCE] = np.nan
        release(heights_m)
    warnings: list[str] = []
    empty = 0
    for file in mosaic.files:
        doubts = HeightDoubts(file.path.name)
        _fill_from(file, mosaic.place_of(file), mosaic.window, doubts, heights_m)
        warnings += doubts.in_words()
        empty += doubts.all_void
    if empty == len(mosaic.files):
        raise InputError(f"{outline.name}: every cell is void; there is no height in it. Give another file.")
    return RasterLayer(outline.name, heights_m, outline.transform, outline.crs_wkt), tuple(warnings)


def _fill_from(
    file: ElevationFile, place: Window, part: Window, doubts: HeightDoubts, out: NDArray[np.float32]
) -> None:
    """Write a file's heights into the cells of a part that are not known yet."""
    inside = clip(place, part)
    if inside is None:
        return
    own = Window(inside.col_off - place.col_off, inside.row_off - place.row_off, inside.width, inside.height)
    with open_raster(file.path) as dataset:
        for window in read_windows(dataset, own):
            paste(read_heights(file, dataset, window, doubts), window, place, out)
            release(out)


def paste(heights_m: NDArray[np.float32], window: Window, place: Window, out: NDArray[np.float32]) -> None:
    """Write heights of a file's window into out where nothing is known; the file lies at a place of out."""
    top, left = int(place.row_off + window.row_off), int(place.col_off + window.col_off)
    target = out[top : top + heights_m.shape[0], left : left + heights_m.shape[1]]
    np.copyto(target, heights_m, where=np.isnan(target))


def _with(groups: list[_Group], one: _Group) -> list[_Group]:
    """Return the groups with one more, joined to the first of its grid."""
    for index, group in enumerate(groups):
        both = group.joined(one)
        if both is not None:
            return [*groups[:index], both, *groups[index + 1 :]]
    return [*groups, one]


@dataclass(frozen=True, eq=False)
class _Group:
    """Files of one grid as they are found, by their order.

    window : what they fill, in cells of the outline; cells : how many they have together
    """

    files: dict[int, ElevationFile]
    outline: RasterLayer
    window: Window
    cells: int

    def joined(self, other: _Group) -> _Group | None:
        """Return both as one; None where their grids differ, or most of the one would be empty."""
        if not _fits(self.outline, other.outline):
            return None
        col, row = (round(axis) for axis in _offset(self.outline, other.outline))
        moved = _shifted(other.window, col, row)
        window = union([self.window, moved])
        cells = self.cells + other.cells
        # Two tiles far apart would join into a raster that is mostly empty, and memory goes by its size.
        if window.width * window.height > EMPTY_FACTOR * cells:
            return None
        return _Group(self.files | other.files, self.outline, window, cells)

    def mosaic(self) -> Mosaic:
        """Return the files in their order, with the window they fill."""
        files = [self.files[number] for number in sorted(self.files)]
        col, row = (round(axis) for axis in _offset(files[0].outline, self.outline))
        return Mosaic(tuple(files), _shifted(self.window, col, row))


def _alone(number: int, file: ElevationFile) -> _Group:
    rows, cols = file.outline.array.shape
    return _Group({number: file}, file.outline, Window(0, 0, cols, rows), rows * cols)


def _shifted(window: Window, cols: int, rows: int) -> Window:
    return Window(window.col_off + cols, window.row_off + rows, window.width, window.height)


def _fits(one: RasterLayer, other: RasterLayer) -> bool:
    if one.crs_wkt != other.crs_wkt:
        return False
    a, b = one.transform, other.transform
    # A cell size that differs in its last digits adds up over the raster: the misfit at its far end counts.
    span = max(*one.array.shape, *other.array.shape)
    if abs(a.a - b.a) * span > MISFIT_CELLS * abs(a.a) or abs(a.e - b.e) * span > MISFIT_CELLS * abs(a.e):
        return False
    col, row = _offset(one, other)
    return abs(col - round(col)) < MISFIT_CELLS and abs(row - round(row)) < MISFIT_CELLS


def _offset(one: RasterLayer, other: RasterLayer) -> tuple[float, float]:
    """Return (col, row) of other's first cell in the cells of one."""
    a, b = one.transform, other.transform
    return (b.c - a.c) / a.a, (b.f - a.f) / a.e


def _range(position: Floats, count: int) -> tuple[int, int]:
    """Return first and one past the last of `count` cells around positions, a few to spare."""
    known = position[np.isfinite(position)]
    if known.size == 0:
        return 0, 0
    first = int(np.floor(known.min())) - SPARE_CELLS
    last = int(np.ceil(known.max())) + SPARE_CELLS
    return max(first, 0), min(last, count)
