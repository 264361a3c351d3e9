"""The commands as a user runs them: exit status, one message, nothing written when the input is wrong."""

import json
import subprocess
import sys

import numpy as np
import pyogrio
import pytest
import rasterio
from click.testing import CliRunner
from reference import check_values

import covermap
from covermap.cli import main

COARSE = {"cell_m = 100": "cell_m = 1000"}


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def write_demo(folder, changes=COARSE, files=None):
    """Write the demo with texts of its scenario changed; files: name -> function of its text."""
    assert run("demo", folder).exit_code == 0
    path = folder / "scenario.toml"
    text = path.read_text("utf-8")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    for name, change in (files or {}).items():
        (folder / name).write_text(change((folder / name).read_text("utf-8")), "utf-8")
    return path


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A finished coarse map of the demo: its scenario and what the command said."""
    scenario = write_demo(tmp_path_factory.mktemp("finished") / "demo")
    result = run("map", scenario, "--also", "parquet", "--progress", "none")
    assert result.exit_code == 0, result.output
    return scenario, result


def test_map_says_in_words_what_homes_need(finished):
    _, result = finished
    assert 'Skerra, list "main", 90 % sure: of about 4,800 homes' in result.stdout
    assert "Signals of mobile networks" in result.stdout
    assert "map.html" in result.stdout


def test_map_writes_what_it_promises(finished):
    out = finished[0].parent / "out"
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    for name in (
        "map.html", "coverage.gpkg", "neighbourhoods.csv", "transmitters.csv", "run.json",
        "rasters/main/tier.tif", "rasters/main/tier_chance.tif", "rasters/main/margin.tif",
        "rasters/main/dead_zone_chance.tif", "rasters/main/limiting_service.tif", "rasters/field/SK1.tif",
    ):  # fmt: skip
        assert name in names


def test_map_writes_layers_and_all_cells_as_parquet_too(finished):
    pytest.importorskip("pyarrow")
    out = finished[0].parent / "out"
    layers = {name for name, geometry in pyogrio.list_layers(out / "coverage.gpkg") if geometry is not None}
    assert {path.stem for path in (out / "parquet").iterdir()} == layers
    assert {"cells", "tier_areas", "neighbourhoods"} <= layers
    files = json.loads((out / "run.json").read_text("utf-8"))["files"]
    assert {f"parquet/{name}.parquet" for name in layers} <= set(files)
    item = json.loads((out / "stac_item.json").read_text("utf-8"))
    assert item["assets"]["parquet/cells.parquet"]["type"] == "application/vnd.apache.parquet"


def test_another_format_needs_what_writes_it(finished, monkeypatch):
    monkeypatch.setattr("covermap.result.exports.importlib.util.find_spec", lambda name: None)
    refused = run("map", finished[0], "--output", finished[0].parent / "new", "--also", "parquet")
    assert refused.exit_code == 2
    assert "pip install 'covermap[parquet]'" in refused.output
    assert not (finished[0].parent / "new").exists()


def test_tier_shares_and_unknown_sum_to_100_percent(finished):
    record = json.loads((finished[0].parent / "out" / "run.json").read_text("utf-8"))
    assert sum(record["tier_share_percent"]["main"].values()) == pytest.approx(100.0, abs=1e-9)
    assert record["not_counted"]
    assert record["sigma_db"]["total"] == pytest.approx(6.8, abs=0.3)  # 6 dB and 0.52 x 1000 m ^ 0.28


def test_changed_erp_computes_no_path_and_moves_the_field_by_its_decibels(finished):
    scenario = finished[0]
    stations = scenario.parent / "transmitters.csv"
    original = stations.read_text("utf-8")
    doubled = original.replace(",24,15.0,", ",24,30.0,")
    assert doubled != original
    stations.write_text(doubled, "utf-8")
    try:
        other = scenario.parent / "out_doubled"
        assert run("map", scenario, "--output", other, "--progress", "none").exit_code == 0
    finally:
        stations.write_text(original, "utf-8")
    record = json.loads((other / "run.json").read_text("utf-8"))
    assert record["blocks"]["computed"] == 0
    assert record["blocks"]["read"] > 0
    before = covermap.open_coverage(scenario.parent / "out").read("field/RPUB")
    after = covermap.open_coverage(other).read("field/RPUB")
    known = ~np.isnan(before)
    assert known.any()
    # two fields, each in steps of 1/128 dB
    np.testing.assert_allclose((after - before)[known], 10.0 * np.log10(2.0), atol=1.0 / 128.0 + 1e-4)


def test_workers_do_not_change_the_data(finished, tmp_path):
    scenario = finished[0]
    arguments = ("--output", tmp_path / "one", "--store", tmp_path / "store", "--workers", 1)
    assert run("map", scenario, *arguments, "--progress", "none").exit_code == 0
    for name in ("main/tier", "main/tier_chance", "main/margin", "field/CTV", "main/aim"):
        one = covermap.open_coverage(tmp_path / "one").read(name)
        several = covermap.open_coverage(scenario.parent / "out").read(name)
        np.testing.assert_array_equal(one, several)


def test_rasters_keep_crs_unit_and_nodata(finished):
    with rasterio.open(finished[0].parent / "out" / "rasters" / "main" / "margin.tif") as raster:
        assert raster.crs.to_epsg() == 32625
        assert raster.units == ("dB",)
        assert np.isnan(raster.nodata)
        assert raster.transform.a == 1000.0


def test_second_run_replaces_the_first_and_leaves_foreign_files(finished):
    scenario = finished[0]
    note = scenario.parent / "out" / "note.txt"
    note.write_text("mine", "utf-8")
    assert run("map", scenario, "--progress", "none").exit_code == 0
    assert note.read_text("utf-8") == "mine"
    note.unlink()


def test_progress_as_json_lines_on_stderr(finished):
    result = run("map", finished[0], "--progress", "json")
    lines = [json.loads(line) for line in result.stderr.splitlines() if line.startswith("{")]
    assert lines
    assert set(lines[-1]) == {"stage", "fraction", "seconds_left"}
    assert lines[-1]["fraction"] == 1.0


def test_check_says_what_was_understood(finished):
    result = run("check", finished[0])
    assert result.exit_code == 0
    for words in (
        "squares of 1000 m, EPSG:32625",
        "0 to 842 m",
        "20 at 6 masts, as of 2026-09-01",
        "sigma",
        "Cost",
        "0 errors",
    ):
        assert words in result.stdout


def test_check_counts_the_paths_the_store_holds(finished, tmp_path):
    computed = json.loads((finished[0].parent / "out" / "run.json").read_text("utf-8"))["blocks"]
    blocks = sum(computed.values())
    assert f"{blocks} blocks of path losses, {blocks} in the store" in run("check", finished[0]).stdout
    empty = run("check", finished[0], "--store", tmp_path / "empty")
    assert f"{blocks} blocks of path losses, 0 in the store" in empty.stdout
    assert not (tmp_path / "empty").exists()


def test_check_of_a_new_scenario_names_what_is_missing(tmp_path):
    result = run("new", tmp_path / "fresh")
    assert result.exit_code == 0
    assert "Still missing" in result.stdout
    assert run("check", tmp_path / "fresh" / "scenario.toml").exit_code == 2


def truncate(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def without_crs(path):
    with rasterio.open(path) as source:
        profile, values = source.profile, source.read()
    profile.update(crs=None)
    with rasterio.open(path, "w", **profile) as target:
        target.write(values)


def cut_to_the_west(path):
    """Keep the western half, so that the eastern masts stand outside."""
    with rasterio.open(path) as source:
        profile, values = source.profile, source.read()
    half = values[:, :, : values.shape[2] // 2]
    profile.update(width=half.shape[2])
    with rasterio.open(path, "w", **profile) as target:
        target.write(half)


SERVICES = '["Skerra One", "8.1", "Coast TV", "North News", "RF 24"]'
WRONG = {
    "unknown key": (dict(COARSE, cell_m="cel_m"), {}, ["cel_m", "cell_m"]),
    "empty wanted list": (
        dict(COARSE, **{f"services = {SERVICES}": "services = []"}),
        {},
        ["services"],
    ),
    "unknown service": (dict(COARSE, **{'"Coast TV"': '"Coats TV"'}), {}, ["Coats TV", "Coast TV"]),
    "swapped coordinates": (
        COARSE,
        {"transmitters.csv": lambda text: text.replace("44.011130,-35.660299", "-35.660299,44.011130")},
        ["latitude"],
    ),
    "displayed number as RF channel": (
        COARSE,
        {"transmitters.csv": lambda text: text.replace(",-35.660299,21,", ",-35.660299,5.1,")},
        ["rf_channel", "5.1", "displayed_channel"],
    ),
    "ERP without unit": (
        COARSE,
        {"transmitters.csv": lambda text: text.replace("erp_kw", "erp")},
        ["erp_kw"],
    ),
    "negative height": (
        COARSE,
        {"transmitters.csv": lambda text: text.replace(",21,40.0,116.0", ",21,40.0,-116.0")},
        ["antenna_height_m", "-116"],
    ),
    "no stations": (
        COARSE,
        {"transmitters.csv": lambda text: text.splitlines()[0] + "\n"},
        ["no stations"],
    ),
    "repeated id with different rows": (
        COARSE,
        {"transmitters.csv": lambda text: text.replace("SK2,Skerra Two", "SK1,Skerra Two")},
        ["SK1"],
    ),
    "NaN coordinates": (
        COARSE,
        {"transmitters.csv": lambda text: text.replace("44.011130,-35.660299,21", "nan,-35.660299,21")},
        ["latitude_deg"],
    ),
}


@pytest.mark.parametrize("case", sorted(WRONG))
def test_wrong_input_gives_one_message_and_writes_nothing(case, tmp_path):
    changes, files, words = WRONG[case]
    result = run("map", write_demo(tmp_path / "demo", changes, files), "--progress", "none")
    assert_refused(result, tmp_path / "demo", words)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (truncate, ["elevation.tif"]),
        (without_crs, ["elevation.tif", "no CRS"]),
        (cut_to_the_west, ["does not reach", "Long Rigg"]),
    ],
)
def test_spoiled_elevation_is_refused(spoil, words, tmp_path):
    scenario = write_demo(tmp_path / "demo")
    spoil(tmp_path / "demo" / "elevation.tif")
    assert_refused(run("map", scenario, "--progress", "none"), tmp_path / "demo", words)


def test_request_too_large_names_the_cell_that_fits(tmp_path):
    wide = "cell_m = 5\nwest = -40\neast = -30\nsouth = 40\nnorth = 48"
    scenario = write_demo(tmp_path / "demo", {"cell_m = 100": wide, 'area = "area.gpkg"': ""})
    assert_refused(
        run("map", scenario, "--progress", "none"), tmp_path / "demo", ["cell_m is 5", "Use cell_m ="]
    )


def test_area_beyond_the_elevation_is_refused(tmp_path):
    far = "cell_m = 1000\nwest = 10\neast = 10.1\nsouth = 44\nnorth = 44.1"
    scenario = write_demo(tmp_path / "demo", {"cell_m = 100": far, 'area = "area.gpkg"': ""})
    assert_refused(
        run("map", scenario, "--progress", "none"), tmp_path / "demo", ["10.0", "elevation.tif", "[grid]"]
    )


def test_message_about_a_file_that_is_no_text_holds_nothing_a_terminal_obeys(tmp_path):
    noise = {"transmitters.csv": lambda text: "\x1b[2J\x07\x00" + "x" * 100_000}
    result = run("map", write_demo(tmp_path / "demo", COARSE, noise), "--progress", "none")
    assert_refused(result, tmp_path / "demo", ["transmitters.csv"])
    assert not set("\x1b\x07\x00") & set(result.stderr)
    assert len(result.stderr) < 2000


def test_foreign_folder_is_refused_without_overwrite(finished, tmp_path):
    (tmp_path / "diary.txt").write_text("mine", "utf-8")
    result = run("map", finished[0], "--output", tmp_path, "--progress", "none")
    assert result.exit_code == 2
    assert "diary.txt" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["diary.txt"]


def test_unwritable_output_is_refused(finished, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("", "utf-8")
    result = run("map", finished[0], "--output", blocked / "out", "--progress", "none")
    assert result.exit_code == 2
    assert "file" in result.stderr


def assert_refused(result, folder, words):
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    assert result.stdout == ""
    assert "Nothing was written." in result.stderr
    for word in words:
        assert word in result.stderr
    assert not (folder / "out").exists()


def test_html_in_a_name_stays_text(tmp_path):
    scenario = write_demo(
        tmp_path / "demo",
        dict(COARSE, **{'"Coast TV"': '"<b>Coast</b>"'}),
        {"transmitters.csv": lambda text: text.replace("Coast TV", "<b>Coast</b>")},
    )
    result = run("map", scenario, "--progress", "none")
    assert result.exit_code == 0, result.output
    assert "<b>Coast</b>" not in (tmp_path / "demo" / "out" / "map.html").read_text("utf-8")


def test_help_answers_without_heavy_imports():
    script = "import sys; sys.argv = ['covermap', '--help']\nfrom covermap.cli import main\n"
    script += "try:\n    main()\nexcept SystemExit:\n    pass\n"
    script += "print(sorted({'numpy', 'numba', 'rasterio', 'pydantic', 'geopandas'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("[]")


def test_path_command_answers_free_space(tmp_path):
    (tmp_path / "flat.csv").write_text(
        "distance_km,ground_m\n" + "".join(f"{0.1 * i:.1f},0\n" for i in range(101)), "utf-8"
    )
    cases = tmp_path / "cases.csv"
    cases.write_text(
        "case_id,profile,model,frequency_mhz,tx_height_m,rx_height_m,latitude_deg\n"
        "a,flat,free_space,600,100,100,44\nb,nowhere,free_space,600,100,100,44\n",
        "utf-8",
    )
    result = run("path", cases, "--profiles", tmp_path)
    assert result.exit_code == 0
    assert "nowhere" in result.stderr
    row = result.stdout.splitlines()[1].split(",")
    # ITU-R P.1812-8 equation (8): 92.4 + 20 log 0.6 + 20 log 10 = 107.96 dB
    assert float(row[1]) == pytest.approx(107.963, abs=0.001)
    # ITU-R P.525: 106.92 - 20 log 10 = 86.9 dB(uV/m) for 1 kW ERP, 0.04 dB from P.1812's constants
    assert float(row[2]) == pytest.approx(86.92, abs=0.05)


def test_path_command_answers_the_irregular_terrain_model_beside_another(tmp_path):
    points = [row for row in check_values("itm_profiles.csv") if row["table"] == "pfl_3"]
    lines = [f"{row['distance_km']},{row['ground_m']}" for row in points]
    (tmp_path / "hills.csv").write_text("distance_km,ground_m\n" + "\n".join(lines) + "\n", "utf-8")
    header = "case_id,profile,model,frequency_mhz,tx_height_m,rx_height_m,latitude_deg,time_percent,"
    header += "location_percent,situation_percent,variability_mode,climate,n0,permittivity,conductivity_s_m,"
    header += "polarization\n"
    rows = (
        "p2p_3,hills,itm,990,15,3,,15,40,50,12,4,301,15,0.008,horizontal\n"
        "word,hills,itm,990,15,3,,15,40,50,12,desert,301,15,0.008,horizontal\n"
        "other,hills,p1812,990,15,3,44,,,,,,,,,\n"
        "half,hills,itm,990,15,3,,,,,1.5,4,301,15,0.008,horizontal\n"
        "bare,hills,itm,990,15,3,,,,,,,301,15,0.008,horizontal\n"
    )
    (tmp_path / "cases.csv").write_text(header + rows, "utf-8")
    result = run("path", tmp_path / "cases.csv", "--profiles", tmp_path)
    assert result.exit_code == 0
    losses = {line.split(",")[0]: float(line.split(",")[1]) for line in result.stdout.splitlines()[1:]}
    assert losses["p2p_3"] == losses["word"] == pytest.approx(178.53, abs=0.006)  # NTIA ITM test set, p2p_3
    assert set(losses) == {"p2p_3", "word", "other"}
    assert 'variability_mode is "1.5"; it must be a whole number' in result.stderr
    assert 'variability_mode, climate is empty; a case of model "itm" needs it' in result.stderr


def test_path_command_with_no_good_row_is_refused(tmp_path):
    cases = tmp_path / "cases.csv"
    cases.write_text("case_id,profile,model\na,none,p1812\n", "utf-8")
    result = run("path", cases, "--profiles", tmp_path)
    assert result.exit_code == 2
    assert result.stdout == ""
