"""Heights and classes of a stack of rasters: at points, and along lines given by knots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.terrain.layer import Floats, RasterLayer
from covermap.terrain.sampling import (
    fill_bilinear_along,
    fill_bilinear_at,
    fill_nearest_along,
    fill_nearest_at,
)


def heights_at(layers: Sequence[RasterLayer], longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
    """Return bilinear heights at places, from the first layer that knows each.

    Parameters
    ----------
    layers : rasters of heights, the one to be asked first in front
    longitude_deg, latitude_deg : array_like of one shape
        Places. [WGS 84 degrees]

    Returns
    -------
    ndarray of float64, the places' shape
        Heights; NaN where no layer knows one. [m]
    """
    longitude, latitude = _broadcast(longitude_deg, latitude_deg)
    heights_m = np.full(longitude.size, np.nan)
    for layer in layers:
        unknown = np.flatnonzero(np.isnan(heights_m))
        if unknown.size == 0:
            break
        col, row = layer.positions(longitude.ravel()[unknown], latitude.ravel()[unknown])
        layer.bring(col, row)
        found = np.full(unknown.size, np.nan)
        fill_bilinear_at(layer.array, col, row, found)
        heights_m[unknown] = found
    return heights_m.reshape(longitude.shape)


def classes_at(
    layer: RasterLayer, longitude_deg: ArrayLike, latitude_deg: ArrayLike, outside: int
) -> NDArray[np.uint8]:
    """Return the uint8 value of the cell at each place; `outside` where the layer has none."""
    return classes_of(layer, *layer.positions(*_broadcast(longitude_deg, latitude_deg)), outside)


def classes_of(layer: RasterLayer, col: Floats, row: Floats, outside: int) -> NDArray[np.uint8]:
    """Return the same at positions in cells from the layer's outer corner, of one shape."""
    layer.bring(col, row)
    classes = np.empty(col.size, dtype=np.uint8)
    fill_nearest_at(layer.array, col.ravel(), row.ravel(), np.uint8(outside), classes)
    return classes.reshape(col.shape)


def fill_heights_along(
    layers: Sequence[RasterLayer],
    longitude_deg: Floats,
    latitude_deg: Floats,
    steps_per_knot: int,
    out: Floats,
) -> None:
    """Write heights along lines into out, from the first layer that knows each; NaN where none does.

    Arguments as Terrain.sample_profiles; heights in m.
    """
    out[...] = np.nan
    for layer in layers:
        col, row = layer.line_positions(longitude_deg, latitude_deg)
        layer.bring(col, row)
        # nothing is missing any more: coarser rasters need not be read
        if fill_bilinear_along(layer.array, col, row, steps_per_knot, out) == 0:
            break


def fill_classes_along(
    layer: RasterLayer,
    values: NDArray[Any],
    outside: float,
    longitude_deg: Floats,
    latitude_deg: Floats,
    steps_per_knot: int,
    out: NDArray[Any],
) -> None:
    """Write values[class] of the cells that lines run through into out, `outside` beyond the layer."""
    col, row = layer.line_positions(longitude_deg, latitude_deg)
    layer.bring(col, row)
    fill_nearest_along(layer.array, values, values.dtype.type(outside), col, row, steps_per_knot, out)


def _broadcast(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Floats, Floats]:
    longitude, latitude = np.broadcast_arrays(
        np.asarray(longitude_deg, dtype=np.float64), np.asarray(latitude_deg, dtype=np.float64)
    )
    return longitude, latitude
