"""Homes in each cell: nothing lost, nothing counted twice, nothing unknown counted as none."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin
from reference import reference_rows
from small_coverage import GRID, WHOLE

from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.planning import cell_fractions
from covermap.planning.homes import homes_per_cell

WEST, NORTH = GRID.x_min, GRID.y_max


def settings(path, count="homes"):
    return SimpleNamespace(file=path, count=count, year=2021, roof_access_percent=None, building=None)


def write_points(path, x, y, counts, crs="EPSG:32625"):
    frame = gpd.GeoDataFrame({"homes": counts}, geometry=gpd.points_from_xy(x, y), crs="EPSG:32625")
    frame.to_crs(crs).to_file(path)
    return path


def whole(homes, tile_cells=16):
    """Return the homes of the grid put together from tiles."""
    result = np.empty(GRID.shape, dtype=np.float32)
    for tile in GRID.tiles(tile_cells):
        result[tile.window] = homes.window(tile)
    return result


def test_points_count_in_the_cell_that_holds_them_from_any_crs(tmp_path):
    x, y = [WEST + 150, WEST + 160, WEST + 3990], [NORTH - 50, NORTH - 60, NORTH - 2990]
    homes = homes_per_cell(
        settings(write_points(tmp_path / "p.gpkg", x, y, [2, 3, 4], crs="EPSG:4326")), GRID
    )
    cells = whole(homes)
    assert cells[0, 1] == 5
    assert cells[29, 39] == 4
    assert cells.sum() == homes.total == 9


def test_suppressed_blank_and_negative_counts_are_unknown_and_never_zero(tmp_path):
    x = WEST + 50 + 100 * np.arange(6)
    path = write_points(tmp_path / "p.gpkg", x, [NORTH - 50] * 6, ["3", "-1", "", None, "suppressed", "0"])
    homes = homes_per_cell(settings(path), GRID)
    assert homes.features_without_count == 4
    assert homes.total == 3
    np.testing.assert_array_equal(whole(homes)[0, :7], [3, np.nan, np.nan, np.nan, np.nan, 0, 0])
    assert "4 of 6 features have no count" in homes.warnings[0]


def test_homes_outside_the_grid_are_a_number_of_their_own(tmp_path):
    rng = np.random.default_rng(3)
    x, y = rng.uniform(WEST - 1000, WEST + 5000, 400), rng.uniform(NORTH - 4000, NORTH + 1000, 400)
    counts = rng.integers(0, 9, 400)
    homes = homes_per_cell(settings(write_points(tmp_path / "p.gpkg", x, y, counts)), GRID)
    assert homes.total == counts.sum()
    assert whole(homes).sum() + homes.outside == pytest.approx(homes.total, abs=0.5)
    inside = (x > WEST) & (x < WEST + 4000) & (y < NORTH) & (y > NORTH - 3000)
    assert homes.outside == counts[~inside].sum()


def test_points_without_a_count_column_are_one_home_each(tmp_path):
    path = write_points(tmp_path / "p.gpkg", [WEST + 5] * 3, [NORTH - 5] * 3, [7, 7, 7])
    assert homes_per_cell(settings(path, count=None), GRID).total == 3


def ragged(rng, centre_x, centre_y, radius):
    angle = np.sort(rng.uniform(0, 2 * np.pi, 40))
    reach = rng.uniform(0.3 * radius, radius, 40)
    return shapely.Polygon(np.c_[centre_x + reach * np.cos(angle), centre_y + reach * np.sin(angle)]).buffer(
        0
    )


@pytest.mark.parametrize("module", ["exactextract", "shapely"])
def test_fractions_of_ragged_polygons_match_the_slow_intersection(monkeypatch, module):
    if module == "shapely":
        monkeypatch.setattr(cell_fractions, "_find_exactextract", lambda: None)
    else:
        pytest.importorskip("exactextract")
    rng = np.random.default_rng(4)
    polygons = np.array(
        [ragged(rng, WEST + x, NORTH - y, 900) for x, y in ((700, 600), (2000, 1500), (3600, 2900))]
    )
    cells = cell_fractions.PolygonCells(polygons, GRID)
    found = np.zeros((3, *GRID.shape))
    for tile in GRID.tiles(16):
        part = cells.fractions(tile)
        block = np.zeros((3, tile.rows * tile.cols))
        np.add.at(block, (part.polygon, part.cell), part.fraction)
        found[(slice(None), *tile.window)] = block.reshape(3, tile.rows, tile.cols)
    for index, polygon in enumerate(polygons):  # brute force: every cell's square cut with the polygon
        for row in range(GRID.rows):
            for col in range(GRID.cols):
                left, top = WEST + 100 * col, NORTH - 100 * row
                expected = polygon.intersection(shapely.box(left, top - 100, left + 100, top)).area / 1e4
                assert found[index, row, col] == pytest.approx(expected, abs=1e-5)


def test_polygons_spread_by_area_and_the_part_outside_is_kept(tmp_path):
    square = shapely.box(WEST - 100, NORTH - 100, WEST + 100, NORTH)  # half of it on the grid
    inner = shapely.box(WEST + 1050, NORTH - 1100, WEST + 1250, NORTH - 1000)  # cells of half, one, half
    gpd.GeoDataFrame({"homes": [10, 8]}, geometry=[square, inner], crs=32625).to_file(tmp_path / "h.gpkg")
    homes = homes_per_cell(settings(tmp_path / "h.gpkg"), GRID)
    cells = whole(homes)
    assert cells[0, 0] == pytest.approx(5)
    assert cells[10, 10:13].tolist() == pytest.approx([2, 4, 2])
    assert homes.outside == pytest.approx(5)
    assert cells.sum() + homes.outside == pytest.approx(homes.total, abs=0.01)


def test_with_land_cover_polygon_homes_stand_in_built_up_cells_alone(tmp_path):
    area = shapely.box(WEST, NORTH - 400, WEST + 400, NORTH)
    bare = shapely.box(WEST + 1000, NORTH - 200, WEST + 1200, NORTH)
    gpd.GeoDataFrame({"homes": [12, 4]}, geometry=[area, bare], crs=32625).to_file(tmp_path / "h.gpkg")
    built_up = np.zeros(GRID.shape, dtype=bool)
    built_up[1, 1:4] = True
    homes = homes_per_cell(settings(tmp_path / "h.gpkg"), GRID, built_up)
    cells = whole(homes)
    assert cells[:4, :4].sum() == pytest.approx(12)
    assert cells[1, 1:4].tolist() == pytest.approx([4, 4, 4])
    assert cells[0, 10] == pytest.approx(1)  # no built-up cell in it: by area, and said so
    assert "1 areas have no built-up cell" in " ".join(homes.warnings)


def test_a_total_beside_its_parts_is_refused(tmp_path):
    parts = [shapely.box(WEST + 100 * n, NORTH - 500, WEST + 100 * (n + 1), NORTH) for n in range(5)]
    total = shapely.box(WEST, NORTH - 500, WEST + 500, NORTH)

    def read(counts):
        gpd.GeoDataFrame({"homes": counts}, geometry=[*parts, total], crs=32625).to_file(tmp_path / "h.gpkg")
        return homes_per_cell(settings(tmp_path / "h.gpkg"), GRID)

    with pytest.raises(InputError, match="feature 6: its 60 homes are those of the 5 features inside it"):
        read([12, 12, 12, 12, 12, 60])
    assert "overlap in 25 cells" in " ".join(read([12, 12, 12, 12, 12, 500]).warnings)  # no sum: told only


def test_overlapping_totals_and_parts_are_told(tmp_path):
    box = shapely.box(WEST, NORTH - 500, WEST + 500, NORTH)
    gpd.GeoDataFrame({"homes": [12, 12]}, geometry=[box, box], crs=32625).to_file(tmp_path / "h.gpkg")
    assert "overlap in 25 cells" in " ".join(homes_per_cell(settings(tmp_path / "h.gpkg"), GRID).warnings)


def write_raster(path, values, transform, crs, nodata=-9999.0):
    with rasterio.open(
        path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0], count=1, dtype="float32",
        crs=crs, transform=transform, nodata=nodata,
    ) as dataset:  # fmt: skip
        dataset.write(values.astype(np.float32), 1)
    return path


@pytest.mark.parametrize("spacing", [25.0, 100.0, 250.0])
def test_a_raster_of_any_spacing_keeps_its_total(tmp_path, spacing):
    rng = np.random.default_rng(5)
    values = rng.integers(0, 5, (60, 80)).astype(float)
    values[3, 4], values[10, 10] = -1, -9999  # without a count; nodata
    path = write_raster(
        tmp_path / "h.tif", values, from_origin(WEST + 30, NORTH + 70, spacing, spacing), "EPSG:32625"
    )
    homes = homes_per_cell(settings(path), GRID)
    assert homes.features_without_count == 1
    assert homes.total == values[values > 0].sum()
    assert whole(homes).sum() + homes.outside == pytest.approx(homes.total, abs=0.5)


def test_a_raster_in_degrees_keeps_its_total_and_its_place(tmp_path):
    to_wgs84 = pyproj.Transformer.from_crs(32625, 4326, always_xy=True)
    longitude, latitude = to_wgs84.transform(WEST + 2050, NORTH - 1050)
    values = np.zeros((41, 41))
    values[20, 20] = 40
    path = write_raster(
        tmp_path / "h.tif",
        values,
        from_origin(longitude - 0.0205, latitude + 0.0205, 0.001, 0.001),
        "EPSG:4326",
    )
    homes = homes_per_cell(settings(path), GRID)
    cells = whole(homes)
    assert cells.sum() == pytest.approx(40, abs=0.01)
    row, col = np.unravel_index(cells.argmax(), cells.shape)
    assert abs(row - 10) <= 1
    assert abs(col - 20) <= 1


def test_an_aligned_raster_is_taken_as_it_is(tmp_path):
    values = np.arange(1200.0).reshape(GRID.shape)
    path = write_raster(tmp_path / "h.tif", values, from_origin(WEST, NORTH, 100, 100), "EPSG:32625")
    np.testing.assert_allclose(homes_per_cell(settings(path), GRID).window(WHOLE), values, rtol=1e-6)


@pytest.mark.parametrize(
    ("file", "count", "words"),
    [
        ("p.gpkg", "households", r"no such column\. Its columns are: homes"),
        ("p.gpkg", "homes", 'the first says "many"'),
        ("l.gpkg", "homes", "LineString"),
        ("x.tif", "homes", "cannot be read as a raster"),
        ("e.geojson", "homes", "no features"),
    ],
)
def test_wrong_layers_are_told(tmp_path, file, count, words):
    write_points(tmp_path / "p.gpkg", [WEST], [NORTH], ["many"])
    line = shapely.LineString([(0, 0), (1, 1)])
    gpd.GeoDataFrame({"homes": [1]}, geometry=[line], crs=32625).to_file(tmp_path / "l.gpkg")
    (tmp_path / "x.tif").write_text("no raster")
    (tmp_path / "e.geojson").write_text('{"type":"FeatureCollection","features":[]}')
    with pytest.raises(InputError, match=words):
        homes_per_cell(settings(tmp_path / file, count=count), GRID)


def test_roof_access_splits_homes_and_wrong_values_are_told(tmp_path):
    x = [GRID.x_min + 50.0, GRID.x_min + 150.0]
    y = [GRID.y_max - 50.0] * 2
    path = tmp_path / "flats.gpkg"
    frame = gpd.GeoDataFrame(
        {"homes": [10, 20], "roof": [25.0, None]}, geometry=gpd.points_from_xy(x, y), crs=GRID.crs_wkt
    )
    frame.to_file(path)
    asked = SimpleNamespace(file=path, count="homes", year=2021, roof_access_percent="roof", building=None)
    homes = homes_per_cell(asked, GRID)
    flats = homes.without_roof.window(GRID.whole)
    assert flats[0, 0] == 7.5  # 75 % of 10
    assert flats[0, 1] == 0.0
    assert "1 features do not say who may use the roof" in " ".join(homes.warnings)
    frame["roof"] = [25.0, 250.0]
    frame.to_file(path)
    with pytest.raises(InputError, match="found 250"):
        homes_per_cell(asked, GRID)
    with pytest.raises(InputError, match="no such column"):
        homes_per_cell(SimpleNamespace(**{**vars(asked), "roof_access_percent": "rof"}), GRID)


def test_real_populated_places_as_homes_add_up_inside_and_outside(tmp_path):
    rows = reference_rows("terrain/logan_ut/places_population.csv")
    lon = next(name for name in rows[0] if "lon" in name.lower())
    lat = next(name for name in rows[0] if "lat" in name.lower())
    people = next(name for name in rows[0] if "pop" in name.lower())
    counts = [round(float(row[people]) / 3.1) for row in rows]  # 3.1 people a home is invented
    points = shapely.points([float(row[lon]) for row in rows], [float(row[lat]) for row in rows])
    gpd.GeoDataFrame({"homes": counts}, geometry=points, crs=4326).to_file(tmp_path / "h.gpkg")
    middle = gpd.GeoSeries(points, crs=4326).to_crs(32612)
    wkt = pyproj.CRS.from_epsg(32612).to_wkt()
    grid = Grid(
        wkt, 1000.0, round(middle.x.median(), -3) - 10_000, round(middle.y.median(), -3) + 10_000, 20, 20
    )
    homes = homes_per_cell(settings(tmp_path / "h.gpkg"), grid)
    inside = homes.window(grid.whole).sum()
    assert homes.total == sum(counts)
    assert inside > 0
    assert inside + homes.outside == pytest.approx(sum(counts), abs=0.5)
