"""A result is kept only where everything it was made of, and every file of it, is as it was."""

import json
import os
import re
import shutil

import geopandas as gpd
import pytest
import rasterio
import rasterio.shutil
from click.testing import CliRunner
from reference import ROOT
from small_inputs import write_inputs

from covermap.cli import main
from covermap.result import run_inputs, unchanged
from covermap.result.run_inputs import run_id_of
from covermap.result.unchanged import is_unchanged, made_of, write_digests
from covermap.scenario import read_scenario


@pytest.fixture
def demo(tmp_path):
    """Return a folder with the demo's own files."""
    shutil.copytree(ROOT / "data_demo", tmp_path / "demo")
    return tmp_path / "demo"


def of(folder, **asked):
    return made_of(read_scenario(folder / "scenario.toml"), **asked)


def appended(name):
    """Return a change of a file by one line, its date kept."""

    def change(folder):
        path = folder / name
        before = path.stat()
        path.write_bytes(path.read_bytes() + b"\n")
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))

    return change


def replaced(name, old, new):
    """Return a change of some words in a file."""

    def change(folder):
        text = (folder / name).read_text("utf-8")
        assert text.count(old) == 1
        (folder / name).write_text(text.replace(old, new), "utf-8")

    return change


def written(name):
    """Return a file more."""
    return lambda folder: (folder / name).write_text("a file more", "utf-8")


# Every file and every kind of value a scenario may have.
CHANGES = {
    "a value of the scenario": replaced(
        "scenario.toml", "confidence_percent = 90", "confidence_percent = 91"
    ),
    "a name people read": replaced("scenario.toml", 'name = "Skerra"', 'name = "Skerra Isle"'),
    "a list wanted": replaced("scenario.toml", ', "RF 24"]', "]"),
    "a price": replaced("scenario.toml", "radius_km = 12", "radius_km = 13"),
    "stations": appended("transmitters.csv"),
    "patterns of stations": appended("patterns.csv"),
    "elevation": appended("elevation.tif"),
    "what GDAL reads beside the elevation": written("elevation.tif.aux.xml"),
    "a world file beside the elevation": written("elevation.tfw"),
    "a write-ahead log beside the homes": written("homes.gpkg-wal"),
    "land cover": appended("land_cover.tif"),
    "the area": appended("area.gpkg"),
    "homes": appended("homes.gpkg"),
    "neighbourhoods": appended("neighbourhoods.gpkg"),
    "places": appended("places.gpkg"),
    "prices": appended("prices.csv"),
    "antennas": appended("antennas.csv"),
    "gains of antennas, which the scenario does not name": appended("antenna_gains.csv"),
    "devices, which the scenario does not name": appended("devices.csv"),
}


def test_the_same_inputs_are_the_same_whatever_their_dates(demo):
    before = of(demo)
    for path in demo.iterdir():
        os.utime(path, (1.0, 1.0))
    assert before is not None
    assert of(demo) == before
    (demo / "notes.txt").write_text("not an input", "utf-8")
    assert of(demo) == before


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_of_any_input_is_seen(demo, change):
    before = of(demo)
    CHANGES[change](demo)
    assert of(demo) != before


def test_what_else_decides_a_result_is_seen(demo, tmp_path, monkeypatch):
    found = [of(demo), of(demo, also=["parquet"])]
    for name, change in {
        "software": ("_package_files", lambda: [ROOT / "README.md"]),
        "libraries": ("_libraries", lambda: {"numpy-9.9.9.dist-info"}),
        "versions": ("versions", lambda: {"gdal": "9.9"}),
    }.values():
        with monkeypatch.context() as patched:
            patched.setattr(unchanged, name, change)
            found.append(of(demo))
    shutil.copytree(demo, tmp_path / "elsewhere")
    found.append(of(tmp_path / "elsewhere"))
    assert len(set(found)) == len(found)
    assert None not in found


def test_bearings_of_today_are_of_today_only(demo, monkeypatch):
    class Tomorrow(unchanged.date):
        @classmethod
        def today(cls):
            return cls(2027, 1, 1)

    text = (demo / "transmitters.csv").read_text("utf-8")
    dated = of(demo)
    (demo / "transmitters.csv").write_text(re.sub(r"2026-\d\d-\d\d", "", text), "utf-8")
    undated = of(demo)
    monkeypatch.setattr(unchanged, "date", Tomorrow)
    assert of(demo) != undated
    (demo / "transmitters.csv").write_text(text, "utf-8")
    assert of(demo) == dated


def test_what_no_digest_tells_counts_as_changed(demo):
    (demo / "elevation.vrt").write_text("<VRTDataset>", "utf-8")
    replaced("scenario.toml", "elevation.tif", "elevation.vrt")(demo)
    assert of(demo) is None
    assert not is_unchanged(demo, None)


def test_a_file_that_leads_to_others_is_what_they_hold(demo):
    for name, behind in (("inner.vrt", "elevation.tif"), ("elevation.vrt", "inner.vrt")):
        rasterio.shutil.copy(demo / behind, demo / name, driver="VRT")
    replaced("scenario.toml", "elevation.tif", "elevation.vrt")(demo)
    before, named = of(demo), run_id_of(read_scenario(demo / "scenario.toml"))
    assert before is not None
    (demo / "elevation.tif.aux.xml").write_text("<PAMDataset/>", "utf-8")  # what looking at it may add
    assert run_id_of(read_scenario(demo / "scenario.toml")) == named
    with rasterio.open(demo / "elevation.tif", "r+") as dataset:
        dataset.write(dataset.read(1) + 1, 1)
    assert of(demo) != before
    assert run_id_of(read_scenario(demo / "scenario.toml")) != named


def test_of_very_much_behind_one_file_sizes_and_times_are_asked(demo, monkeypatch):
    monkeypatch.setattr(run_inputs, "MOST_READ_BYTES", 1000)
    rasterio.shutil.copy(demo / "elevation.tif", demo / "elevation.vrt", driver="VRT")
    replaced("scenario.toml", "elevation.tif", "elevation.vrt")(demo)
    named = run_id_of(read_scenario(demo / "scenario.toml"))
    assert of(demo) is not None
    os.utime(demo / "elevation.tif", ns=(0, 0))
    touched = run_id_of(read_scenario(demo / "scenario.toml"))
    assert touched != named
    with (demo / "elevation.vrt").open("a", encoding="utf-8") as file:
        file.write("<!-- itself it is read -->")
    assert run_id_of(read_scenario(demo / "scenario.toml")) != touched


def test_a_shapefile_is_also_what_its_table_holds(demo):
    settings = read_scenario(demo / "scenario.toml").settings
    gpd.read_file(settings.homes.file).to_file(demo / "homes.shp")
    replaced("scenario.toml", settings.homes.file.name, "homes.shp")(demo)
    named = run_id_of(read_scenario(demo / "scenario.toml"))
    appended("homes.dbf")(demo)
    assert run_id_of(read_scenario(demo / "scenario.toml")) != named


@pytest.fixture
def result(tmp_path):
    """Return a folder with a result of two files, and what it was made of."""
    folder = tmp_path / "out"
    (folder / "rasters").mkdir(parents=True)
    (folder / "map.html").write_text("a page", "utf-8")
    (folder / "rasters" / "ground.tif").write_bytes(bytes(range(256)))
    (folder / "run.json").write_text(json.dumps({"result_format": 1, "files": ["map.html"]}), "utf-8")
    write_digests(folder, "made of this")
    return folder


DAMAGES = {
    "a page edited": lambda folder: (folder / "map.html").write_text("a pagE", "utf-8"),
    "a page gone": lambda folder: (folder / "map.html").unlink(),
    "a page that is a folder": lambda folder: ((folder / "map.html").unlink(), (folder / "map.html").mkdir()),
    "a raster cut short": lambda folder: os.truncate(folder / "rasters" / "ground.tif", 255),
    "a raster gone": lambda folder: shutil.rmtree(folder / "rasters"),
    "a record that is no JSON": lambda folder: (folder / "run.json").write_text("{", "utf-8"),
    "no record": lambda folder: (folder / "run.json").unlink(),
    "a fact of the record": lambda folder: in_record(folder, result_format=2),
    "digests of nothing": lambda folder: in_record(folder, digests={"made_of": "made of this"}),
    "digests of another kind": lambda folder: in_record(folder, digests=["made of this"]),
}


def in_record(folder, **changes):
    run = json.loads((folder / "run.json").read_text("utf-8"))
    (folder / "run.json").write_text(json.dumps(run | changes), "utf-8")


def test_a_result_as_it_was_written_is_unchanged(result):
    (result / "notes_of_mine.txt").write_text("not of the result", "utf-8")
    assert is_unchanged(result, "made of this")
    assert not is_unchanged(result, "made of that")
    assert not is_unchanged(result.parent / "nowhere", "made of this")


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_result_that_was_touched_is_not_kept(result, damage):
    DAMAGES[damage](result)
    assert not is_unchanged(result, "made of this")


def test_a_public_result_has_no_digests(result):
    in_record(result, public=True)
    write_digests(result, "made of this")
    assert not is_unchanged(result, "made of this")


def mapped(folder, *more):
    """Run `covermap map`; return what it says and when each file of the result was written."""
    done = CliRunner().invoke(
        main,
        ["map", str(folder / "scenario.toml"), "--output", str(folder / "out"), "--progress", "none", *more],
    )
    assert done.exit_code == 0, done.output
    files = [path for path in (folder / "out").rglob("*") if path.is_file()]
    return done.output, {path: (path.stat().st_ino, path.stat().st_mtime_ns) for path in files}


def test_a_second_run_keeps_what_a_third_with_a_change_makes_again(tmp_path):
    write_inputs(tmp_path)
    said, first = mapped(tmp_path)
    said_again, second = mapped(tmp_path)
    assert "Nothing has changed" not in said
    assert said_again.splitlines()[0].startswith("Nothing has changed")
    assert said_again.splitlines()[1:] == said.splitlines()
    assert second == first
    told = json.loads((tmp_path / "out" / "run.json").read_text("utf-8"))["digests"]["files"]
    assert {tmp_path / "out" / name for name in told} == {*first} - {tmp_path / "out" / "run.json"}
    _, anew = mapped(tmp_path, "--anew")
    assert all(anew[path] != first[path] for path in first)
    replaced("prices.csv", ",60,", ",61,")(tmp_path)
    assert "Nothing has changed" not in mapped(tmp_path)[0]
