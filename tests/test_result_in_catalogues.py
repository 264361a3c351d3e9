"""A result's STAC item, what a notebook shows of it, its attribute tables and its dates."""

import datetime
import json
import subprocess
from html.parser import HTMLParser
from xml.etree import ElementTree

import geopandas as gpd
import pyogrio
import pyproj
import pytest
import rasterio
import shapely
from plan_rasters import add_plan_rasters
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.gis_layers.cells_parquet import write_cells_parquet
from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.raster_styles import write_raster_styles
from covermap.grid.frame import Grid
from covermap.result.coverage import Coverage, grid_record
from covermap.result.exports import write_geoparquet
from covermap.result.stac_item import stac_item, write_stac_item
from covermap.result.transmitters import transmitters_layer


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("catalogues"))
    add_plan_rasters(coverage)
    scenario = make_scenario(coverage)
    write_geopackage(scenario, coverage, None, transmitters_layer(scenario, coverage), coverage.folder)
    return coverage


@pytest.fixture(scope="module")
def item(coverage):
    files = [*map(coverage.path, coverage.raster_names()), coverage.folder / "coverage.gpkg"]
    return json.loads(write_stac_item(coverage, files).read_text("utf-8"))


def test_the_item_has_what_the_specification_requires(item):
    """STAC item specification 1.0.0, table "Item fields": the required ones, and their types."""
    required = {
        "type": str, "stac_version": str, "id": str, "geometry": dict, "bbox": list, "properties": dict,
        "links": list, "assets": dict,
    }  # fmt: skip
    for name, kind in required.items():
        assert isinstance(item[name], kind), name
    assert item["type"] == "Feature"
    assert item["stac_version"] == "1.0.0"
    moment = datetime.datetime.fromisoformat(item["properties"]["datetime"])  # RFC 3339, in UTC
    assert moment == datetime.datetime(2026, 9, 1, tzinfo=datetime.UTC)


def test_every_asset_is_there_and_is_what_it_says(coverage, item):
    assert "rasters/main/tier.tif" in item["assets"]
    for name, asset in item["assets"].items():
        path = coverage.folder / asset["href"]
        assert path.is_file(), name
        if asset["type"].startswith("image/tiff"):
            with rasterio.open(path) as dataset:
                assert dataset.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
                assert list(dataset.shape) == item["properties"]["proj:shape"]
                assert list(dataset.transform)[:6] == item["properties"]["proj:transform"]
                assert dataset.crs.to_epsg() == item["properties"]["proj:epsg"] == 32625


def test_the_outline_is_the_grids(item):
    outline = shapely.from_geojson(json.dumps(item["geometry"]))
    assert outline.is_valid
    assert item["bbox"] == pytest.approx(outline.bounds, abs=1e-6)
    area_m2 = abs(pyproj.Geod(ellps="WGS84").geometry_area_perimeter(outline)[0])
    assert area_m2 == pytest.approx(3000.0 * 4000.0, rel=0.002)  # UTM stretches by up to 0.1 % a side here


def test_an_outline_across_180_degrees_has_two_parts(coverage):
    crs = pyproj.CRS.from_proj4("+proj=laea +lat_0=-17 +lon_0=180 +datum=WGS84 +units=m")
    grid = Grid(crs.to_wkt(), 1000.0, -50_000.0, 50_000.0, 100, 100)
    item = stac_item(Coverage(coverage.folder, coverage.run | {"grid": grid_record(grid)}), [])
    outline = shapely.from_geojson(json.dumps(item["geometry"]))
    assert outline.geom_type == "MultiPolygon"
    assert outline.is_valid
    west, south, east, north = item["bbox"]
    assert (west > 179.0, east < -179.0, south < north) == (True, True, True)  # RFC 7946, section 5.2
    assert item["properties"]["proj:epsg"] is None


def test_a_date_column_is_a_date(coverage):
    path = coverage.folder / "coverage.gpkg"
    told = pyogrio.read_info(path, layer="transmitters")
    kinds = dict(zip(told["fields"], told["ogr_types"], strict=True))
    assert kinds["as_of"] == "OFTDate"
    assert str(gpd.read_file(path, layer="transmitters")["as_of"].iloc[0])[:10] == "2026-09-01"


def test_gdal_reads_what_each_code_stands_for(coverage):
    """GDAL's own reader finds the table; as many rows as the raster has codes, the names those of the run."""
    write_raster_styles(coverage)
    expected = {
        "main/tier": "1 Shelf",
        "main/tier_3db_weaker": "8 Not promised",
        "main/tier_without_deciding": "1 Shelf",
        "main/deciding_service": "Gamma",
        "main/limiting_service": "Alpha",
        "main/main_cause": "hills in the way",
        "main/amplifier": "helps",
        "main/plan_flags": "needs a filter",
        "flags": "no remark",
    }
    for name, word in expected.items():
        done = subprocess.run(
            ["gdalinfo", "-json", coverage.path(name)], capture_output=True, text=True, check=True
        )
        told = json.loads(done.stdout)
        assert "rat" in told or "rat" in told["bands"][0], name
        assert word in json.dumps(told), name


def test_every_band_of_a_coded_raster_has_its_table(coverage):
    for path in write_raster_styles(coverage):
        if path.suffix == ".xml":
            with rasterio.open(path.with_suffix("").with_suffix("")) as dataset:
                bands = ElementTree.parse(path).findall("PAMRasterBand")
                assert len(bands) == dataset.count


class Images(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found, self.cells = [], []

    def handle_starttag(self, tag, attrs):
        if tag == "img":
            self.found.append(dict(attrs))

    def handle_data(self, data):
        self.cells.append(data)


def test_a_notebook_shows_a_small_map_and_the_totals(coverage):
    html = coverage._repr_html_()
    read = Images()
    read.feed(html)
    (image,) = read.found
    assert image["src"].startswith("data:image/png;base64,")
    assert image["alt"]
    assert "8 Not promised" in read.cells
    assert "http" not in html
    assert "<i>Isle" not in html  # the name's own markup stays text
    assert len(html) < 100_000
    main = 0.01 * (coverage.read("main/tier") == 8).sum()
    assert f"{main:,.1f}" in read.cells


def test_repr_says_what_and_where(coverage):
    said = repr(coverage)
    for part in ("30 x 40 squares of 100 m", "WGS 84 / UTM zone 25N", "main, few", str(coverage.folder)):
        assert part in said


def test_cells_in_groups_are_the_layer_cells(coverage, tmp_path, monkeypatch):
    pytest.importorskip("pyarrow")
    monkeypatch.setattr("covermap.gis_layers.cells_parquet.GROUP_CELLS", 7 * GRID.cols)
    path = write_cells_parquet(make_scenario(coverage), coverage, tmp_path)
    found = gpd.read_parquet(path)
    write_geoparquet(coverage, tmp_path / "layers")
    layer = gpd.read_parquet(tmp_path / "layers" / "cells.parquet")
    assert found.crs.to_epsg() == 32625
    assert list(found.columns) == list(layer.columns)
    assert len(found) == 2 * GRID.cells
    assert found.geometry.geom_equals(layer.geometry).all()
    for name in ("cell_id", "wanted_list", "tier", "homes", "margin_db", "deciding_service"):
        same = (found[name] == layer[name]) | (found[name].isna() & layer[name].isna())
        assert same.all(), name
