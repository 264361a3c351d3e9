"""Ridges ranked by homes: a wall between mast and village takes the village's homes."""

from types import SimpleNamespace

import numpy as np
import pyproj
import pytest
from small_coverage import GRID, WHOLE, write_small_coverage

from covermap.planning.shading import shading_ridges
from covermap.result.coverage import Coverage
from covermap.result.rasters import RasterSet

TO_GRID = pyproj.Transformer.from_crs("EPSG:4326", GRID.crs, always_xy=True)
WALL_X = GRID.x_min + 2000.0  # a wall 200 m high and 200 m thick from north to south


class WalledTerrain:
    """Flat land with one wall."""

    def elevation_m(self, longitude_deg, latitude_deg):
        x, _ = TO_GRID.transform(longitude_deg, latitude_deg)
        return np.where(np.abs(np.asarray(x) - WALL_X) < 100.0, 200.0, 0.0)

    ground_m = path_ground_m = elevation_m

    def clutter_height_m(self, longitude_deg, latitude_deg):
        return np.zeros(np.shape(longitude_deg), dtype=np.float32)

    def zone(self, longitude_deg, latitude_deg):
        return np.full(np.shape(longitude_deg), 4, dtype=np.uint8)


def station(station_id, x, y):
    longitude, latitude = TO_GRID.transform(x, y, direction="INVERSE")
    return SimpleNamespace(
        station_id=station_id, longitude_deg=longitude, latitude_deg=latitude, frequency_mhz=500.0,
        antenna_height_m=50.0,
    )  # fmt: skip


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shading")
    run = write_small_coverage(folder).run
    tier, homes = np.full(GRID.shape, 3, np.uint8), np.zeros(GRID.shape, np.float32)
    homes[10, 35], homes[12, 36], homes[10, 10] = 30, 12, 50  # two places behind the wall, one before it
    tier[homes > 0] = 7
    with RasterSet(
        folder / "other", GRID, services={"main": ("Alpha", "Beta <b>Bold</b>", "Gamma")}
    ) as rasters:
        rasters.write("homes", WHOLE, homes)
        rasters.write("main/tier", WHOLE, tier)
        rasters.write("main/deciding_service", WHOLE, np.zeros(GRID.shape, np.uint8))
    mast = station("alpha-1", GRID.x_min + 250.0, GRID.y_max - 1050.0)
    return shading_ridges(Coverage(folder / "other", run), [mast], WalledTerrain(), "main")


def test_the_wall_shades_the_homes_behind_it_and_not_those_before(found):
    assert found.homes_shaded.tolist() == [42.0]  # 30 + 12, by hand
    assert found.service.tolist() == ["Alpha"]
    assert abs(found.geometry.iloc[0].x - WALL_X) <= 110.0
    # mast 50 m, roof 10 m, wall nearly half way: the line is 28 m or a little more above the ground there
    assert 155.0 < found.above_line_m.iloc[0] < 180.0


def test_columns_are_the_promised_ones(found):
    assert [*found.columns] == [
        "ridge_id", "wanted_list", "station_id", "service", "above_line_m", "homes_shaded", "geometry"
    ]  # fmt: skip
