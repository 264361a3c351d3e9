"""Small rasters and settings that the terrain tests write for themselves."""

from types import SimpleNamespace

import numpy as np
import rasterio
from affine import Affine

UTM = "EPSG:32631"  # WGS 84 / UTM 31N, central meridian 3 E
WEST_M, NORTH_M = 500_000.0, 5_000_000.0  # on the central meridian, near 45.15 N


def write_raster(path, array, crs=UTM, transform=None, nodata=None, unit=None, **profile):
    """Write one band (or several, from a 3-D array) as GeoTIFF; by default 100 m cells in UTM."""
    array = np.asarray(array)
    bands = array if array.ndim == 3 else array[None]
    transform = Affine(100.0, 0.0, WEST_M, 0.0, -100.0, NORTH_M) if transform is None else transform
    with rasterio.open(
        path, "w", driver="GTiff", count=bands.shape[0], height=bands.shape[1], width=bands.shape[2],
        dtype=bands.dtype, crs=crs, transform=transform, nodata=nodata, **profile,
    ) as dataset:  # fmt: skip
        dataset.write(bands)
        if unit is not None:
            dataset.units = (unit,) * bands.shape[0]
    return path


def settings(*elevation, **terrain):
    """Return settings as the scenario holds them, with only [terrain]."""
    values = {
        "elevation_unit": None,
        "kind": "bare_earth",
        "bare_earth": [],
        "land_cover": None,
        "land_cover_table": None,
        "clutter_height": None,
        "sea": None,
    }
    return SimpleNamespace(terrain=SimpleNamespace(elevation=list(elevation), **{**values, **terrain}))


def land_cover_table():
    """Return a table: 1 water (with a height that must not count), 2 open, 3 trees of 15 m."""
    return SimpleNamespace(
        class_code=np.array([1, 2, 3]),
        category=("water", "open", "trees"),
        clutter_height_m=np.array([4.0, 0.0, 15.0]),
        open_land=np.array([True, True, False]),
        water=np.array([True, False, False]),
        built_up=np.array([False, False, False]),
        environment=np.array([2, 2, 2], dtype=np.uint8),
    )
