"""Compares what two finished runs wrote: bytes, but for times and the GeoPackage's own clock."""

import json
from pathlib import Path

import geopandas
import pandas
import pyogrio
from pandas.testing import assert_frame_equal

OF_TIME = {
    "stages_s",
    "compile_s",
    "peak_memory_mb",
    "blocks",
    "digests",
}  # what a run says of itself, not of the map


def raster_bytes(folder):
    found = {path.relative_to(folder): path.read_bytes() for path in (folder / "rasters").rglob("*.tif")}
    assert found
    return found


def assert_same_results(one, other):
    """Compare two finished folders file by file: bytes, but for times and the GeoPackage's own clock."""
    names = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file())
    assert names == sorted(path.relative_to(other) for path in other.rglob("*") if path.is_file())
    for name in names:
        if name.suffix == ".gpkg":
            assert_same_layers(one / name, other / name)
        elif name == Path("run.json"):
            first, second = (json.loads((folder / name).read_text("utf-8")) for folder in (one, other))
            assert {k: v for k, v in first.items() if k not in OF_TIME} == {
                k: v for k, v in second.items() if k not in OF_TIME
            }
        else:
            assert (one / name).read_bytes() == (other / name).read_bytes(), name


def assert_same_layers(one, other, but=()):
    """Compare two GeoPackages layer by layer, but for their own clock and some layers."""
    assert pyogrio.list_layers(one)[:, 0].tolist() == pyogrio.list_layers(other)[:, 0].tolist()
    for layer in sorted({*pyogrio.list_layers(one)[:, 0]} - {*but}):
        first, second = (geopandas.read_file(path, layer=layer) for path in (one, other))
        assert_frame_equal(_without_times(first), _without_times(second))


def _without_times(layer):
    """Return a layer as a plain table, without the clock and the rows in which the run tells its times."""
    table = pandas.DataFrame(layer).select_dtypes(exclude=["datetime", "datetimetz"])
    if "value" not in table.columns:
        return table
    return table[~table.iloc[:, 0].str.startswith(tuple(OF_TIME))].reset_index(drop=True)
