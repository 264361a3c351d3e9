"""The small made-up result with a scenario around it, for the tests of the web map; all of it is invented."""

from pathlib import Path

import numpy as np
import pyproj
from small_coverage import GRID, write_small_coverage

from covermap.outputs.web_map import Place, write_map
from covermap.scenario.records import Scenario, Station, WantedList

AS_OF = "2026-09-01"
MAST_CELLS = {"Long <i>Rigg</i>": (-60, 20), "Crown {{ 7 * 7 }}": (12, 90)}  # row, col; outside the grid


def place_of_cell(row, col):
    """Return longitude and latitude of a cell's centre (or of a place as many cells off the grid)."""
    to_wgs84 = pyproj.Transformer.from_crs(GRID.crs, "EPSG:4326", always_xy=True)
    return to_wgs84.transform(GRID.x_min + (col + 0.5) * 100.0, GRID.y_max - (row + 0.5) * 100.0)


def make_station(station_id, service, mast, rf_channel):
    longitude_deg, latitude_deg = place_of_cell(*MAST_CELLS[mast])
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


def make_scenario():
    near, far = MAST_CELLS
    stations = (
        make_station("alpha-1", "Alpha", near, 14),
        make_station("beta-1", "Beta <b>Bold</b>", near, 15),
        make_station("gamma-1", "Gamma", far, 16),
    )
    wanted = (
        WantedList("main", ("Alpha", "Beta <b>Bold</b>", "Gamma"), ((0,), (1,), (2,)), None),
        WantedList("few", ("Alpha", "Gamma"), ((0,), (2,)), None),
    )
    return Scenario(Path("scenario.toml"), "Small <i>Isle</i>", Path("out"), None, stations, wanted, (), {})


def write_page(folder, *, homes=True):
    """Write the small result and its map.html into folder; return (coverage, path of the page)."""
    coverage = write_small_coverage(folder, homes=homes)
    path = Path(folder) / "map.html"
    relief = np.full(GRID.shape, 226, dtype=np.uint8)
    write_map(
        coverage, make_scenario(), relief, None, path, places=[Place("Near & Far", *place_of_cell(20, 20))]
    )
    return coverage, path
