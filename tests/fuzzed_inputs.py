"""A scenario with every kind of input file, and the judge of what `check` may do with a damaged one."""

import time

import numpy as np
from small_inputs import CELLS, EXTRA, GRID, square, write_inputs, write_layer, write_raster

from covermap.errors import CovermapError
from covermap.inputs.calibration import Calibration, calibration_toml
from covermap.jobs.check import check
from covermap.scenario import read_scenario
from covermap.tables import table_text

MOST_S = 20.0  # of the processor, for one check
MORE = """
[prediction]
calibration = "calibration.toml"
[reception]
antenna_tiers = "tiers.csv"
antennas = "antennas.csv"
prediction_spread = "prediction_spread.csv"
[map]
context = [{ file = "roads.gpkg", draw = "boundary" }]
customers = "customers.csv"
"""
HEIGHTS = 'clutter_height = "clutter_height.tif"\n'
CANOPY = 'kind = "with_canopy"\nbare_earth = ["bare_earth.tif"]\n'
TERRAIN = (
    'elevation = ["elevation.tif"]\nland_cover = "land_cover.tif"\nland_cover_table = "land_cover.csv"\n'
    + HEIGHTS
)
PATTERNS = "pattern,plane,angle_deg,relative_field\n" + "".join(
    f"P,azimuth,{n},1\n" for n in range(0, 360, 10)
)


def write_everything(folder):
    """Write a scenario that reads every kind of file; return its path."""
    path = write_inputs(
        folder,
        grid=GRID + 'area = "area.gpkg"\n',
        terrain=TERRAIN + 'sea = "sea.gpkg"\n',
        patterns=PATTERNS,
        extra=EXTRA.replace('count = "homes"', 'count = "homes"\nbuilding = "built"') + MORE,
    )
    built = ["traditional", "thermally_efficient"]
    write_layer(folder / "homes.gpkg", [square(5, 5), square(20, 20, 2)], homes=[30.0, 70.0], built=built)
    rows, cols = np.mgrid[0:CELLS, 0:CELLS]
    write_raster(folder / "clutter_height.tif", (rows + cols).astype(np.float32) / 4.0)
    write_raster(folder / "bare_earth.tif", (10.0 + rows + cols).astype(np.float32))
    write_layer(folder / "area.gpkg", [square(2, 2, 30)])
    write_layer(folder / "sea.gpkg", [square(0, 0, 4)], name=["sea"])
    write_layer(folder / "roads.gpkg", [square(3, 3, 9)], name=["ring"])
    (folder / "customers.csv").write_text("name,latitude_deg,longitude_deg\nAy,44.1,-36.1\n")
    write_raster(folder / "land_cover.tif", np.full((CELLS, CELLS), 3, dtype=np.uint8))
    for name in ("tiers", "prediction_spread", "antennas", "antenna_gains", "devices"):
        (folder / f"{name}.csv").write_text(table_text(name))
    (folder / "land_cover.csv").write_text(table_text("land_cover"))
    calibration = Calibration("calibration.toml", "readings.csv", "2026-09-01", 0, 0.0, 0.0, "", ())
    (folder / "calibration.toml").write_text(calibration_toml(calibration))
    (folder / "homes.csv").write_text(
        "latitude_deg,longitude_deg,homes,built\n44.1,-36.1,4,traditional\n44.11,-36.1,5,thermally_efficient\n"
    )
    return path


def vary(folder, *, of_table, of_canopy):
    """Let a scenario read homes from a table, or heights from an elevation with tops over bare earth."""
    scenario = folder / "scenario.toml"
    text = scenario.read_text()
    if of_table:
        text = text.replace("homes.gpkg", "homes.csv")
    if of_canopy:
        text = text.replace(HEIGHTS, CANOPY)
    scenario.write_text(text)


def judge(path):
    """Check a scenario; return what was said, '' where it passed.

    Any error but one of ours, one without words, and one that took long, fails.
    """
    started = time.process_time()
    said = ""
    try:
        check(read_scenario(path), store=path.parent / "store").in_words()
    except CovermapError as error:
        said = str(error)
        assert said.strip(), "an error without words"
        assert "np." not in said, said
        assert "Traceback" not in said, said
    assert time.process_time() - started < MOST_S, "took too long"
    return said
