"""The demo's catalogue and bench log are what their script makes."""

import importlib.util
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[1] / "data_demo"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    spec = importlib.util.spec_from_file_location("make_bench", DEMO / "make_bench.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.FOLDER = tmp_path_factory.mktemp("made")
    script.main()
    return script.FOLDER


@pytest.mark.parametrize("name", ["antennas.csv", "antenna_gains.csv", "devices.csv", "bench_log.csv"])
def test_a_table_of_the_demo_is_what_the_script_makes(made, name):
    """Also devices.csv, covermap's own with prices: a new device or figure there needs the script again."""
    assert (made / name).read_text("utf-8") == (DEMO / name).read_text("utf-8")


def test_the_script_makes_nothing_else(made):
    assert len(list(made.iterdir())) == 4
