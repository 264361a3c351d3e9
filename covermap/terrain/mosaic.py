"""Tiles of one grid joined into one raster, so that no seam is left between them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from affine import Affine

from covermap.terrain.layer import RasterLayer
from covermap.terrain.space import TerrainSpace, release

MISFIT_CELLS = 0.01  # tiles whose cells fit within this are one grid
ROWS_AT_ONCE = 1024
EMPTY_FACTOR = 2.0  # no join when it would hold more than twice the cells of its tiles


def join_aligned(layers: Sequence[RasterLayer], space: TerrainSpace | None = None) -> tuple[RasterLayer, ...]:
    """Join the rasters that are tiles of one grid; return all, the finest cells first.

    Rasters of one CRS and cell size whose cells fall on each other become one. Where two know a
    cell, the one given first counts. Others stay as they are and are asked in turn. space says where
    joined rasters are kept, by default in memory if they fit.
    """
    groups: list[list[RasterLayer]] = []
    for layer in layers:
        group = next((g for g in groups if _fits(g[0], layer) and not _mostly_empty([*g, layer])), None)
        if group is None:
            groups.append([layer])
        else:
            group.append(layer)
    joined = [group[0] if len(group) == 1 else _join(group, space or TerrainSpace()) for group in groups]
    return tuple(sorted(joined, key=lambda layer: layer.cell_m))


def _fits(one: RasterLayer, other: RasterLayer) -> bool:
    if one.crs_wkt != other.crs_wkt:
        return False
    a, b = one.transform, other.transform
    span = max(*one.array.shape, *other.array.shape)
    if abs(a.a - b.a) * span > MISFIT_CELLS * abs(a.a) or abs(a.e - b.e) * span > MISFIT_CELLS * abs(a.e):
        return False
    col, row = _offset(one, other)
    return abs(col - round(col)) < MISFIT_CELLS and abs(row - round(row)) < MISFIT_CELLS


def _offset(one: RasterLayer, other: RasterLayer) -> tuple[float, float]:
    """Return (col, row) of other's first cell in the cells of one."""
    a, b = one.transform, other.transform
    return (b.c - a.c) / a.a, (b.f - a.f) / a.e


def _frame(group: Sequence[RasterLayer]) -> tuple[int, int, int, int]:
    """Return first col, first row, cols and rows of the group, in the cells of its first raster."""
    corners = [tuple(round(axis) for axis in _offset(group[0], layer)) for layer in group]
    col = min(c for c, _ in corners)
    row = min(r for _, r in corners)
    cols = max(c + layer.array.shape[1] for (c, _), layer in zip(corners, group, strict=True)) - col
    rows = max(r + layer.array.shape[0] for (_, r), layer in zip(corners, group, strict=True)) - row
    return col, row, cols, rows


def _mostly_empty(group: Sequence[RasterLayer]) -> bool:
    _, _, cols, rows = _frame(group)
    return cols * rows > EMPTY_FACTOR * sum(layer.array.size for layer in group)


def _join(group: Sequence[RasterLayer], space: TerrainSpace) -> RasterLayer:
    first_col, first_row, cols, rows = _frame(group)
    heights_m = space.array(rows, cols, np.float32)
    for row in range(0, rows, ROWS_AT_ONCE):
        heights_m[row : row + ROWS_AT_ONCE] = np.nan
        release(heights_m)
    for layer in group:
        col, row = (round(axis) for axis in _offset(group[0], layer))
        height, width = layer.array.shape
        top, left = row - first_row, col - first_col
        part = heights_m[top : top + height, left : left + width]
        for row in range(0, height, ROWS_AT_ONCE):
            some = slice(row, row + ROWS_AT_ONCE)
            np.copyto(part[some], layer.array[some], where=np.isnan(part[some]))
        release(heights_m)
        release(layer.array)
    t = group[0].transform
    transform = Affine(t.a, 0.0, t.c + first_col * t.a, 0.0, t.e, t.f + first_row * t.e)
    return RasterLayer(f"{group[0].name} and {len(group) - 1} more", heights_m, transform, group[0].crs_wkt)
