"""Runs that end early: killed, interrupted, out of disk, damaged, evicted. The next ends in the same data."""

import errno
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner
from same_results import assert_same_results, raster_bytes

from covermap import jobs
from covermap.cli.main import main
from covermap.errors import CovermapError
from covermap.grid.executor import Threads
from covermap.inputs.prepare import prepare
from covermap.jobs.predict import run
from covermap.scenario import read_scenario

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    folder = tmp_path_factory.mktemp("resume") / "demo"
    jobs.write_demo(folder)
    path = folder / "scenario.toml"
    text = path.read_text("utf-8")
    assert "cell_m = 100" in text
    path.write_text(text.replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    return path


@pytest.fixture(scope="module")
def whole(scenario):
    """A result that was never interrupted."""
    jobs.map_scenario(scenario, scenario.parent / "whole", store=scenario.parent / "store", workers=1)
    return scenario.parent / "whole"


def paths_and_rasters(scenario, output, store, workers=1, progress=None):
    return run(prepare(read_scenario(scenario)), output, store, Threads(workers), progress)


def test_killed_at_any_moment_the_same_command_ends_in_the_same_data(scenario, whole, tmp_path):
    done = subprocess.run(
        [sys.executable, HERE / "killed_runs.py", scenario, tmp_path / "out", tmp_path / "store", "7"],
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.count(" -9\n") >= 5, done.stdout  # SIGKILL; a rename that never came ends with 0
    assert_same_results(whole, tmp_path / "out")


def test_nothing_half_written_stands_under_a_final_name(scenario, tmp_path, monkeypatch):
    stops = iter([False])

    def stop_in_reception(stage, fraction, words):
        return stage != "reception" or next(stops)

    with pytest.raises(KeyboardInterrupt):
        paths_and_rasters(scenario, tmp_path / "out", tmp_path / "store", progress=stop_in_reception)
    assert not (tmp_path / "out").exists()
    assert not list((tmp_path / "store").rglob("*.tmp"))


def test_interrupted_by_the_keyboard_the_command_ends_with_130(scenario, monkeypatch, tmp_path):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(sys.modules["covermap.jobs.predict"], "_receive_all", interrupted)
    done = CliRunner().invoke(
        main, ["map", str(scenario), "--output", str(tmp_path / "out"), "--progress", "none"]
    )
    assert done.exit_code == 130
    assert "carries on" in done.output


def test_a_full_disk_keeps_what_is_done_and_the_next_run_goes_on(scenario, whole, tmp_path, monkeypatch):
    write, written = Path.write_bytes, []

    def full_after_three(path, content):
        if path.suffix == ".tmp":
            written.append(path)
            if len(written) > 3:
                write(path, content[:100])  # the part that still fitted
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        return write(path, content)

    monkeypatch.setattr(Path, "write_bytes", full_after_three)
    with pytest.raises(CovermapError, match="full"):
        paths_and_rasters(scenario, tmp_path / "out", tmp_path / "store")
    monkeypatch.undo()
    assert len(list((tmp_path / "store").rglob("*.block"))) == 3
    assert not list((tmp_path / "store").rglob("*.tmp"))
    coverage = paths_and_rasters(scenario, tmp_path / "out", tmp_path / "store")
    assert coverage.run["blocks"]["read"] == 3
    assert raster_bytes(tmp_path / "out") == raster_bytes(whole)


def test_a_damaged_block_is_noticed_and_computed_again(scenario, whole, tmp_path):
    paths_and_rasters(scenario, tmp_path / "out", tmp_path / "store")
    block = sorted((tmp_path / "store").rglob("*.block"))[2]
    good = block.read_bytes()
    block.write_bytes(good[:400] + b"\0\0\0\0" + good[404:])
    paths_and_rasters(scenario, tmp_path / "again", tmp_path / "store")
    assert block.read_bytes() == good
    assert raster_bytes(tmp_path / "again") == raster_bytes(whole)


def test_two_runs_on_one_store_at_once_are_safe(scenario, whole, tmp_path):
    failed = []

    def one(name):
        try:
            paths_and_rasters(scenario, tmp_path / name, tmp_path / "store")
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=one, args=(name,)) for name in ("one", "two")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert raster_bytes(tmp_path / "one") == raster_bytes(tmp_path / "two") == raster_bytes(whole)


def test_two_commands_on_one_store_at_once_are_safe(scenario, whole, tmp_path):
    """Two processes, as of two people: both begin with an empty store and write the same blocks."""
    command = [sys.executable, "-c", "from covermap.cli.main import main; main()", "map", str(scenario)]
    command += ["--store", str(tmp_path / "store"), "--workers", "2", "--progress", "none", "--output"]
    environment = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    running = [
        subprocess.Popen([*command, tmp_path / name], stderr=subprocess.PIPE, text=True, env=environment)
        for name in ("one", "two")
    ]
    for process in running:
        said = process.communicate(timeout=400)[1]
        assert process.returncode == 0, said
    assert not list((tmp_path / "store").rglob("*.tmp"))
    for name in ("one", "two"):
        assert_same_results(whole, tmp_path / name)


def test_eviction_does_not_break_a_run(scenario, whole, tmp_path, monkeypatch):
    block_bytes = sorted(path.stat().st_size for path in (scenario.parent / "store").rglob("*.block"))[-1]
    limit_gb = 3.2 * block_bytes / 1e9  # three of the run's blocks fit

    monkeypatch.setattr(sys.modules["covermap.jobs.open_store"], "store_limit_gb", lambda prepared: limit_gb)
    paths_and_rasters(scenario, tmp_path / "out", tmp_path / "store", workers=2)
    kept = sum(path.stat().st_size for path in (tmp_path / "store").rglob("*.block"))
    assert kept <= limit_gb * 1e9
    assert raster_bytes(tmp_path / "out") == raster_bytes(whole)
