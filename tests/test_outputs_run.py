"""run.json, the tables and the sentences at the end of a run."""

import csv
import hashlib
import json
import shutil
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from reference import ROOT
from small_coverage import GRID, SERVICES, make_scenario, write_small_coverage

from covermap.planning.areas import WholeSummary, summarise_areas, summarise_whole
from covermap.planning.homes_points import PointHomes
from covermap.reception.options import ReceptionOptions
from covermap.reports.run_summary import counts_in_words, run_in_words
from covermap.result.coverage import open_coverage
from covermap.result.csv_tables import write_csv, write_neighbourhoods, write_transmitters
from covermap.result.run_json import tier_share_percent, update_run_json, write_run_json
from covermap.result.transmitters import transmitters_layer
from covermap.scenario.read import read_scenario
from covermap.scenario.records import Scenario, WantedList
from covermap.tables import read_tiers
from covermap.wording.cautions import NOT_COUNTED
from covermap.wording.run_facts import run_facts


@pytest.fixture
def coverage(tmp_path):
    return write_small_coverage(tmp_path / "out")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo's own files under a folder of their own, read as a scenario."""
    folder = tmp_path_factory.mktemp("demo")
    for path in (ROOT / "data_demo").iterdir():
        shutil.copyfile(path, folder / path.name)
    return read_scenario(folder / "scenario.toml")


HOMES = PointHomes(np.array([259_050.0]), np.array([4_875_950.0]), np.array([7.0]), GRID)


def prepared_for(demo, **changes):
    wanted = tuple(
        WantedList(name, services, ((),) * len(services), None) for name, services in SERVICES.items()
    )
    scenario = Scenario(**{**vars(demo), "wanted": wanted, **changes})
    options = ReceptionOptions(has_land_cover=True)
    return SimpleNamespace(
        scenario=scenario,
        grid=GRID,
        reception_options=options,
        warnings=("a doubt",),
        homes=HOMES,
        tiers=read_tiers(),
        calibration=None,
    )


COUNTS = SimpleNamespace(
    computed=12,
    read=3,
    stages_s={"paths": 1.234},
    compile_s=0.5,
    other_tiers=np.bincount([2, 8, 8, 255], minlength=256),
)


@pytest.fixture
def run(coverage, demo):
    return write_run_json(coverage.folder, prepared_for(demo), COUNTS, 321.98)


def test_the_record_has_the_promised_keys(run, coverage):
    assert run == json.loads((coverage.folder / "run.json").read_text(encoding="utf-8"))
    assert run["blocks"] == {"computed": 12, "read": 3}
    assert run["stages_s"] == {"paths": 1.23}
    assert run["compile_s"] == 0.5
    assert run["peak_memory_mb"] == 322.0
    assert run["result_format"] == 2
    assert run["warnings"] == ["a doubt"]
    assert run["not_counted"] == list(NOT_COUNTED)
    other = run["tier_share_percent_at_other_sigma"]
    assert (other["cells"], other["2"], other["8"], other["unknown"]) == (4, 25, 50, 25)
    assert run["homes"]["total"] == 7
    assert open_coverage(coverage.folder).tier_names[6:] == ("Tall mast + masthead amplifier", "Not promised")
    assert run["sigma_db"]["prediction"] == 6.0  # with land cover, as promised
    assert run["models"]["p1812"] == "ITU-R P.1812-8"
    assert run["options"]["grid"]["cell_m"] == 100
    assert "2026-09-01" in " ".join(run["cautions"])
    assert {"numpy", "gdal", "proj", "covermap"} <= set(run["versions"])
    assert open_coverage(coverage.folder).grid == GRID


def test_every_input_stands_with_its_digest_and_no_folder_of_this_machine(run, demo):
    elevation = next(part for part in run["inputs"] if part["role"] == "terrain.elevation")
    content = (demo.path.parent / "elevation.tif").read_bytes()
    assert elevation["file"] == "elevation.tif"
    assert elevation["sha256"] == hashlib.sha256(content).hexdigest()
    assert {part["file"] for part in run["inputs"]} >= {"scenario.toml", "transmitters.csv", "homes.gpkg"}
    assert str(demo.path.parent) not in json.dumps(run)


def test_the_run_id_follows_what_decides_the_result(run, coverage, demo):
    again = write_run_json(coverage.folder, prepared_for(demo), COUNTS, 1.0)
    assert again["run_id"] == run["run_id"]
    surer = demo.settings.model_copy(
        update={"reception": demo.settings.reception.model_copy(update={"confidence_percent": 80.0})}
    )
    assert (
        write_run_json(coverage.folder, prepared_for(demo, settings=surer), COUNTS, 1.0)["run_id"]
        != run["run_id"]
    )
    elsewhere = demo.settings.model_copy(update={"output": demo.path.parent / "other"})
    moved = write_run_json(coverage.folder, prepared_for(demo, settings=elsewhere), COUNTS, 1.0)
    assert moved["run_id"] == run["run_id"]


def test_shares_of_tiers_and_unknown_sum_to_one_hundred(run, coverage):
    for name in coverage.lists:
        shares = run["tier_share_percent"][name]
        assert sum(shares.values()) == pytest.approx(100.0, abs=1e-9)
        assert shares["unknown"] == pytest.approx(2.0)  # 24 of 1200 cells
        tier = coverage.read(f"{name}/tier")
        assert shares["8"] == pytest.approx(100 * (tier == 8).mean())
    assert tier_share_percent(coverage, "main") == run["tier_share_percent"]["main"]


def test_an_update_merges_and_adds(run, coverage):
    changed = update_run_json(
        coverage.folder, {"stages_s": {"map": 2.0}, "warnings": ["more", "a doubt"], "homes": {"total": 5.0}}
    )
    assert changed["stages_s"] == {"paths": 1.23, "map": 2.0}
    assert changed["warnings"] == ["a doubt", "more"]
    assert changed["homes"]["total"] == 5
    assert changed["run_id"] == run["run_id"]


def test_facts_are_rows_of_text():
    facts = dict(run_facts({"a": {"b": 1.5, "c": None}, "warnings": ["x", "y"], "ok": True}))
    assert facts == {"a.b": "1.5", "a.c": "", "warnings.1": "x", "warnings.2": "y", "ok": "true"}


def read_csv(path):
    with open(path, newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def test_tables_neutralise_text_and_leave_numbers_alone(tmp_path):
    frame = pd.DataFrame({"name": ["=cmd", "-1", None, "<b>"], "value": [-1.5, 2.0, float("nan"), 0.0]})
    rows = read_csv(write_csv(frame, tmp_path / "t.csv"))
    assert [row["name"] for row in rows] == ["'=cmd", "'-1", "", "<b>"]
    assert [row["value"] for row in rows] == ["-1.5", "2.0", "", "0.0"]  # no data is empty, never 0


def test_the_neighbourhood_table_reconciles(coverage):
    table = gpd.GeoDataFrame(
        {"neighbourhood_id": ["a", "b"], "neighbourhood_name": ["=A", "<i>B</i>"]},
        geometry=[shapely.box(259_000, 4_873_000, 262_000, 4_876_000), shapely.Polygon()],
        crs=GRID.crs_wkt,
    )
    x, y = GRID.centres(next(GRID.tiles(64)))
    homes = PointHomes(x.ravel(), y.ravel(), coverage.read("homes").ravel().astype(float), GRID)
    rows = read_csv(write_neighbourhoods(summarise_areas(coverage, table, homes), coverage.folder))
    assert len(rows) == 4
    assert rows[0]["neighbourhood_name"] == "'=A"
    assert rows[1]["homes_total"] == rows[1]["tier_half_of_homes"] == ""
    tiers = sum(float(rows[0][f"homes_tier_{number}"]) for number in range(1, 9))
    assert tiers + float(rows[0]["homes_unknown"]) == pytest.approx(float(rows[0]["homes_total"]), abs=0.5)
    assert float(rows[0]["homes_total"]) == pytest.approx(coverage.read("homes")[:, :30].sum(), abs=0.5)


def test_the_transmitter_table_says_what_was_understood(coverage):
    rows = read_csv(
        write_transmitters(transmitters_layer(make_scenario(coverage), coverage), coverage.folder)
    )
    assert [row["station_id"] for row in rows] == ["alpha-1", "beta-1", "gamma-1"]
    assert rows[1]["service"] == "Beta <b>Bold</b>"
    assert rows[0]["mast"].startswith("'=Mast")
    assert rows[0]["ground_filed_m"] == rows[0]["homes_decided"] == ""


def test_the_summary_counts_the_homes_of_the_whole_area(coverage):
    tiers = {f"homes_tier_{n}": h for n, h in enumerate([900, 700, 520, 900, 980, 400, 250, 110], start=1)}
    columns = pd.Series({"homes_total": 4836.0, "homes_unknown": 40.2, "homes_without": 3.0} | tiers)
    assert counts_in_words(columns) == (
        "of about 4,800 homes, 2,100 manage indoors, 1,900 need a gable or rooftop antenna, 650 an amplifier "
        "or tall mast; 110 cannot be promised the list by any antenna, under 5 are expected to get none of "
        "it at all; 40 are unknown."
    )
    text = run_in_words(coverage, summarise_whole(coverage))
    assert 'Small <i>Isle</i>, list "main", 90 % sure: of about' in text
    assert "decides for" in text
    assert all(sentence in text for sentence in NOT_COUNTED)
    assert "brief.html" not in text  # only files that are there are named


def test_the_summary_without_homes_speaks_of_land(tmp_path):
    coverage = write_small_coverage(tmp_path, homes=False)
    (tmp_path / "map.html").write_text("x")
    coverage.run["warnings"] = ["a doubt"]
    whole = summarise_whole(coverage)
    assert isinstance(whole["main"], WholeSummary)
    text = run_in_words(coverage, whole)
    assert "of the land, " in text
    assert "2 % is unknown" in text
    assert text.endswith(f"Open {tmp_path / 'map.html'}. 1 warning in {tmp_path / 'run.json'}.")
