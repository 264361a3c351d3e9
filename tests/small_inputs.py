"""A small scenario with every kind of input, complete enough for `check`; everything in it is invented."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine
from scenario_files import station_csv, write_scenario

# 40 x 40 cells of 500 m in UTM 25N, in open ocean; the mast of scenario_files.ROWS[0] stands at its middle
GRID = 'cell_m = 500\ncrs = "EPSG:32625"\n'
CRS, CELL_M, CELLS = "EPSG:32625", 500.0, 40
WEST, NORTH = 241_500.0, 4_896_500.0
STATIONS = station_csv(
    "ONE,First TV,North Mast,5.1,on_air,44.10,-36.10,21,40,120,H,atsc1_8vsb,wanted,2026-09-01"
)
EXTRA = """
[homes]
file = "homes.gpkg"
count = "homes"
[areas]
neighbourhoods = "wards.gpkg"
neighbourhood_key = "code"
neighbourhood_name = "name"
places = "places.gpkg"
depot = [-36.1, 44.1]
radius_km = 3
[business]
prices = "prices.csv"
"""
PRICES = "item,price_each,hours_each\nantenna_tier_5,80,2\nmast,60,1\n"


def square(col, row, cells=1.0):
    """Return a square of whole cells, its upper left corner at (col, row)."""
    west, north = WEST + col * CELL_M, NORTH - row * CELL_M
    return shapely.box(west, north - cells * CELL_M, west + cells * CELL_M, north)


def bow_tie():
    """Return a polygon whose ring crosses itself: a repair changes its area."""
    return shapely.Polygon(
        [(WEST, NORTH), (WEST + 2000, NORTH), (WEST + 300, NORTH - 2000), (WEST + 1500, NORTH - 2000)]
    )


def write_layer(path, shapes, crs=CRS, **columns):
    """Write a vector layer in place of what is there; geometries may be None."""
    Path(path).unlink(missing_ok=True)
    gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs).to_file(path)
    return path


def write_raster(path, values, crs=CRS, transform=None, **profile):
    """Write one band, by default over the whole area."""
    values = np.asarray(values)
    with rasterio.open(
        path, "w", driver="GTiff", count=1, height=values.shape[0], width=values.shape[1], dtype=values.dtype,
        crs=crs, transform=transform or Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH), **profile,
    ) as dataset:  # fmt: skip
        dataset.write(values, 1)
    return path


def write_inputs(folder, **changes):
    """Write the scenario and all its files into a folder; return the path of scenario.toml.

    changes : as of write_scenario()
    """
    folder = Path(folder)
    changes = {"grid": GRID, "stations": STATIONS, "extra": EXTRA} | changes
    path = write_scenario(folder, wanted='[wanted.main]\nservices = ["First TV"]\n', **changes)
    rows, cols = np.mgrid[0:CELLS, 0:CELLS]
    write_raster(folder / "elevation.tif", (20.0 + rows + cols).astype(np.float32))
    write_layer(folder / "homes.gpkg", [square(5, 5), square(20, 20, 2)], homes=[30.0, 70.0])
    write_layer(
        folder / "wards.gpkg", [square(0, 0, 15), square(15, 15, 20)], code=["a", "b"], name=["A", "B"]
    )
    write_layer(folder / "places.gpkg", [square(5, 5).centroid, square(20, 20).centroid], name=["Ay", "Bee"])
    (folder / "prices.csv").write_text(PRICES)
    return path
