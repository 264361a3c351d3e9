"""The small made-up result with a scenario around it, for the tests of the web map; all of it is invented."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import rasterio
import shapely
from small_coverage import GRID, write_small_coverage

from covermap.reports.web_map import Place, write_map
from covermap.reports.web_map.page_answers import PageAnswers
from covermap.result.raster_catalogue import LAYERS
from covermap.scenario.records import Scenario, Station, WantedList

AS_OF = "2026-09-01"
MAST_CELLS = {"Long <i>Rigg</i>": (-60, 20), "Crown {{ 7 * 7 }}": (12, 90)}  # row, col; outside the grid


def place_of_cell(row, col, grid=GRID):
    """Return longitude and latitude of a cell's centre (or of a place as many cells off the grid)."""
    to_wgs84 = pyproj.Transformer.from_crs(grid.crs, "EPSG:4326", always_xy=True)
    return to_wgs84.transform(grid.x_min + (col + 0.5) * 100.0, grid.y_max - (row + 0.5) * 100.0)


def make_station(station_id, service, mast, rf_channel, grid=GRID):
    longitude_deg, latitude_deg = place_of_cell(*MAST_CELLS[mast], grid)
    return Station(
        station_id=station_id,
        service=service,
        mast=mast,
        displayed_channel="4.1",
        status="on_air",
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        rf_channel=rf_channel,
        frequency_mhz=473.0,
        bandwidth_mhz=6.0,
        band="uhf",
        erp_kw=100.0,
        antenna_height_m=60.0,
        ground_m=None,
        polarization="horizontal",
        azimuth_pattern=None,
        elevation_pattern=None,
        electrical_tilt_deg=0.0,
        mechanical_tilt_deg=0.0,
        mechanical_tilt_azimuth_deg=0.0,
        system="atsc1_8vsb",
        required_cn_db=15.2,
        use="wanted",
        sfn_group="",
        sfn_delay_us=0.0,
        as_of=AS_OF,
        source="transmitters.csv, line 2",
    )


def make_scenario(grid=GRID):
    near, far = MAST_CELLS
    stations = (
        make_station("alpha-1", "Alpha", near, 14, grid),
        make_station("beta-1", "Beta <b>Bold</b>", near, 15, grid),
        make_station("gamma-1", "Gamma", far, 16, grid),
    )
    wanted = (
        WantedList("main", ("Alpha", "Beta <b>Bold</b>", "Gamma"), ((0,), (1,), (2,)), None),
        WantedList("few", ("Alpha", "Gamma"), ((0,), (2,)), None),
    )
    return Scenario(Path("scenario.toml"), "Small <i>Isle</i>", Path("out"), None, stations, wanted, (), {})


def write_page(folder, *, homes=True, optional=False, grid=GRID, alone=None, antennas=None, **more):
    """Write the small result and its map.html into folder; return (coverage, path of the page).

    optional : with the rasters that a result may hold beside the others
    grid : another of the same shape in place of GRID
    alone, antennas : of PageAnswers. more : further arguments of write_map()
    """
    coverage = write_small_coverage(folder, homes=homes, grid=grid)
    if optional:
        write_optional_rasters(coverage)
    path = Path(folder) / "map.html"
    relief = np.full(grid.shape, 226, dtype=np.uint8)
    places = [Place("Near & Far", *place_of_cell(20, 20, grid))]
    more["answers"] = lambda: PageAnswers(alone, antennas)
    write_map(coverage, make_scenario(grid), relief, None, path, places=places, **more)
    return coverage, path


CAUSES = ("ridges", "distance", "noise", "same_channel")


def write_optional_rasters(coverage):
    """Write what only some results hold, for list main: the same values in every known cell by column."""
    column = np.broadcast_to(np.arange(GRID.cols), GRID.shape)
    write_raster(coverage, "main/second_aim", np.where(column < 20, 210, -1).astype(np.int16), -1)
    cause = (column % len(CAUSES)).astype(np.uint8)
    write_raster(coverage, "main/main_cause", cause, 255, CAUSES="|".join(CAUSES))
    interferer = np.full(GRID.shape, 2, np.int16)
    write_raster(coverage, "main/interferer", interferer, -1, STATIONS="alpha-1|beta-1|gamma-1")
    write_raster(coverage, "main/amplifier", (1 + column % 3).astype(np.uint8), 255)
    causes = np.stack([np.full(GRID.shape, cause, np.uint8) for cause in (0, 255, 2)])
    if "service_cause" in LAYERS:
        write_raster(coverage, "main/service_cause", causes, 255, CAUSES="|".join(CAUSES))
    tier = coverage.read("main/tier").astype(int)
    without = np.where(tier == 255, 255, np.where(column < 20, tier, np.maximum(tier - 2, 1)))
    write_raster(coverage, "main/tier_without_deciding", without.astype(np.uint8), 255)
    looked_at = (column % 2 == 0) & (tier != 255)  # where homes are: every second column
    in_leaf = np.where(looked_at, np.minimum(tier + (column % 4 == 0), 8), 255)
    write_raster(coverage, "main/tier_in_leaf", in_leaf.astype(np.uint8), 255)
    doubt = np.where(looked_at, np.where(column < 20, 2, 1), 255)
    write_raster(coverage, "main/tier_cover_doubt", doubt.astype(np.uint8), 255)


def write_raster(coverage, name, values, nodata, **tags):
    with rasterio.open(coverage.path("main/tier")) as like:
        profile = {"crs": like.crs, "transform": like.transform, "driver": "GTiff"}
    bands = values if values.ndim == 3 else values[np.newaxis]
    count, rows, cols = bands.shape
    profile |= {"width": cols, "height": rows, "count": count, "dtype": values.dtype, "nodata": nodata}
    with rasterio.open(coverage.path(name), "w", **profile) as raster:
        raster.write(bands)
        raster.update_tags(**tags)


def make_areas():
    """Return three invented neighbourhoods of list main side by side, west to east, and one of list few."""
    rows = [
        ("a", "Wester <b>Ward</b>", 0, 12, 120.0, 0.0, 80.0, 3.0, 1.0, 8.0, 5, 8, "Gamma", 150),
        ("b", "Middle", 12, 24, 40.0, 2.0, 10.0, 0.0, 0.0, 0.0, 2, 5, "Alpha", 151),
        ("c", "Easter", 24, 40, 900.0, 0.0, None, None, None, None, 3, 6, None, None),
    ]
    names = (
        "neighbourhood_id", "neighbourhood_name", "west", "east", "homes_total", "homes_unknown",
        "homes_rooftop_or_more", "homes_without", "homes_without_low", "homes_without_high",
        "tier_half_of_homes", "tier_ninety_percent_of_homes", "deciding_service", "aim_deg_true",
    )  # fmt: skip
    table = pd.DataFrame(rows, columns=names)
    y_min, y_max = GRID.y_max - GRID.rows * GRID.cell_m, GRID.y_max
    outlines = [
        shapely.box(GRID.x_min + west * GRID.cell_m, y_min, GRID.x_min + east * GRID.cell_m, y_max)
        for west, east in zip(table["west"], table["east"], strict=True)
    ]
    table = table.drop(columns=["west", "east"])
    for tier in range(1, 9):
        table[f"homes_tier_{tier}"] = table["homes_total"] / 8
    both = [table.assign(wanted_list="main"), table.iloc[:1].assign(wanted_list="few")]
    return gpd.GeoDataFrame(pd.concat(both), geometry=[*outlines, outlines[0]], crs=GRID.crs)


def make_zones():
    """Return an invented doubtful zone and a dead one of list main, in the order of most homes."""
    corner = shapely.box(GRID.x_min, GRID.y_max - 3000, GRID.x_min + 400, GRID.y_max - 2600)
    middle = shapely.box(GRID.x_min + 2000, GRID.y_max - 1500, GRID.x_min + 2300, GRID.y_max - 1200)
    table = pd.DataFrame(
        {
            "wanted_list": ["main", "main"],
            "kind": ["doubtful", "dead"],
            "homes": [44.0, 3.0],
            "near_name": ["Near & Far", "<i>Nowhere</i>"],
        }
    )
    return gpd.GeoDataFrame(table, geometry=[corner, middle], crs=GRID.crs)
