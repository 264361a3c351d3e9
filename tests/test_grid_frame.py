"""Grids: CRS, extent, snapping, tiles, the asked area."""

from types import SimpleNamespace

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from covermap.errors import InputError
from covermap.grid.area import area_mask, area_outline, read_area
from covermap.grid.frame import Grid, Tile
from covermap.grid.make_grid import make_grid

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


def box(west, south, east, north, **given):
    return settings(west=west, south=south, east=east, north=north, **given)


def test_auto_takes_the_utm_zone_of_the_extent():
    # 111.6 W lies in UTM zone 12 (114 W to 108 W), EPSG:32612; the southern zones are 327xx.
    assert make_grid(settings(), LOGAN).crs.to_epsg() == 32612
    assert make_grid(box(115.5, -32.5, 116.5, -31.5), LOGAN).crs.to_epsg() == 32750


def test_auto_takes_an_equal_area_crs_when_the_extent_leaves_its_zone():
    grid = make_grid(box(2.0, 50.0, 10.0, 52.0, cell_m=1000.0), LOGAN)
    assert "Lambert Azimuthal Equal Area" in grid.crs_wkt
    x, y = pyproj.Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True).transform(6.0, 51.0)
    assert (x, y) == pytest.approx((0.0, 0.0), abs=1e-3)


@pytest.mark.parametrize("cell_m", [50.0, 100.0, 250.0, 30.0])
def test_origin_is_a_multiple_of_the_cell_and_the_grid_covers_the_extent(cell_m):
    grid = make_grid(settings(cell_m=cell_m), LOGAN)
    assert grid.x_min % cell_m == 0.0
    assert grid.y_max % cell_m == 0.0
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)
    x, y = to_grid.transform([-111.81, -111.46, -111.6], [41.66, 42.11, 41.66])
    assert np.all((np.array(x) >= grid.x_min) & (np.array(x) <= grid.x_min + grid.cols * cell_m))
    assert np.all((np.array(y) <= grid.y_max) & (np.array(y) >= grid.y_max - grid.rows * cell_m))


def test_a_box_with_west_greater_than_east_crosses_the_antimeridian():
    grid = make_grid(box(179.5, -17.5, -179.5, -16.5), LOGAN)
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
        make_grid(asked, LOGAN)


def test_the_coarser_cell_that_is_suggested_fits():
    with pytest.raises(InputError) as refused:
        make_grid(settings(cell_m=1.0), LOGAN)
    suggested = float(str(refused.value).split("cell_m = ")[1].split()[0])
    assert make_grid(settings(cell_m=suggested), LOGAN).cells < 100_000_000


def test_tiles_cover_each_cell_once():
    grid = Grid(pyproj.CRS.from_epsg(32612).to_wkt(), 100.0, 0.0, 0.0, 70, 33)
    seen = np.zeros(grid.shape, dtype=int)
    for tile in grid.tiles(32):
        seen[tile.window] += 1
    assert np.all(seen == 1)


def test_centres_do_not_depend_on_the_tile():
    grid = make_grid(settings(cell_m=500.0), LOGAN)
    whole_lon, whole_lat = grid.centres_lonlat(grid.whole)
    for tile in grid.tiles(32):
        longitude, latitude = grid.centres_lonlat(tile)
        assert np.array_equal(longitude, whole_lon[tile.window])
        assert np.array_equal(latitude, whole_lat[tile.window])


def test_the_cell_at_a_centre_is_that_cell():
    grid = make_grid(settings(cell_m=500.0), LOGAN)
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
    grid = make_grid(asked, LOGAN)
    assert (grid.x_min, grid.y_max, grid.rows, grid.cols) == (450_000.0, 4_650_500.0, 5, 10)
    mask = area_mask(grid, grid.whole, area_outline(grid, read_area(asked)))
    assert not mask[:, 0].any()
    assert mask[:, 1:].all()
    assert np.array_equal(
        area_mask(grid, Tile(1, 0, 2, 3), area_outline(grid, read_area(asked))), mask[1:3, :3]
    )


def test_without_an_area_every_cell_is_asked_for():
    grid = make_grid(settings(cell_m=1000.0), LOGAN)
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
