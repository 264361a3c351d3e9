"""A small made-up result folder for tests of what reads results; everything in it is invented."""

import json
from pathlib import Path

import numpy as np
import pyproj

from covermap.constants import RESULT_FORMAT
from covermap.grid.frame import Grid, Tile
from covermap.result.coverage import Coverage, grid_record
from covermap.result.rasters import RasterSet
from covermap.scenario.records import Scenario, Station, WantedList
from covermap.wording.cautions import NOT_COUNTED, cautions

GRID = Grid(pyproj.CRS.from_epsg(32625).to_wkt(), 100.0, 259_000.0, 4_876_000.0, 30, 40)
SERVICES = {"main": ("Alpha", "Beta <b>Bold</b>", "Gamma"), "few": ("Alpha", "Gamma")}
STATIONS = ("alpha-1", "beta-1", "gamma-1")
UNKNOWN_BLOCK = (slice(0, 4), slice(0, 6))  # 24 cells without terrain
WHOLE = Tile(0, 0, GRID.rows, GRID.cols)


def make_arrays(list_name, rng):
    """Return name -> array for one wanted list; tiers follow the chances at 90 %."""
    shape = GRID.shape
    services = SERVICES[list_name]
    ease = np.add.outer(np.linspace(-20, 60, GRID.rows), np.linspace(0, 30, GRID.cols))
    ease = ease + rng.normal(0.0, 6.0, shape)
    chance = np.clip(ease[None] + 14.0 * np.arange(7)[:, None, None], 0, 100).round().astype(np.uint8)
    reached = chance >= 90
    tier = np.where(reached.any(axis=0), reached.argmax(axis=0) + 1, 8).astype(np.uint8)
    service_chance = rng.integers(50, 101, (len(services), *shape)).astype(np.uint8)
    arrays = {
        "tier": tier,
        "tier_chance": chance,
        "dead_zone_chance": np.clip(chance[6].astype(int) + 5, 0, 98).astype(np.uint8),
        "margin": rng.normal(4.0, 8.0, shape).astype(np.float32),
        "stored_margin": rng.normal(4.0, 3.0, shape).astype(np.float32),
        "limiting_service": rng.integers(0, len(services), shape).astype(np.uint8),
        "deciding_service": rng.integers(0, len(services), shape).astype(np.uint8),
        "aim": rng.choice([150, 151, 152, 355, 2], shape).astype(np.int16),
        "service_chance": service_chance,
        "service_chance_one_lower": (service_chance * 0.7).astype(np.uint8),
    }
    for shift, step in (("3db_weaker", -12), ("3db_stronger", 12)):
        moved = np.clip(chance.astype(int) + step, 0, 100) >= 90
        arrays[f"tier_{shift}"] = np.where(moved.any(axis=0), moved.argmax(axis=0) + 1, 8).astype(np.uint8)
        arrays[f"dead_zone_chance_{shift}"] = np.clip(
            arrays["dead_zone_chance"].astype(int) + step, 0, 100
        ).astype(np.uint8)
    for name, array in arrays.items():
        unknown = {"float32": np.nan, "int16": -1}.get(array.dtype.name, 255)
        array[(Ellipsis, *UNKNOWN_BLOCK)] = unknown
        arrays[name] = array
    return arrays


def make_run(grid=GRID, services=SERVICES, stations=STATIONS):
    """Return the run record of the small result."""
    notes = cautions(stations_as_of="2026-09-01", terrain="invented", cell_m=grid.cell_m)
    return {
        "result_format": RESULT_FORMAT,
        "run_id": "0123456789ab",
        "name": "Small <i>Isle</i>",
        "grid": grid_record(grid),
        "wanted": {name: {"services": list(values), "at_least": None} for name, values in services.items()},
        "stations": list(stations),
        "stations_as_of": "2026-09-01",
        "homes": {"year": 2021, "total": None, "features_without_count": 0},
        "confidence_percent": 90,
        "sigma_db": {"total": 6.65, "prediction": 6.0, "location": 2.86},
        "carriers": {
            service: [{"station_id": station, "mast": f"=Mast {index // 2}", "band": band}]
            for index, (service, station, band) in enumerate(
                zip(services["main"], stations, ("uhf", "high_vhf", "uhf"), strict=True)
            )
        },
        "warnings": [],
        "not_counted": list(NOT_COUNTED),
        "cautions": notes,
    }


def write_small_coverage(folder, *, homes=True, tile_cells=16, seed=1, grid=GRID):
    """Write rasters and run.json of a 30 x 40 cell result into folder; return its Coverage.

    grid : another of that shape in place of GRID
    """
    folder = Path(folder)
    rng = np.random.default_rng(seed)
    whole = {}
    for list_name in SERVICES:
        for name, array in make_arrays(list_name, rng).items():
            whole[f"{list_name}/{name}"] = array
    for station in STATIONS:
        whole[f"field/{station}"] = rng.normal(55.0, 12.0, GRID.shape).astype(np.float32)
        whole[f"field/{station}"][UNKNOWN_BLOCK] = np.nan
    whole["ground"] = rng.uniform(0.0, 300.0, GRID.shape).astype(np.float32)
    whole["ground"][UNKNOWN_BLOCK] = np.nan
    whole["flags"] = (rng.random(GRID.shape) < 0.02).astype(np.uint8)
    if homes:
        whole["homes"] = (rng.random(GRID.shape) < 0.4) * rng.integers(1, 30, GRID.shape).astype(np.float32)
    run = make_run(grid)
    with RasterSet(folder, grid, services=SERVICES, tags={"RUN_ID": run["run_id"]}) as rasters:
        for tile in GRID.tiles(tile_cells):
            for name, array in whole.items():
                rasters.write(name, tile, array[(Ellipsis, *tile.window)])
    if homes:
        run["homes"]["total"] = float(whole["homes"].sum())
    else:
        run["homes"] = None
    (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
    return Coverage(folder, run)


def make_scenario(coverage):
    """Return a scenario record to go with the small result: one mast on the grid, one far outside."""
    to_wgs84 = pyproj.Transformer.from_crs(32625, 4326, always_xy=True)

    def station(station_id, service, x):
        longitude_deg, latitude_deg = to_wgs84.transform(x, 4_874_050)
        return Station(
            station_id=station_id, service=service, mast=f"=Mast {x}",
            displayed_channel="5.1", status="on_air",
            latitude_deg=latitude_deg, longitude_deg=longitude_deg, rf_channel=None if x > 300_000 else 21,
            frequency_mhz=515.0, bandwidth_mhz=6.0, band="uhf", erp_kw=50.0, antenna_height_m=100.0,
            ground_m=None, polarization="horizontal", azimuth_pattern=None, elevation_pattern=None,
            electrical_tilt_deg=0.0, mechanical_tilt_deg=0.0, mechanical_tilt_azimuth_deg=0.0,
            system="atsc1_8vsb", required_cn_db=15.2, use="wanted", sfn_group="", sfn_delay_us=0.0,
            as_of="2026-09-01", source="transmitters.csv, line 2",
        )  # fmt: skip

    places = zip(STATIONS, SERVICES["main"], (260_050, 260_050, 330_050), strict=True)
    stations = tuple(station(*place) for place in places)
    wanted = tuple(
        WantedList(name, services, tuple((SERVICES["main"].index(service),) for service in services), None)
        for name, services in SERVICES.items()
    )
    return Scenario(
        path=coverage.folder / "scenario.toml", name=coverage.run["name"], output=coverage.folder,
        settings=None,
        stations=stations, wanted=wanted, warnings=(), left_out={},
    )  # fmt: skip
