"""A map across 180 degrees is the same as one in the next UTM zone, six degrees farther west."""

import folium
import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from small_coverage import GRID, write_small_coverage
from web_map_case import make_scenario

from covermap.gis_layers.geopackage import write_geopackage
from covermap.grid.frame import Grid
from covermap.grid.make_grid import make_grid
from covermap.grid.one_piece import crosses_180
from covermap.planning.context import Context
from covermap.reports.web_map.context import _in_pixels
from covermap.reports.web_map.page_grid import page_grid
from covermap.result.exports import write_pmtiles
from covermap.result.own_map import own_map, tier_picture, tier_place
from covermap.result.transmitters import transmitters_layer
from covermap.scenario.settings import GridSettings

ZONE_DEG, WORLD_M = 6.0, 2.0 * np.pi * 6378137.0
LATITUDE_DEG = -17.0


def grid_of(zone):
    """Return a grid of 4 x 3 km, three degrees east of the meridian of a southern UTM zone: of 60, on 180."""
    crs = pyproj.CRS.from_epsg(32700 + zone)
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(6.0 * zone - 180.0, LATITUDE_DEG)
    return Grid(crs.to_wkt(), 100.0, round(x, -2) - 2000.0, round(y, -2) + 1500.0, *GRID.shape)


ACROSS, BESIDE = grid_of(60), grid_of(59)


def test_only_one_of_the_two_crosses():
    assert (crosses_180(ACROSS), crosses_180(BESIDE), crosses_180(GRID)) == (True, False, False)


def test_the_pixels_of_the_page_are_those_of_the_next_zone():
    across, beside = page_grid(ACROSS), page_grid(BESIDE)
    assert across.pixel_m == pytest.approx(beside.pixel_m, rel=1e-6)
    assert across.shape == beside.shape
    assert np.mean(across.cell != beside.cell) < 0.01  # pixels whose centres lie on an edge of cells
    assert across.x_min - beside.x_min == pytest.approx(WORLD_M * ZONE_DEG / 360.0, abs=0.01)
    assert across.y_max == pytest.approx(beside.y_max, abs=0.01)
    assert len(set(across.cell[across.cell >= 0].tolist())) == ACROSS.cells
    one, other = across.facts(), beside.facts()
    assert np.allclose(one["cell_of_pixel"], other["cell_of_pixel"], atol=1e-3)
    assert np.allclose(one["outline"], other["outline"], atol=0.02)
    shift_deg = np.reshape(one["place_of_cell"], (-1, 2)) - np.reshape(other["place_of_cell"], (-1, 2))
    assert np.allclose(shift_deg, [ZONE_DEG, 0.0], atol=1e-6)


@pytest.fixture(scope="module", params=[ACROSS, BESIDE], ids=["across", "beside"])
def coverage(request, tmp_path_factory):
    """A small result with a layer of masts and a zone over the whole map."""
    grid = request.param
    coverage = write_small_coverage(tmp_path_factory.mktemp("result"), grid=grid)
    x_max, y_min = grid.x_min + grid.cols * 100.0, grid.y_max - grid.rows * 100.0
    zones = {"zone_id": ["z1"], "wanted_list": ["main"], "kind": ["dead"], "homes": [3.0], "near_name": [""]}
    whole = shapely.box(grid.x_min, y_min, x_max, grid.y_max)
    zones = gpd.GeoDataFrame(zones, geometry=[whole], crs=grid.crs_wkt)
    scenario = make_scenario(grid)
    stations = transmitters_layer(scenario, coverage)
    write_geopackage(scenario, coverage, None, stations, coverage.folder, more={"dead_zones": zones})
    return coverage


def test_a_map_of_ones_own_is_in_one_piece(coverage):
    meridian_deg = 180.0 if crosses_180(coverage.grid) else 174.0
    (south, west), (north, east) = tier_place(coverage)
    # 4 km at 17 degrees south are 0.0376 degrees, 3 km are 0.0271
    assert (east - west, north - south) == pytest.approx((0.0376, 0.0271), abs=0.001)
    assert (west + east) / 2.0 == pytest.approx(meridian_deg, abs=0.001)
    assert (south + north) / 2.0 == pytest.approx(LATITUDE_DEG, abs=0.001)
    picture, bounds = tier_picture(coverage, "main")
    assert np.allclose(bounds, tier_place(coverage), atol=0.002)
    assert np.mean(picture[..., 3] == 255) > 0.9
    assert max(picture.shape[:2]) < 100
    group = next(
        part for part in own_map(coverage)._children.values() if isinstance(part, folium.FeatureGroup)
    )
    shapes = [part for part in group._children.values() if isinstance(part, folium.GeoJson)]
    outlines = [shapely.geometry.shape(part.data["features"][0]["geometry"]) for part in shapes]
    assert len(outlines) == 1
    masts = [part.location for part in group._children.values() if isinstance(part, folium.CircleMarker)]
    assert len(masts) == 2
    longitudes = [*shapely.get_coordinates(outlines[0])[:, 0], *(mast[1] for mast in masts)]
    assert np.abs(np.array(longitudes) - meridian_deg).max() < 0.1


CUT = [shapely.box(179.8, -17.1, 180.0, -16.9), shapely.box(-180.0, -17.1, -179.8, -16.9)]


@pytest.mark.parametrize(
    "shapes", [[shapely.MultiPolygon(CUT)], CUT, [shapely.box(179.8, -17.1, 180.2, -16.9)]],
    ids=["one feature", "two features", "one polygon past 180"],
)  # fmt: skip
def test_an_area_cut_at_180_degrees_gets_the_grid_of_its_box(tmp_path, shapes):
    area = gpd.GeoSeries(shapes, crs=4326)
    elevation_deg = (179.0, -18.0, 181.0, -16.0)
    found = make_grid(GridSettings(cell_m=100.0), area, elevation_deg)
    box = GridSettings(cell_m=100.0, west=179.8, east=-179.8, south=-17.1, north=-16.9)
    asked = make_grid(box, None, elevation_deg)
    assert found.crs.name == asked.crs.name
    assert np.abs(np.subtract(found.shape, asked.shape)).max() <= 1
    assert abs(found.x_min - asked.x_min) <= 100.0


def test_an_area_on_both_sides_of_greenwich_stays_there():
    shapes = [shapely.box(-0.2, 51.0, 0.0, 51.2), shapely.box(0.0, 51.0, 0.2, 51.2)]
    grid = make_grid(GridSettings(), gpd.GeoSeries(shapes, crs=4326), (-1.0, 50.0, 1.0, 52.0))
    assert not crosses_180(grid)
    assert grid.cell_at(51.1, 0.1) is not None
    assert grid.cell_at(51.1, -0.1) is not None


def test_vector_tiles_stay_on_their_side(coverage, tmp_path):
    (path,) = write_pmtiles(coverage, tmp_path)
    tiles = gpd.read_file(path)
    meridian_m = WORLD_M / 2.0 * (1.0 if crosses_180(coverage.grid) else 174.0 / 180.0)
    x = shapely.get_coordinates(np.asarray(tiles.geometry.array))[:, 0]
    # 4 km at 17 degrees south are 4.2 km of web Mercator
    assert np.abs(np.mod(x, WORLD_M) - meridian_m).max() < 3000.0
    assert (x > 0).any()
    assert (x < 0).any() == crosses_180(coverage.grid)
    areas = coverage.layer("tier_areas")
    assert set(tiles["patch_id"]) == set(areas["patch_id"])
    square = np.cos(np.radians(LATITUDE_DEG)) ** 2  # of web Mercator: areas grow by 1/cos^2
    per_list = tiles.assign(m2=tiles.area * square).groupby("wanted_list")["m2"].sum() / 1e6
    assert per_list.to_dict() == pytest.approx(
        areas.groupby("wanted_list")["area_km2"].sum().to_dict(), rel=0.02
    )


def shapes_around(meridian_deg):
    """Return a road across the meridian, and a boundary far from it on both sides of Greenwich."""
    turn = 360.0 if meridian_deg == 180.0 else 0.0
    east = meridian_deg + 0.05 - turn
    road = shapely.MultiLineString(
        [[(meridian_deg - 0.05, -17.0), (meridian_deg, -17.0)], [(meridian_deg - turn, -17.0), (east, -17.0)]]
    )
    far = shapely.MultiPolygon(
        [shapely.box(-10.0, -17.005, 10.0, -16.995), shapely.box(170.0, -17.8, 171.0, -17.5)]
    )
    return gpd.GeoSeries([road, far], crs=4326)


@pytest.mark.parametrize("grid", [ACROSS, BESIDE], ids=["across", "beside"])
def test_shapes_of_ones_own_are_drawn_where_they_are(grid):
    pixels, meridian_deg = page_grid(grid), 180.0 if grid is ACROSS else 174.0
    lines = _in_pixels(Context("boundary", shapes_around(meridian_deg)), pixels)
    y = shapely.get_coordinates(lines)[:, 1]
    assert shapely.length(lines).sum() == pytest.approx(1.2 * pixels.shape[1], rel=0.1)  # page and margins
    assert np.ptp(y) < 1.0  # the road alone
