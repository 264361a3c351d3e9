"""Radio zones: coastal land is up to 100 m high, within 50 km of the sea (ITU-R P.452-18; from memory)."""

import geopandas
import numpy as np
import pyproj
import pytest
from affine import Affine
from shapely.geometry import LineString, box
from terrain_files import NORTH_M, UTM, WEST_M, land_cover_table, settings, write_raster

from covermap.errors import InputError
from covermap.terrain import read_terrain

TO_WGS84 = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
KM = 1000.0
BIG_CELLS = Affine(KM, 0.0, WEST_M, 0.0, -KM, NORTH_M)  # 100 x 20 cells of 1 km


def zone_at(terrain, east_km, south_km=10.5):
    return int(terrain.zone(*TO_WGS84.transform(WEST_M + east_km * KM, NORTH_M - south_km * KM)))


def write_ground(path, height=50.0):
    return write_raster(path, np.full((20, 100), height, dtype="float32"), transform=BIG_CELLS)


def write_sea(path, west_km, east_km, crs=UTM):
    shape = box(WEST_M + west_km * KM, NORTH_M - 40 * KM, WEST_M + east_km * KM, NORTH_M + 20 * KM)
    geopandas.GeoSeries([shape], crs=UTM).to_crs(crs).to_file(path)
    return path


@pytest.mark.parametrize("crs", [UTM, "EPSG:4326"])
def test_low_land_within_50_km_of_the_sea_is_coastal(tmp_path, crs):
    terrain = read_terrain(
        settings(write_ground(tmp_path / "e.tif"), sea=write_sea(tmp_path / "sea.gpkg", -5, 10, crs))
    )
    assert [zone_at(terrain, east) for east in (5.5, 12.5, 58.5, 62.5, 99.5)] == [1, 3, 3, 4, 4]


def test_land_above_100_m_is_inland_right_at_the_sea(tmp_path):
    sea = write_sea(tmp_path / "sea.gpkg", -5, 10)
    low = read_terrain(settings(write_ground(tmp_path / "low.tif", 99.0), sea=sea))
    high = read_terrain(settings(write_ground(tmp_path / "high.tif", 101.0), sea=sea))
    assert (zone_at(low, 12.5), zone_at(high, 12.5)) == (3, 4)


def test_sea_beyond_the_elevation_still_makes_a_coast(tmp_path):
    sea = write_sea(tmp_path / "sea.gpkg", -60, -30)  # 30 km west of the first cell
    terrain = read_terrain(settings(write_ground(tmp_path / "e.tif"), sea=sea))
    assert [zone_at(terrain, east) for east in (15.5, 25.5)] == [3, 4]


def test_far_sea_leaves_all_inland_and_says_so(tmp_path):
    terrain = read_terrain(
        settings(write_ground(tmp_path / "e.tif"), sea=write_sea(tmp_path / "sea.gpkg", 300, 310))
    )
    assert zone_at(terrain, 5.5) == 4
    assert any("no sea within 50 km" in sentence for sentence in terrain.notes)


def test_zone_along_a_profile_is_that_of_the_points(tmp_path):
    terrain = read_terrain(
        settings(write_ground(tmp_path / "e.tif"), sea=write_sea(tmp_path / "sea.gpkg", -5, 30))
    )
    x = WEST_M + np.linspace(1.0, 97.0, 9) * KM
    knots = [np.asarray(axis)[None] for axis in TO_WGS84.transform(x, np.full(9, NORTH_M - 10.5 * KM))]
    out = np.empty((1, 97)), np.empty((1, 97), dtype=np.float32), np.empty((1, 97), dtype=np.uint8)
    terrain.sample_profiles(*knots, 12, *out)
    # one step a km from 1 km on, every step on a cell's edge: the changes at 30 and 80 km within a cell
    zone = out[2][0]
    assert zone[:28].tolist() == [1] * 28
    assert zone[31:78].tolist() == [3] * 47
    assert zone[81:].tolist() == [4] * 16


def test_water_at_the_edge_is_sea_and_a_lake_is_not(tmp_path):
    heights = np.full((20, 100), 50.0, dtype="float32")
    classes = np.full((20, 100), 2, dtype="uint8")
    classes[:, :10] = 1  # reaches the edge, at 0 m
    heights[:, :10] = 0.0
    classes[8:12, 40:44] = 1  # a lake inside
    classes[:, 95:] = 1  # reaches the edge, at 300 m: a lake cut by it
    heights[:, 95:] = 300.0
    elevation = write_raster(tmp_path / "e.tif", heights, transform=BIG_CELLS)
    cover = write_raster(tmp_path / "c.tif", classes, transform=BIG_CELLS)
    terrain = read_terrain(settings(elevation, land_cover=cover), land_cover_table())
    assert [zone_at(terrain, east) for east in (5.5, 20.5, 42.5, 70.5, 97.5)] == [1, 3, 3, 4, 4]
    assert any("taken from the land cover" in sentence for sentence in terrain.notes)


def test_without_sea_and_land_cover_all_is_inland_and_said_so(tmp_path):
    terrain = read_terrain(settings(write_ground(tmp_path / "e.tif", 0.0)))
    assert zone_at(terrain, 5.5) == 4
    assert any("Neither a sea layer nor land cover" in sentence for sentence in terrain.notes)
    assert any("no sea is known" in sentence for sentence in terrain.warnings)
    assert read_terrain(settings(write_ground(tmp_path / "high.tif", 600.0))).warnings == ()


@pytest.mark.parametrize(("height", "words"), [(48.0, "lies at 48 m"), (-60.0, "lies at -60 m")])
def test_sea_far_from_0_m_is_doubted(tmp_path, height, words):
    sea = write_sea(tmp_path / "sea.gpkg", -5, 60)
    terrain = read_terrain(settings(write_ground(tmp_path / "e.tif", height), sea=sea))
    assert any(words in sentence for sentence in terrain.warnings)


def test_void_sea_is_unknown_with_a_hint(tmp_path):
    heights = np.full((20, 100), 50.0, dtype="float32")
    heights[:, :40] = np.nan
    elevation = write_raster(tmp_path / "e.tif", heights, transform=BIG_CELLS)
    terrain = read_terrain(settings(elevation, sea=write_sea(tmp_path / "sea.gpkg", -5, 40)))
    assert np.isnan(terrain.elevation_m(*TO_WGS84.transform(WEST_M + 5 * KM, NORTH_M - 10 * KM)))
    assert any("void on 100 % of the sea" in sentence for sentence in terrain.warnings)


def test_sea_layer_without_polygons_or_crs_is_refused(tmp_path):
    ground = write_ground(tmp_path / "e.tif")
    line = tmp_path / "line.gpkg"
    geopandas.GeoSeries([LineString([(WEST_M, NORTH_M), (WEST_M, 0.0)])], crs=UTM).to_file(line)
    with pytest.raises(InputError, match="found no polygon among 1 features"):
        read_terrain(settings(ground, sea=line))
    bare = tmp_path / "bare.shp"
    with pytest.warns(UserWarning, match="crs"):
        geopandas.GeoSeries([box(0, 0, 1, 1)]).to_file(bare)
    with pytest.raises(InputError, match="no CRS is declared"):
        read_terrain(settings(ground, sea=bare))
