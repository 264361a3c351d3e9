"""A result as GeoParquet."""

import geopandas as gpd
import pytest
from small_coverage import make_scenario, write_small_coverage

from covermap.errors import InputError
from covermap.gis_layers.geopackage import write_geopackage
from covermap.result.exports import require_formats, write_geoparquet, write_pmtiles
from covermap.result.transmitters import transmitters_layer


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    coverage = write_small_coverage(tmp_path_factory.mktemp("exports"))
    scenario = make_scenario(coverage)
    write_geopackage(scenario, coverage, None, transmitters_layer(scenario, coverage), coverage.folder)
    return coverage


def test_geoparquet_holds_the_layers_as_they_are(coverage, tmp_path):
    pytest.importorskip("pyarrow")
    paths = write_geoparquet(coverage, tmp_path / "parquet")
    assert {path.stem for path in paths} == {"tier_areas", "transmitters", "cells"}
    for path in paths:
        frame = gpd.read_parquet(path)
        assert frame.crs.to_epsg() == 32625
        assert frame.geometry.equals(coverage.layer(path.stem).geometry)


def test_vector_tiles_hold_the_tier_areas(coverage, tmp_path):
    """Tiles cut patches and snap corners to 4,096 parts of a tile, 6 m here, so areas agree, not outlines."""
    (path,) = write_pmtiles(coverage, tmp_path / "pmtiles")  # the result has no neighbourhoods
    assert path.read_bytes()[:7] == b"PMTiles"  # the format's first bytes, PMTiles specification version 3
    tiles = gpd.read_file(path)  # GDAL reads the nearest zoom
    assert tiles.crs.to_epsg() == 3857
    areas = coverage.layer("tier_areas")
    assert set(tiles["patch_id"]) == set(areas["patch_id"])
    for list_name in coverage.lists:
        of_list = tiles[tiles["wanted_list"] == list_name].dissolve("tier").to_crs(areas.crs).area / 1e6
        known = areas[areas["wanted_list"] == list_name].groupby("tier")["area_km2"].sum()
        assert (of_list - known).abs().max() < 0.02 * known.sum()


@pytest.mark.parametrize(("formats", "words"), [(["geojson"], "must be of parquet, pmtiles")])
def test_a_format_that_is_none_is_refused(formats, words):
    with pytest.raises(InputError, match=words):
        require_formats(formats)
