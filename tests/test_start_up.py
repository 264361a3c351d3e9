"""Start-up: a command imports what it uses and nothing heavy beside it."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    "dask", "distributed", "exactextract", "folium", "geopandas", "matplotlib", "numba", "numpy", "pandas",
    "PIL", "pyogrio", "pyproj", "rasterio", "scipy", "shapely", "xarray",
)  # fmt: skip
RUN = """
import json, sys
from click.testing import CliRunner
from covermap.cli import main
done = CliRunner().invoke(main, json.loads(sys.argv[1]))
loaded = [name for name in json.loads(sys.argv[2]) if name in sys.modules]
print(json.dumps([done.exit_code, done.output, loaded]))
"""


def loaded_by(*arguments):
    """Return which of the heavy libraries a command loads, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, json.dumps([str(part) for part in arguments]), json.dumps(HEAVY)],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    status, output, loaded = json.loads(done.stdout.splitlines()[-1])
    assert status == 0, output
    return set(loaded)


@pytest.mark.parametrize("arguments", [("--help",), ("--version",), ("map", "--help"), ("address", "--help")])
def test_help_loads_no_library_at_all(arguments):
    assert loaded_by(*arguments) == set()


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("start") / "demo"
    assert loaded_by("demo", folder) == set()
    return folder


def test_check_loads_no_drawing_table_or_cluster_library(demo):
    loaded = loaded_by("check", demo / "scenario.toml")
    assert loaded.isdisjoint({"dask", "distributed", "folium", "matplotlib", "PIL", "xarray"})


def test_path_loads_no_geography(tmp_path):
    (tmp_path / "flat.csv").write_text("distance_km,ground_m\n0,10\n5,10\n10,10\n", "utf-8")
    cases = tmp_path / "cases.csv"
    cases.write_text(
        "case_id,profile,model,frequency_mhz,tx_height_m,rx_height_m\na,flat,free_space,600,100,10\n", "utf-8"
    )
    assert loaded_by("path", cases, "--profiles", tmp_path) <= {"numba", "numpy", "scipy"}
