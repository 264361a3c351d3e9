"""The public door: every promised name is there, and answers as the parts behind it do."""

import ast
import importlib
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Point

import covermap
from tests.test_commands import write_demo


def test_every_public_name_resolves():
    assert sorted(covermap.__all__) == sorted(covermap._WHERE)
    for name in covermap.__all__:
        assert callable(getattr(covermap, name))


def test_type_checkers_read_the_names_that_python_loads():
    tree = ast.parse(Path(covermap.__file__).read_text("utf-8"))
    for_types = next(node for node in tree.body if isinstance(node, ast.If))
    assert for_types.test.id == "TYPE_CHECKING"
    read = {alias.name: node.module for node in for_types.body for alias in node.names}
    assert read == covermap._WHERE
    assert (Path(covermap.__file__).parent / "py.typed").is_file()


def test_a_public_name_stays_what_it_is_once_its_module_is_loaded():
    for name, module in covermap._WHERE.items():
        importlib.import_module(module)
        for _ in range(2):
            assert not isinstance(getattr(covermap, name), ModuleType), name


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = covermap.nothing


@pytest.mark.parametrize(
    ("tier", "frequency_mhz", "at_50_dbuvm", "at_90_dbuvm"),
    [
        # The tiers' table of the project's own reckoning, residential, to whole dB. At 90 % the figures of an
        # installation without an amplifier can be off too: 1.28 (sqrt(6.3^2 + 1.02^2 + 1.53^2) - 6.3) = 0.3.
        (1, 195.0, 72, 86),
        (4, 545.0, 55, 63.3),
        (5, 195.0, 37, 45.3),
        (6, 69.0, 40, 50),
        (7, 545.0, 29, 37),
    ],
)
def test_required_field_of_the_built_in_tiers(tier, frequency_mhz, at_50_dbuvm, at_90_dbuvm):
    assert covermap.required_field(tier, frequency_mhz) == pytest.approx(at_50_dbuvm, abs=0.55)
    sure = covermap.required_field(tier, frequency_mhz, confidence_percent=90.0)
    assert sure == pytest.approx(at_90_dbuvm, abs=0.55)


def test_required_field_of_a_tier_that_is_not_there():
    with pytest.raises(covermap.InputError, match="tier is 8; antennas are tiers 1 to 7"):
        covermap.required_field(8, 545.0)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return covermap.read_scenario(write_demo(tmp_path_factory.mktemp("door") / "demo"))


@pytest.fixture(scope="module")
def mapped(demo):
    """What map_scenario writes of the demo, and what it says."""
    folder = demo.path.parent / "mapped"
    return folder, covermap.map_scenario(demo.path, folder, workers=2)


def files_below(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_predict_and_write_outputs_are_together_what_map_scenario_is(demo, mapped):
    folder, said = mapped
    other = demo.path.parent / "predicted"
    coverage = covermap.predict(demo, other, workers=2)
    assert not (other / "map.html").exists()
    (other / "notes.txt").write_text("mine")
    words = covermap.write_outputs(coverage, workers=2)
    assert words == said.replace(str(folder), str(other))
    assert files_below(other) == files_below(folder) | {"notes.txt"}


def test_write_outputs_of_an_opened_result_asks_for_its_scenario(demo, mapped):
    opened = covermap.open_coverage(mapped[0])
    with pytest.raises(covermap.InputError, match=r"write_outputs\(coverage, read_scenario"):
        covermap.write_outputs(opened)
    before = files_below(mapped[0])
    assert covermap.write_outputs(opened, demo, workers=2) == mapped[1]
    assert files_below(mapped[0]) == before


def test_write_outputs_refuses_another_scenario(demo, mapped):
    surer = demo.settings.reception.model_copy(update={"confidence_percent": 80.0})
    other = replace(demo, settings=demo.settings.model_copy(update={"reception": surer}))
    with pytest.raises(covermap.InputError, match="predicted from other inputs"):
        covermap.write_outputs(covermap.open_coverage(mapped[0]), other)


def test_field_at_gives_a_row_a_point_and_station(demo):
    points = gpd.GeoSeries([Point(-35.66, 44.0), Point(-34.0, 44.0)], crs="EPSG:4326")
    table = covermap.field_at(demo, points)
    assert len(table) == 2 * len(demo.stations)
    first, beyond = table[table.point == 0], table[table.point == 1]
    assert first["station_id"].tolist() == [station.station_id for station in demo.stations]
    assert (first["status"] == "ok").all()
    # outside the elevation nothing is known: never sea level, never a number
    assert (beyond["status"] == "unknown").all()
    assert beyond["field_dbuvm"].isna().all()


def test_field_at_a_lower_mount_is_less_by_the_terminal_loss(demo):
    point = gpd.GeoSeries([Point(-35.66, 44.0)], crs="EPSG:4326")
    high = covermap.field_at(demo, point)["field_dbuvm"].to_numpy()
    low = covermap.field_at(demo, point, height_m=1.5)["field_dbuvm"].to_numpy()
    assert (low < high - 5.0).all()  # ITU-R P.2108-1 section 3.1: 8 to 17 dB at 1.5 m in 10 m clutter


def test_field_at_is_within_free_space(demo):
    """No place is more than a few dB above free space: 106.92 + 10 log ERP - 20 log d (ITU-R P.525)."""
    point = gpd.GeoSeries([Point(-35.60, 43.95)], crs="EPSG:4326")
    table = covermap.field_at(demo, point)
    erp_kw = np.array([station.erp_kw for station in demo.stations])
    free_dbuvm = 106.92 + 10.0 * np.log10(erp_kw) - 20.0 * np.log10(table["distance_km"].to_numpy())
    assert (table["field_dbuvm"].to_numpy() <= free_dbuvm + 0.1).all()
