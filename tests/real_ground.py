"""A scenario on published elevation of real hills, with invented stations, homes and neighbourhoods."""

import geopandas as gpd
import numpy as np
import rasterio
from reference import reference_path
from shapely.geometry import Point, box

ELEVATION = {
    "logan": "terrain/logan_ut/logan_dem_100m.tif",
    "jacksboro": "terrain/jacksboro_tn/jacksboro_dem_3s.tif",
}
COLUMNS = "station_id,service,mast,latitude_deg,longitude_deg,rf_channel,erp_kw,antenna_height_m,polarization"
STATIONS = """{columns},as_of
ONE,Hill One,Summit,{summit},21,40,60,H,2026-09-01
TWO,Hill Two,Summit,{summit},29,5,60,H,2026-09-01
LOW,Low Local,Corner,{corner},33,1,30,H,2026-09-01
"""
SCENARIO = """name = "Hills"
[grid]
cell_m = 1000
[terrain]
elevation = ["{elevation}"]
[transmitters]
file = "transmitters.csv"
channel_plan = "us_6mhz"
default_system = "atsc1_8vsb"
[wanted.main]
services = ["Hill One", "Hill Two", "Low Local"]
[homes]
file = "homes.gpkg"
count = "homes"
[areas]
neighbourhoods = "wards.gpkg"
neighbourhood_key = "ward"
"""


def write_hills(folder, name):
    """Write the scenario and return its path; every home count is from 1 to 9, most under 5."""
    elevation = reference_path(ELEVATION[name])
    folder.mkdir(parents=True)
    with rasterio.open(elevation) as dataset:
        heights = dataset.read(1)
        row, col = np.unravel_index(heights.argmax(), heights.shape)
        summit = Point(dataset.xy(row, col))
        inside = box(*dataset.bounds).buffer(-0.05 * (dataset.bounds.right - dataset.bounds.left))
        crs = dataset.crs
    west, south, east, north = inside.bounds
    points = gpd.GeoSeries([summit, Point(west, south)], crs=crs).to_crs(4326)
    summit_text, corner_text = (f"{point.y:.6f},{point.x:.6f}" for point in points)
    rng = np.random.default_rng(3)
    places = gpd.points_from_xy(rng.uniform(west, east, 150), rng.uniform(south, north, 150))
    counts = rng.choice([1, 1, 2, 3, 9], 150)
    gpd.GeoDataFrame({"homes": counts}, geometry=places, crs=crs).to_file(folder / "homes.gpkg")
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    wards = [
        box(x, y, x_end, y_end)
        for x, x_end in ((west, middle_x), (middle_x, east))
        for y, y_end in ((south, middle_y), (middle_y, north))
    ]
    gpd.GeoDataFrame({"ward": list("abcd")}, geometry=wards, crs=crs).to_file(folder / "wards.gpkg")
    (folder / "transmitters.csv").write_text(
        STATIONS.format(columns=COLUMNS, summit=summit_text, corner=corner_text), encoding="utf-8"
    )
    (folder / "scenario.toml").write_text(SCENARIO.format(elevation=elevation), encoding="utf-8")
    return folder / "scenario.toml"
