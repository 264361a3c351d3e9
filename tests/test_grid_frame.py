"""Grids: CRS, extent, snapping, tiles, the asked area."""

from types import SimpleNamespace

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine

from covermap.errors import InputError
from covermap.grid.area import area_mask, area_outline, read_area
from covermap.grid.frame import Grid, Tile
from covermap.grid.make_grid import LIMIT_CELLS, lay_grid, make_grid
from covermap.scenario.vector_file import read_vector_file
from covermap.terrain.layer import RasterLayer
from covermap.terrain.terrain import Terrain

LOGAN = (-111.81, 41.66, -111.46, 42.11)


def settings(**given):
    keys = {
        "cell_m": 100.0,
        "crs": "auto",
        "area": None,
        "west": None,
        "south": None,
        "east": None,
        "north": None,
    }
    return SimpleNamespace(**{**keys, **given})


def grid_of(asked, *elevation):
    return make_grid(asked, read_area(asked), *elevation)


def box(west, south, east, north, **given):
    return settings(west=west, south=south, east=east, north=north, **given)


def test_auto_takes_the_utm_zone_of_the_extent():
    # 111.6 W lies in UTM zone 12 (114 W to 108 W), EPSG:32612; the southern zones are 327xx.
    assert grid_of(settings(), LOGAN).crs.to_epsg() == 32612
    assert grid_of(box(115.5, -32.5, 116.5, -31.5), LOGAN).crs.to_epsg() == 32750


def test_auto_takes_an_equal_area_crs_when_the_extent_leaves_its_zone():
    grid = grid_of(box(2.0, 50.0, 10.0, 52.0, cell_m=1000.0), LOGAN)
    assert "Lambert Azimuthal Equal Area" in grid.crs_wkt
    x, y = pyproj.Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True).transform(6.0, 51.0)
    assert (x, y) == pytest.approx((0.0, 0.0), abs=1e-3)


@pytest.mark.parametrize("cell_m", [50.0, 100.0, 250.0, 30.0])
def test_origin_is_a_multiple_of_the_cell_and_the_grid_covers_the_extent(cell_m):
    grid = grid_of(settings(cell_m=cell_m), LOGAN)
    assert grid.x_min % cell_m == 0.0
    assert grid.y_max % cell_m == 0.0
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)
    x, y = to_grid.transform([-111.81, -111.46, -111.6], [41.66, 42.11, 41.66])
    assert np.all((np.array(x) >= grid.x_min) & (np.array(x) <= grid.x_min + grid.cols * cell_m))
    assert np.all((np.array(y) <= grid.y_max) & (np.array(y) >= grid.y_max - grid.rows * cell_m))


def test_a_box_with_west_greater_than_east_crosses_the_antimeridian():
    grid = grid_of(box(179.5, -17.5, -179.5, -16.5), LOGAN)
    # One degree at 17 S is 106 km wide: 111.32 cos(17 deg) = 106.5.
    assert 1060 <= grid.cols <= 1075
    longitude, _ = grid.centres_lonlat(Tile(500, 0, 1, grid.cols))
    assert longitude[0, 2] > 179.0
    assert longitude[0, -3] < -179.0


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (box(10.0, 80.0, 11.0, 86.0), "latitude 86"),
        (box(10.0, -86.0, 11.0, -80.0), "latitude -86"),
        (box(10.0, 50.0, 11.0, 49.0), "south < north"),
        (settings(west=10.0, south=50.0), "2 of west"),
        (settings(crs="EPSG:4326"), "degree"),
        (settings(crs="EPSG:99999999"), "99999999"),
        (settings(crs="EPSG:2263"), "foot"),
        (settings(cell_m=1.0), "cell_m = "),
    ],
)
def test_impossible_grids_are_refused_with_the_value(asked, words):
    with pytest.raises(InputError, match=words):
        grid_of(asked, LOGAN)


def test_the_coarser_cell_that_is_suggested_fits():
    with pytest.raises(InputError) as refused:
        grid_of(settings(cell_m=1.0), LOGAN)
    suggested = float(str(refused.value).split("cell_m = ")[1].split()[0])
    assert grid_of(settings(cell_m=suggested), LOGAN).cells < LIMIT_CELLS


def test_tiles_cover_each_cell_once():
    grid = Grid(pyproj.CRS.from_epsg(32612).to_wkt(), 100.0, 0.0, 0.0, 70, 33)
    seen = np.zeros(grid.shape, dtype=int)
    for tile in grid.tiles(32):
        seen[tile.window] += 1
    assert np.all(seen == 1)


def test_centres_do_not_depend_on_the_tile():
    grid = grid_of(settings(cell_m=500.0), LOGAN)
    whole_lon, whole_lat = grid.centres_lonlat(grid.whole)
    for tile in grid.tiles(32):
        longitude, latitude = grid.centres_lonlat(tile)
        assert np.array_equal(longitude, whole_lon[tile.window])
        assert np.array_equal(latitude, whole_lat[tile.window])


def test_the_cell_at_a_centre_is_that_cell():
    grid = grid_of(settings(cell_m=500.0), LOGAN)
    longitude, latitude = grid.centres_lonlat(Tile(7, 12, 1, 1))
    assert grid.cell_at(latitude[0, 0], longitude[0, 0]) == (7, 12)
    assert grid.cell_at(0.0, 0.0) is None


def write_area(folder, shapes, crs="EPSG:32612"):
    path = folder / "area.gpkg"
    geopandas.GeoSeries(shapes, crs=crs).to_file(path)
    return path


def test_area_gives_the_extent_and_marks_cells_by_their_centre(tmp_path):
    # 1000 m by 500 m, whose western edge runs 10 m beyond the first column's centres
    path = write_area(tmp_path, [shapely.box(450_060.0, 4_650_000.0, 451_000.0, 4_650_500.0)])
    asked = settings(area=path, crs="EPSG:32612")
    grid = grid_of(asked, LOGAN)
    assert (grid.x_min, grid.y_max, grid.rows, grid.cols) == (450_000.0, 4_650_500.0, 5, 10)
    mask = area_mask(grid, grid.whole, area_outline(grid, read_area(asked)))
    assert not mask[:, 0].any()
    assert mask[:, 1:].all()
    assert np.array_equal(
        area_mask(grid, Tile(1, 0, 2, 3), area_outline(grid, read_area(asked))), mask[1:3, :3]
    )


def test_without_an_area_every_cell_is_asked_for():
    grid = grid_of(settings(cell_m=1000.0), LOGAN)
    assert read_area(settings()) is None
    assert area_mask(grid, grid.whole, None).all()


def test_area_of_points_or_without_crs_is_refused(tmp_path):
    points = write_area(tmp_path, [shapely.Point(0.0, 0.0)])
    with pytest.raises(InputError, match="Point"):
        read_area(settings(area=points))
    with pytest.raises(InputError, match="not readable"):
        read_area(settings(area=tmp_path / "missing.gpkg"))
    bare = tmp_path / "bare.shp"
    geopandas.GeoSeries([shapely.box(0.0, 0.0, 1.0, 1.0)]).to_file(bare)
    with pytest.raises(InputError, match="no CRS is declared"):
        read_area(settings(area=bare))


@pytest.mark.parametrize(
    ("crs", "area", "measured"),
    [
        # Mercator stretches by 1 / cos(latitude): 1 / cos 42 = 1.346, so 500 m are 372 m; the ellipsoid: 373
        ("EPSG:3857", LOGAN, "a square of 500 m measures 37"),
        # UTM zone 31 is centred on 3 E; 25 degrees off it the scale is about 1.07 at 42 N
        ("EPSG:32631", (27.5, 41.0, 28.0, 42.0), "a square of 500 m measures 4[67]"),
    ],
)
def test_a_crs_that_stretches_squares_is_refused(crs, area, measured):
    with pytest.raises(InputError, match=measured):
        grid_of(box(*area, crs=crs, cell_m=500.0), LOGAN)


@pytest.mark.parametrize("crs", ["EPSG:32612", "EPSG:32613", "EPSG:3035", "auto"])
def test_a_crs_made_for_the_area_is_taken(crs):
    area = (9.5, 51.5, 10.5, 52.5) if crs == "EPSG:3035" else LOGAN
    assert grid_of(box(*area, crs=crs, cell_m=500.0), LOGAN).cells > 1000


def raster_layer(crs, west, north, cell, rows, cols):
    array = np.zeros((rows, cols), dtype=np.float32)
    return RasterLayer(
        "elevation.tif", array, Affine(cell, 0, west, 0, -cell, north), pyproj.CRS(crs).to_wkt()
    )


def test_a_projected_elevation_across_180_degrees_gets_a_grid_centred_on_itself():
    # UTM zone 60 ends at 180 degrees, 3 degrees or 334 km east of its meridian at the equator (x 833 979 m)
    layer = raster_layer("EPSG:32660", 800_000.0, 1_000_000.0, 500.0, 200, 200)
    terrain = Terrain((layer,))
    west, _, east, _ = terrain.bounds_deg
    assert west > 179.0
    assert east < -179.0
    grid, outline = lay_grid(settings(cell_m=500.0), terrain)
    assert (grid.rows, grid.cols) == pytest.approx((200, 200), abs=6)
    corners = grid.corners_lonlat()[0]
    assert np.all(np.abs(np.abs(corners) - 180.0) < 1.0)
    assert outline.area == pytest.approx(100_000.0**2, rel=0.01)


def test_the_file_of_the_area_is_opened_once(tmp_path, monkeypatch):
    file = tmp_path / "area.gpkg"
    geopandas.GeoSeries([shapely.box(-111.0, 42.2, -110.0, 43.0)], crs="EPSG:4326").to_file(file)
    opened = []

    def read(path, *arguments, **named):
        opened.append(path)
        return read_vector_file(path, *arguments, **named)

    monkeypatch.setattr("covermap.grid.area.read_vector_file", read)
    layer = raster_layer("EPSG:4326", -111.5, 43.5, 0.01, 200, 200)
    grid, outline = lay_grid(settings(cell_m=1000.0, area=file), Terrain((layer,)))
    assert opened == [file]
    assert 0.9 < outline.area / (grid.cells * grid.cell_m**2) <= 1.0


def outside_of(asked, layer):
    terrain = Terrain((layer,))
    grid, outline = lay_grid(asked, terrain)
    inside = area_mask(grid, grid.whole, outline)
    known = terrain.covers(*grid.centres_lonlat(grid.whole))
    return grid, inside, known


@pytest.mark.parametrize("turn", [0.0, 360.0])
def test_squares_beyond_a_slanted_edge_are_outside_the_map_not_unknown(turn):
    layer = raster_layer("EPSG:4326", -111.0 + turn, 43.0, 0.01, 100, 200)
    _, inside, known = outside_of(settings(cell_m=1000.0), layer)
    assert 0.01 < 1.0 - inside.mean() < 0.2
    assert (inside == known).mean() > 0.999  # squares whose middle the elevation covers are those of the map
    assert not (inside & ~known).any() or (inside & ~known).sum() < 3


def test_squares_asked_for_beyond_the_elevation_stay_unknown():
    layer = raster_layer("EPSG:4326", -111.0, 43.0, 0.01, 100, 200)
    _, inside, known = outside_of(box(-111.0, 42.0, -108.5, 43.0, cell_m=1000.0), layer)
    assert 0.15 < (inside & ~known).mean() < 0.25  # half a degree of two and a half has no elevation
    assert (known & ~inside).sum() == 0


def test_every_square_of_a_projected_elevation_is_of_the_map():
    layer = raster_layer("EPSG:32612", 450_000.0, 4_650_000.0, 100.0, 50, 50)
    terrain = Terrain((layer,))
    asked = settings(crs="EPSG:32612")
    assert lay_grid(asked, terrain)[1] is None
