"""Where readings speak: the hull of their points, a little widened, and the worst of their paths."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyproj
import shapely

from covermap.inputs.calibration import RIDGES_CROSSED

PUBLIC_SQUARE_DEG = 0.01  # of latitude, 1.1 km; of longitude no narrower
WIDENED_M = 1000.0  # judgement: how far beyond the outermost points readings still speak


def hull_lonlat(places_deg: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Return the ring of the widened hull of (latitude, longitude) places, as (longitude, latitude).

    Worked out in an equidistant projection around the middle of the places.
    """
    if not places_deg:
        return ()
    latitude = math.fsum(p[0] for p in places_deg) / len(places_deg)
    longitude = places_deg[0][1]
    local = pyproj.CRS.from_dict({"proj": "aeqd", "lat_0": latitude, "lon_0": longitude, "datum": "WGS84"})
    there = pyproj.Transformer.from_crs("EPSG:4326", local, always_xy=True)
    back = pyproj.Transformer.from_crs(local, "EPSG:4326", always_xy=True)
    points = shapely.MultiPoint([there.transform(lon, lat) for lat, lon in places_deg])
    area = points.convex_hull.buffer(WIDENED_M, quad_segs=4)
    ring = shapely.transform(area, back.transform, interleaved=False).exterior.coords
    return tuple((float(x), float(y)) for x, y in ring)


def public_area_lonlat(places_deg: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Return the ring of all whole squares of about 1.1 km that the hull touches, as (longitude, latitude).

    The squares stand on whole hundredths of a degree, wherever the points lie: no corner tells where in its
    square a point is. The area reaches up to a square beyond the points.
    """
    if not places_deg:
        return ()
    hull = shapely.MultiPoint([(lon, lat) for lat, lon in places_deg]).convex_hull
    middle_deg = round(math.fsum(p[0] for p in places_deg) / len(places_deg))
    wide_deg = PUBLIC_SQUARE_DEG * math.ceil(1.0 / max(math.cos(math.radians(middle_deg)), 0.01))
    west, south, east, north = hull.bounds
    columns = np.arange(math.floor(west / wide_deg), math.floor(east / wide_deg) + 1)
    rows = np.arange(math.floor(south / PUBLIC_SQUARE_DEG), math.floor(north / PUBLIC_SQUARE_DEG) + 1)
    x, y = (side.ravel() for side in np.meshgrid(columns, rows))
    squares = shapely.box(
        x * wide_deg, y * PUBLIC_SQUARE_DEG, (x + 1) * wide_deg, (y + 1) * PUBLIC_SQUARE_DEG
    )
    touched = squares[shapely.intersects(squares, hull)]
    ring = shapely.union_all(touched, grid_size=1e-9).exterior.coords
    return tuple((round(float(lon), 6), round(float(lat), 6)) for lon, lat in ring)


def worst_path(classes: Sequence[str]) -> str:
    """Return the class of the path that crosses most ridges."""
    return max(classes, key=RIDGES_CROSSED.__getitem__)
