"""Reads a vector layer whole, or says in one sentence why it cannot be used."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError

if TYPE_CHECKING:
    import geopandas

FARTHEST = 2e8  # of a projected coordinate, in any unit: five times around the Earth in metres
FARTHEST_DEG = 540.0
MOST_FEATURES = 10_000_000  # more points than the addresses of most countries


def read_vector_file(
    path: Path, what: str, *, layer: str | None = None, most: int = MOST_FEATURES
) -> geopandas.GeoDataFrame:
    """Return a layer as the file has it, in its own CRS.

    what : the key that names it, for the message; layer : of a file with several, default the first

    Raises InputError if the file is not readable, has no geometry, no feature, no CRS, or more than `most`.
    """
    import geopandas  # heavy; a CSV does not need it
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError, FieldError
    from pyproj.exceptions import ProjError
    from shapely.errors import ShapelyError

    unreadable = (DataSourceError, DataLayerError, FieldError, ProjError, ShapelyError, UnicodeDecodeError)
    where = f"{path.name} ({what})"
    try:
        # counted before it is read: memory would run out on a file too large, not an error
        count = pyogrio.read_info(path, layer=layer)["features"]
        if count > most:
            raise InputError(
                f"{where}: it has {count:,} features; at most {most:,} can be used. Leave out what lies "
                "outside the area, or what is too small to matter."
            )
        frame = geopandas.read_file(path, layer=layer, engine="pyogrio")
        if isinstance(frame, geopandas.GeoDataFrame) and frame.crs is not None:
            frame.to_crs("EPSG:4326")  # a CRS may be declared that nothing can be done with
    except unreadable as error:
        raise InputError(
            f"{where}: not readable as a vector layer ({_short(error)}). Give a layer GDAL reads, such as a "
            "GeoPackage, or for points a .csv table."
        ) from error
    if not isinstance(frame, geopandas.GeoDataFrame):
        raise InputError(f"{where}: it has no geometry. Give a layer of points or polygons.")
    if len(frame) == 0:
        raise InputError(f"{where}: it has no features. Give a layer with at least one.")
    if frame.crs is None:
        raise InputError(f"{where}: no CRS is declared, and none is guessed. Declare it in the file.")
    return frame


def lies_on_earth(shapes: geopandas.GeoSeries) -> NDArray[np.bool_]:
    """Return which geometries of a layer lie somewhere: not missing or empty, coordinates that can be."""
    # bounds of a missing or empty geometry are NaN, and NaN <= x is False
    bounds = shapely.bounds(np.asarray(shapes.array, dtype=object))
    reach = np.abs(bounds)
    if shapes.crs.is_geographic:
        return np.asarray((reach <= (FARTHEST_DEG, 90.5, FARTHEST_DEG, 90.5)).all(axis=1))
    return np.asarray((reach <= FARTHEST).all(axis=1))


def made_valid(shapes: geopandas.GeoSeries) -> geopandas.GeoSeries:
    """Return polygons made valid; those that cannot be are left away."""
    usable, valid = np.ones(len(shapes), dtype=bool), np.empty(len(shapes), dtype=object)
    for number, shape in enumerate(shapes.array):
        try:
            valid[number] = shape if shape.is_valid else shapely.make_valid(shape)
        except shapely.errors.ShapelyError:
            usable[number] = False
    return type(shapes)(valid[usable], crs=shapes.crs)


def _short(error: Exception) -> str:
    """Return what a library said, without its closing point and not endless."""
    return str(error).rstrip(". ")[:300]
