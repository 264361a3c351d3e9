"""Disks that are full in earnest: a small one fills up in the middle of `covermap map`, at each stage."""

import os
import resource
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from same_results import assert_same_results

from covermap import jobs
from covermap.errors import CovermapError, InputError
from covermap.result.whole_file import TEMPORARY_FOLDER, write_text

HERE = Path(__file__).parent
DISK_MB = 8  # the whole result on cells of 1000 m takes 2.3 MB


@pytest.fixture
def small_disk(tmp_path):
    """A file system of its own of DISK_MB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m", "covermap_test", str(folder)]
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root may mount a small disk")
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("mounting a small disk is not allowed here")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    folder = tmp_path_factory.mktemp("full_disk") / "demo"
    jobs.write_demo(folder)
    path = folder / "scenario.toml"
    path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    return path


@pytest.fixture(scope="module")
def whole(scenario):
    """A result that had room."""
    jobs.map_scenario(scenario, scenario.parent / "whole", store=scenario.parent / "store", workers=2)
    return scenario.parent / "whole"


def covermap_map(scenario, disk, *filling, limit_bytes=None):
    """Run `covermap map` with result and store on a disk, which fills up as full_disk.py says."""

    def limit():
        if limit_bytes is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    script = [HERE / "full_disk.py", *map(str, filling), disk] if filling else [
        "-c", "from covermap.cli.main import main; main()"
    ]  # fmt: skip
    return subprocess.run(
        [sys.executable, *script, "map", scenario, "--output", disk / "out", "--store", disk / "store",
         "--workers", "2", "--progress", "none"],
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
        preexec_fn=limit,
    )  # fmt: skip


def visible(folder):
    """Return the files below a folder that stand under their final names."""
    files = (path for path in folder.rglob("*") if path.is_file() and TEMPORARY_FOLDER not in path.parts)
    return {path.relative_to(folder) for path in files}


def assert_one_message(done, *words):
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert "a fault in it" not in done.stderr
    message = done.stderr.splitlines()[-1]
    for word in words:
        assert word in message


def test_a_disk_that_fills_up_at_any_stage_leaves_nothing_by_halves(small_disk, scenario, whole):
    out, store = small_disk / "out", small_disk / "store"

    done = covermap_map(scenario, small_disk, "paths", 100)  # some blocks of 15 kB fit
    assert_one_message(done, "The disk of the store", "is full", "finished blocks are kept")
    assert visible(out) == set()
    stored = visible(store)
    assert 0 < len(stored) < len(visible(scenario.parent / "store"))
    assert {path.suffix for path in stored} == {".block"}
    (small_disk / "ballast").unlink()

    done = covermap_map(scenario, small_disk, "reception", 40)
    assert_one_message(done, "The disk of", str(out), "is full", "the same command carries on")
    assert visible(out) == set()
    (small_disk / "ballast").unlink()

    done = covermap_map(scenario, small_disk, "outputs", 1500)  # the layers do not fit
    assert_one_message(done, "The disk of", str(out), "is full", "the same command carries on")
    assert visible(out) == set()
    (small_disk / "ballast").unlink()

    done = covermap_map(scenario, small_disk)
    assert done.returncode == 0, done.stderr
    assert_same_results(whole, out)


@pytest.mark.parametrize(("stage", "free_kb"), [("reception", 40), ("outputs", 1500)])
def test_a_disk_that_fills_up_leaves_the_earlier_result(small_disk, scenario, whole, stage, free_kb):
    out = small_disk / "out"
    shutil.copytree(whole, out)
    shutil.copytree(scenario.parent / "store", small_disk / "store")
    (out / "map.html").write_text("the earlier page")
    before = {name: (out / name).read_bytes() for name in visible(out)}
    done = covermap_map(scenario, small_disk, stage, free_kb)
    assert_one_message(done, "The disk of", str(out), "is full", "the same command carries on")
    assert {name: (out / name).read_bytes() for name in visible(out)} == before
    assert not list(out.rglob(TEMPORARY_FOLDER))


@pytest.mark.parametrize(("limit_bytes", "words"), [(10_000, "The store"), (100_000, "takes no files of")])
def test_files_that_the_system_cuts_short_are_refused_in_words(scenario, whole, tmp_path, limit_bytes, words):
    """A limit on the size of files, as of some file systems: blocks have 15 kB, the layers 650 kB."""
    done = covermap_map(scenario, tmp_path, limit_bytes=limit_bytes)
    assert_one_message(done, words)
    assert not (tmp_path / "out").exists()
    assert {path.suffix for path in visible(tmp_path / "store")} <= {".block"}


@pytest.mark.parametrize(
    ("taken_bytes", "result_elsewhere", "words"),
    [
        (6 * 2**20, False, "free space, or name folders on another disk"),
        (DISK_MB * 2**20 - 100 * 1024, True, r"0 MB for the store.\n  Squares of [12]\d00 m fit"),
    ],
    ids=["result and store", "the store alone"],
)
def test_a_disk_too_small_from_the_start_is_refused_before_anything_is_written(
    small_disk, scenario, tmp_path, taken_bytes, result_elsewhere, words
):
    (small_disk / "other_files").write_bytes(bytes(taken_bytes))
    out = (tmp_path if result_elsewhere else small_disk) / "out"
    with pytest.raises(InputError, match=words):
        jobs.map_scenario(scenario, out, store=small_disk / "store")
    assert [path.name for path in small_disk.iterdir()] == ["other_files"]
    assert not out.exists()


def test_a_file_that_fitted_by_a_hair_is_not_trusted(small_disk):
    """Some libraries say a refused write only to a log, so a disk that is full afterwards is one that was."""
    (small_disk / "ballast").write_bytes(bytes((DISK_MB - 1) * 2**20 + 4096))
    with pytest.raises(CovermapError, match="is full"):
        write_text(small_disk / "page.html", "short")
    assert [path.name for path in small_disk.iterdir()] == ["ballast"]
