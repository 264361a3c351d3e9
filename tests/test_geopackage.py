"""coverage.gpkg as other programs read it."""

import re
import sqlite3
import warnings
from contextlib import closing
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from small_coverage import GRID, make_scenario, write_small_coverage

from covermap.gis_layers.cells import cells_layer
from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.tier_areas import join_small_patches, label_patches, medians, tier_area_blocks
from covermap.planning.areas import summarise_areas, summarise_whole
from covermap.result.coverage import Coverage
from covermap.result.transmitters import carriers, transmitters_layer


class RasterOfHomes:
    def __init__(self, coverage):
        self.coverage = coverage

    def window(self, tile):
        return self.coverage.read("homes", tile)

    def places_without_count(self):
        return None


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("geopackage"))


@pytest.fixture(scope="module")
def scenario(coverage):
    return make_scenario(coverage)


@pytest.fixture(scope="module")
def areas(coverage):
    halves = [
        shapely.box(259_000, 4_873_000, 261_000, 4_876_000),
        shapely.box(261_000, 4_873_000, 263_000, 4_876_000),
    ]
    table = gpd.GeoDataFrame(
        {"neighbourhood_id": ["a", "b"], "neighbourhood_name": ["<img src=x onerror=y>", "=B"]},
        geometry=halves,
        crs=GRID.crs_wkt,
    )
    return summarise_areas(coverage, table, RasterOfHomes(coverage))


@pytest.fixture(scope="module")
def path(coverage, scenario, areas):
    decided = summarise_whole(coverage)["main"].decided
    transmitters = transmitters_layer(scenario, coverage, homes_decided=decided)
    return write_geopackage(scenario, coverage, areas, transmitters, coverage.folder)


def query(path, statement):
    with closing(sqlite3.connect(path)) as database:
        return database.execute(statement).fetchall()


def test_every_layer_opens_without_a_warning_in_the_grids_crs(path):
    layers = {"neighbourhoods": 4, "tier_areas": None, "transmitters": 3, "cells": 2400}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = set(pyogrio.list_layers(path)[:, 0])
        for layer, count in layers.items():
            frame = gpd.read_file(path, layer=layer)
            assert frame.crs.to_epsg() == 32625
            assert count is None or len(frame) == count
    assert found == {*layers, "run_metadata", "layer_styles"}


def test_it_is_a_geopackage_1_2_with_spatial_indexes(path):
    # OGC 12-128r14 (GeoPackage 1.2): application id 'GPKG', user_version 10200
    assert query(path, "PRAGMA application_id") == [(0x47504B47,)]
    assert query(path, "PRAGMA user_version") == [(10200,)]
    assert query(path, "PRAGMA integrity_check") == [("ok",)]
    indexed = query(path, "SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'")
    assert {name for (name,) in indexed} == {"neighbourhoods", "tier_areas", "transmitters", "cells"}
    registered = {name for (name,) in query(path, "SELECT table_name FROM gpkg_contents")}
    assert {"run_metadata", "layer_styles"} <= registered


@pytest.mark.parametrize("layer", ["neighbourhoods", "tier_areas", "transmitters", "cells", "run_metadata"])
def test_every_column_has_an_alias_and_a_description(path, layer):
    columns = {row[1] for row in query(path, f"PRAGMA table_info({layer})")} - {"fid", "geom"}
    rows = query(path, f"SELECT column_name, name FROM gpkg_data_columns WHERE table_name = '{layer}'")
    assert {column for column, _ in rows} == columns
    assert len({name for _, name in rows}) == len(columns)
    texts = query(path, f"SELECT description FROM gpkg_data_columns WHERE table_name = '{layer}'")
    assert all(text and len(text) > 8 for (text,) in texts)


def test_styles_are_whole_and_their_time_is_as_qgis_reads_it(path):
    rows = query(
        path, "SELECT f_table_name, styleName, styleQML, useAsDefault, update_time FROM layer_styles"
    )
    assert {row[0] for row in rows} == {"neighbourhoods", "tier_areas", "transmitters", "cells"}
    for table in {row[0] for row in rows}:
        assert sum(row[3] for row in rows if row[0] == table) == 1
    for table, name, qml, _, time in rows:
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.000Z", time)
        root = ElementTree.fromstring(qml.split("\n", 1)[1])
        categories = root.findall(".//category")
        tiers = name.startswith("Antenna needed")
        expected = [*range(1, 9), *([0] if table == "cells" else [])] if tiers else []  # 0 is unknown
        assert [int(part.get("value")) for part in categories] == expected
        assert len(root.findall(".//range")) == (5 if name.startswith("How sure") else 0)


def test_layer_metadata_says_what_when_and_with_what_cautions(coverage, path):
    rows = query(
        path,
        "SELECT table_name, metadata, mime_type FROM gpkg_metadata_reference "
        "JOIN gpkg_metadata ON id = md_file_id WHERE reference_scope = 'table'",
    )
    assert {row[0] for row in rows} == {"neighbourhoods", "tier_areas", "transmitters", "cells"}
    for _, text, mime in rows:
        root = ElementTree.fromstring(text.split("\n", 1)[1])
        assert mime == "text/xml"
        assert [part.text for part in root.findall("constraints")] == coverage.run["cautions"]
        assert "Stations as of 2026-09-01." in root.find("abstract").text
        assert root.find("crs/spatialrefsys/authid").text == "EPSG:32625"


def test_a_patch_is_as_sure_as_the_median_of_its_cells(coverage, path):
    patches = gpd.read_file(path, layer="tier_areas").query("wanted_list == 'main'")
    tier, chance = coverage.read("main/tier"), coverage.read("main/tier_chance")
    patch = patches.loc[patches.area_km2.idxmax()]
    x, y = np.meshgrid(259_050 + 100 * np.arange(GRID.cols), 4_875_950 - 100 * np.arange(GRID.rows))
    inside = shapely.contains_xy(patch.geometry, x, y)
    stored = [chance[min(tier[r, c], 7) - 1, r, c] for r, c in zip(*np.nonzero(inside), strict=True)]
    assert patch.confidence_median_percent == round(float(np.median(stored)))


def test_patches_are_single_disjoint_and_cover_all_known_cells(coverage, path):
    patches = gpd.read_file(path, layer="tier_areas")
    patches = patches[patches.wanted_list == "main"]
    assert set(patches.geom_type) == {"Polygon"}
    assert patches.geometry.is_valid.all()
    assert set(patches.tier) <= set(range(1, 9))
    known = np.count_nonzero(coverage.read("main/tier") != 255)
    assert patches.area_km2.sum() == pytest.approx(known * 0.01)
    assert shapely.union_all(patches.geometry.array).area / 1e6 == pytest.approx(known * 0.01)
    homes = coverage.read("homes")[coverage.read("main/tier") != 255].sum()
    assert patches.homes.sum() == pytest.approx(homes, abs=0.5)
    assert patches.patch_id.is_unique


def test_small_patches_join_their_most_common_neighbour():
    tier = np.full((6, 8), 5, dtype=np.uint8)
    tier[:, 5:] = 2
    tier[2, 2] = 7  # one cell inside 5
    tier[4, 4] = 3  # edges: 5 above, 5 left, 5 below, 2 right
    tier[0, 7] = 255
    tier[3:6, 7] = 8  # three cells stay
    joined = join_small_patches(tier)
    expected = np.full((6, 8), 5, dtype=np.uint8)
    expected[:, 5:] = 2
    expected[0, 7] = 255
    expected[3:6, 7] = 8
    np.testing.assert_array_equal(joined, expected)
    assert tier[2, 2] == 7  # the raster itself stays as computed


def test_a_patch_among_unknown_stays_and_unknown_never_joins():
    tier = np.full((5, 5), 255, dtype=np.uint8)
    tier[2, 2] = 6
    np.testing.assert_array_equal(join_small_patches(tier), tier)
    hole = np.full((5, 5), 4, dtype=np.uint8)
    hole[2, 2] = 255
    np.testing.assert_array_equal(join_small_patches(hole), hole)


def test_no_small_patch_is_left_where_it_had_a_neighbour(coverage):
    labels, count = label_patches(join_small_patches(coverage.read("main/tier")))
    assert np.bincount(labels.ravel(), minlength=count + 1)[1:].min() >= 3


def test_the_median_of_each_label_is_that_of_its_values():
    rng = np.random.default_rng(6)
    labels = rng.integers(0, 40, 900).astype(np.int32)
    labels[:40] = np.arange(40)  # each label some have; of 0 nothing is told
    values = rng.integers(0, 101, 900).astype(np.uint8)
    expected = [np.rint(np.median(values[labels == label])) for label in range(1, 40)]
    assert medians(values, labels, 39).tolist() == expected


def test_blocks_of_patches_cover_a_grid_larger_than_one_block(coverage, monkeypatch):
    monkeypatch.setattr("covermap.gis_layers.tier_areas.BLOCK_CELLS", 16)
    blocks = list(tier_area_blocks(coverage, "main"))
    assert len(blocks) > 1
    ids = [name for block in blocks for name in block.patch_id]
    assert len(set(ids)) == len(ids)
    known = np.count_nonzero(coverage.read("main/tier") != 255)
    assert sum(block.area_km2.sum() for block in blocks) == pytest.approx(known * 0.01)


def test_a_cell_says_what_the_rasters_say(coverage, path):
    cells = gpd.read_file(path, layer="cells")
    cells = cells[cells.wanted_list == "main"].set_index("cell_id")
    row, col = 17, 23
    cell = cells.loc[row * GRID.cols + col]
    assert cell.geometry.equals(shapely.box(261_300, 4_874_200, 261_400, 4_874_300))
    assert cell.tier == coverage.read("main/tier")[row, col]
    chance = coverage.read("main/tier_chance")[:, row, col]
    assert cell.tier_at_50_percent == next((n + 1 for n in range(7) if chance[n] >= 50), 8)
    index = coverage.read("main/limiting_service")[row, col]
    station = ("alpha-1", "beta-1", "gamma-1")[index]
    assert cell.field_dbuvm == pytest.approx(coverage.read(f"field/{station}")[row, col], abs=0.051)
    kept = coverage.read("main/service_chance_one_lower")[:, row, col]
    assert cell.services_kept_one_class_lower == (kept >= 90).sum()
    unknown = cells.loc[0]  # no terrain there: NULL, never 0
    gone = ["tier", "tier_at_50_percent", "confidence_percent", "margin_db", "field_dbuvm", "aim_deg_true"]
    assert unknown[gone].isna().all()
    assert unknown.limiting_service is None or unknown.isna().limiting_service


def test_the_strongest_carrier_of_a_service_gives_its_field(coverage, scenario):
    both = dict.fromkeys(coverage.services("main"), ("alpha-1", "gamma-1"))
    cells = cells_layer(coverage, "main", both)
    strongest = np.fmax(coverage.read("field/alpha-1"), coverage.read("field/gamma-1")).ravel()
    np.testing.assert_allclose(cells.field_dbuvm.to_numpy(float, na_value=np.nan), strongest, atol=0.051)
    assert carriers(scenario, "few") == {"Alpha": ("alpha-1",), "Gamma": ("gamma-1",)}


def test_tiers_are_called_as_the_runs_own_table_calls_them(coverage, scenario, areas, tmp_path):
    own = Coverage(coverage.folder, coverage.run | {"tier_names": ["Sill & 'co'", *"bcdefg"]})
    path = write_geopackage(scenario, own, areas, transmitters_layer(scenario, own), tmp_path)
    patches = gpd.read_file(path, layer="tier_areas")
    assert set(patches[patches.tier == 1].tier_name) == {"Sill & 'co'"}
    (qml,) = query(path, "SELECT styleQML FROM layer_styles WHERE f_table_name = 'cells' AND useAsDefault")[0]
    root = ElementTree.fromstring(qml.split("\n", 1)[1])
    assert root.find(".//category").get("label") == "1 Sill & 'co'"
    assert "THEN '1 Sill &amp; ''co'''" in root.find("mapTip").text


def test_too_many_cells_are_left_out_and_it_is_told(coverage, scenario, areas, tmp_path):
    transmitters = transmitters_layer(scenario, coverage)
    path = write_geopackage(scenario, coverage, None, transmitters, tmp_path, most_cells=1199)
    assert {"cells", "neighbourhoods"}.isdisjoint(pyogrio.list_layers(path)[:, 0])
    facts = dict(query(path, "SELECT key, value FROM run_metadata"))
    assert facts["absent_layer.cells"].startswith("1200 cells are more than 1199")
    assert "no neighbourhoods" in facts["absent_layer.neighbourhoods"]


def test_no_dead_zone_is_an_answer_too_and_no_ridge_is_none(coverage, scenario, tmp_path):
    none = gpd.GeoDataFrame({"zone_id": [], "kind": []}, geometry=[], crs=GRID.crs_wkt)
    stations = transmitters_layer(scenario, coverage)
    more = {"dead_zones": none, "ridges": none}
    made = write_geopackage(scenario, coverage, None, stations, tmp_path, more=more)
    layers = dict(pyogrio.list_layers(made))
    assert layers["dead_zones"] == "MultiPolygon"
    assert "ridges" not in layers
    assert len(gpd.read_file(made, layer="dead_zones")) == 0


def test_cautions_and_what_is_not_counted_stand_in_the_file(coverage, path):
    values = {value for (value,) in query(path, "SELECT value FROM run_metadata")}
    assert set(coverage.run["cautions"]) <= values
    assert set(coverage.run["not_counted"]) <= values
    for (description,) in query(path, "SELECT description FROM gpkg_contents WHERE data_type = 'features'"):
        assert all(sentence in description for sentence in coverage.run["cautions"])


def test_names_are_kept_as_data_and_shown_as_text(path):
    names = set(gpd.read_file(path, layer="neighbourhoods").neighbourhood_name)
    assert names == {"<img src=x onerror=y>", "=B"}
    for (qml,) in query(path, "SELECT styleQML FROM layer_styles WHERE f_table_name = 'neighbourhoods'"):
        assert "'&lt;', '&amp;lt;'" in qml  # the map tip is HTML: it escapes the name
        assert "onerror" not in qml


def test_terrain_under_a_mast_is_read_where_the_mast_stands_on_the_grid(coverage, path):
    stations = gpd.read_file(path, layer="transmitters").set_index("station_id")
    assert stations.ground_terrain_m["alpha-1"] == pytest.approx(coverage.read("ground")[19, 10], abs=0.051)
    assert np.isnan(stations.ground_terrain_m["gamma-1"])
    assert np.isnan(stations.rf_channel["gamma-1"])
    assert stations.geometry["alpha-1"].distance(shapely.Point(260_050, 4_874_050)) < 0.01


def test_areas_are_read_back_through_the_coverage(coverage, path):
    found = coverage.areas("few")
    assert found.wanted_list.tolist() == ["few", "few"]
    assert len(coverage.areas()) == 4
