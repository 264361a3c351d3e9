"""Around which area readings speak: the hull of their points, a little widened."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pyproj
import shapely

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
