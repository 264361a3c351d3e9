"""A result as GeoParquet."""

import geopandas as gpd
import pytest
from small_coverage import make_scenario, write_small_coverage

from covermap.gis_layers.geopackage import write_geopackage
from covermap.result.exports import write_geoparquet
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
