"""How far a stack of rasters reaches and what gaps it has, in numbers and in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import pyproj
import shapely
from numpy.typing import ArrayLike, NDArray

from covermap.terrain.layer import RasterLayer
from covermap.terrain.lookup import heights_at
from covermap.terrain.space import release

Layers = Sequence[RasterLayer]

_GEOD = pyproj.Geod(ellps="WGS84")
_BLOCK_CELLS = 1_000_000
_MOST_VOIDS = 200_000  # void cells of a raster that are looked up in the others
_EDGE_PIECES = 64  # of a raster's side, which bends in another CRS
_SPARE_AZIMUTHS_DEG = np.arange(0.0, 360.0, 5.0)
_SPARE_KM = np.arange(1.0, 101.0)


def covers(layers: Layers, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
    """Return True at places within the edges of any raster, void or not."""
    return np.asarray(np.any([layer.covers(longitude_deg, latitude_deg) for layer in layers], axis=0))


def covered_part(
    layers: Layers, ring_deg: tuple[NDArray[np.float64], NDArray[np.float64]]
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return the parts of a shape that lie within the edges of any raster, void or not.

    ring_deg : longitude and latitude of points around the shape; the parts come as the same
    """
    found = []
    for layer in layers:
        rows, cols = layer.array.shape
        col, row = (axis[0] for axis in layer.line_positions(*(np.atleast_2d(axis) for axis in ring_deg)))
        if not np.isfinite(col + row).all():
            continue  # the raster's CRS does not reach the shape, so the raster does not either
        turn = abs(360.0 / layer.transform.a)
        # A shape across 180 degrees may lie a whole turn left or right of the raster's own columns.
        for shift in (-turn, 0.0, turn) if layer.is_geographic else (0.0,):
            shape = shapely.make_valid(shapely.Polygon(np.column_stack([col + shift, row])))
            part = shapely.intersection(shape, shapely.box(0.0, 0.0, cols, rows))
            pieces = [piece for piece in shapely.get_parts(part) if piece.geom_type == "Polygon"]
            for piece in shapely.segmentize(pieces, max(rows, cols) / _EDGE_PIECES):
                found.append(layer.lonlat(*shapely.get_coordinates(piece.exterior).T))
    return found


def gap_share(layers: Layers) -> float:
    """Return the share (0 to 1) of the rasters' cells where none knows a height."""
    cells = sum(layer.array.size for layer in layers)
    return sum(_open_voids(layer, layers) for layer in layers) / cells


def spare_km(layers: Layers, latitude_deg: float, longitude_deg: float) -> float:
    """Return how far the rasters go on around a place in every direction, in whole km up to 100."""
    azimuth, distance_km = np.meshgrid(_SPARE_AZIMUTHS_DEG, _SPARE_KM, indexing="ij")
    longitude, latitude, _ = _GEOD.fwd(
        np.full(azimuth.shape, longitude_deg),
        np.full(azimuth.shape, latitude_deg),
        azimuth,
        distance_km * 1000.0,
    )
    inside = covers(layers, longitude, latitude).all(axis=0)
    # As far as the first ring that sticks out; a ring beyond a gap does not count.
    return float(_SPARE_KM[inside.cumprod().astype(bool)].max(initial=0.0))


def nearest_edge(layers: Layers, latitude_deg: float, longitude_deg: float) -> tuple[float, float, float]:
    """Return distance in km (0 inside), longitude and latitude of the rasters' point nearest to a place."""
    if bool(covers(layers, longitude_deg, latitude_deg)):
        return 0.0, longitude_deg, latitude_deg
    found = []
    for layer in layers:
        longitude, latitude = layer.nearest_inside(longitude_deg, latitude_deg)
        distance_m = _GEOD.inv(longitude_deg, latitude_deg, longitude, latitude)[2]
        found.append(
            (float(distance_m) / 1000.0 if math.isfinite(distance_m) else math.inf, longitude, latitude)
        )
    return min(found)


def height_range_m(layer: RasterLayer) -> tuple[float, float]:
    """Return the lowest and the highest known height of a raster. [m]"""
    lows, highs = zip(
        *(
            (np.fmin.reduce(rows, axis=None), np.fmax.reduce(rows, axis=None))
            for _, rows in _row_blocks(layer)
        ),
        strict=True,
    )
    return float(np.nanmin(lows)), float(np.nanmax(highs))


def _row_blocks(layer: RasterLayer) -> Iterator[tuple[int, NDArray]]:
    """Yield a raster a few million cells at a time, each with its first row."""
    rows = max(1, _BLOCK_CELLS // layer.array.shape[1])
    for row in range(0, layer.array.shape[0], rows):
        yield row, layer.array[row : row + rows]
        release(layer.array)


def _open_voids(layer: RasterLayer, layers: Layers) -> float:
    """Return how many of a raster's cells no other raster knows either, from a sample if there are many."""
    counts = [int(np.count_nonzero(np.isnan(rows))) for _, rows in _row_blocks(layer)]
    voids = sum(counts)
    if voids == 0 or len(layers) == 1:
        return float(voids)
    # Looking a void up in the others costs a projection: of many only every n-th is looked up, evenly over
    # all blocks (`before` carries the count on), and the share found there is taken for all.
    sample, before, every = [], 0, max(1, voids // _MOST_VOIDS)
    for (first, rows), count in zip(_row_blocks(layer), counts, strict=True):
        if count:
            taken = np.flatnonzero(np.isnan(rows))[-before % every :: every]
            sample.append(taken + first * rows.shape[1])
        before += count
    row, col = np.unravel_index(np.concatenate(sample), layer.array.shape)
    heights_m = heights_at(layers, *layer.lonlat(col + 0.5, row + 0.5))
    return float(voids * np.isnan(heights_m).mean())


def gap_share_at(
    layers: Layers, longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]
) -> float:
    """Return the share (0 to 1) of the places within the rasters' edges where none knows a height."""
    inside = covers(layers, longitude_deg, latitude_deg)
    if not inside.any():
        return 0.0
    return float(np.isnan(heights_at(layers, longitude_deg[inside], latitude_deg[inside])).mean())


def summary_in_words(
    layers: Layers,
    places_deg: Sequence[tuple[float, float]] = (),
    read_deg: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
) -> str:
    """Return one line: range of heights, gaps, and how far it reaches past masts at (latitude, longitude).

    read_deg : longitude and latitude of places that are read; gaps beyond them are none. Default everywhere

    As in "0 to 842 m, no gaps, reaches every mast with 6 km to spare".
    """
    ranges_m = [height_range_m(layer) for layer in layers]
    lowest_m, highest_m = min(low for low, _ in ranges_m), max(high for _, high in ranges_m)
    share = gap_share(layers)
    if share > 0.0 and read_deg is not None:
        share = gap_share_at(layers, *read_deg)
    parts = [f"{round(lowest_m):d} to {round(highest_m):d} m", _gaps_in_words(share)]
    if places_deg:
        parts.append(_spare_in_words(layers, places_deg))
    return ", ".join(parts)


def _gaps_in_words(share: float) -> str:
    if share == 0.0:
        return "no gaps"
    return f"{100.0 * share:.1f} % gaps" if share >= 0.0005 else "gaps in under 0.1 %"


def _spare_in_words(layers: Layers, places_deg: Sequence[tuple[float, float]]) -> str:
    outside = sum(not bool(covers(layers, longitude, latitude)) for latitude, longitude in places_deg)
    if outside:
        return f"does not reach {outside} of {len(places_deg)} masts"
    spare = min(spare_km(layers, latitude, longitude) for latitude, longitude in places_deg)
    over = "over " if spare >= _SPARE_KM[-1] else ""
    return f"reaches every mast with {over}{spare:.0f} km to spare"
