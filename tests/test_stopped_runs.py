"""Runs that are asked to stop, robbed of their folder, or two at once: the earlier result stays as it was."""

import contextlib
import os
import re
import shutil
import signal
import socket
import sqlite3

import pyogrio
import pytest
from commands_in_trouble import content, ended, hidden, start_map, wait_for, write_coarse_demo
from same_results import assert_same_results

from covermap import jobs


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return write_coarse_demo(tmp_path_factory.mktemp("stopped") / "demo")


@pytest.fixture(scope="module")
def whole(scenario):
    """A result that nothing happened to; its store is the one all runs here use."""
    jobs.map_scenario(scenario, scenario.parent / "whole", store=scenario.parent / "store", workers=2)
    return scenario.parent / "whole"


@pytest.fixture
def earlier(whole, tmp_path):
    """A folder with an earlier result, known by its page, and a file of somebody else."""
    shutil.copytree(whole, tmp_path / "out")
    (tmp_path / "out" / "map.html").write_text("the earlier page")
    (tmp_path / "out" / "notes.txt").write_text("mine")
    return tmp_path / "out"


@pytest.mark.parametrize("stage", ["reception", "outputs"])
@pytest.mark.parametrize("asked", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_asked_to_stop_it_ends_as_by_the_keyboard_and_leaves_the_earlier_result(
    scenario, earlier, asked, stage
):
    before = content(earlier)
    running = start_map(scenario, earlier, scenario.parent / "store")
    wait_for(running, stage)
    running.send_signal(getattr(signal, asked))
    status, said, wrong = ended(running)
    assert (status, said) == (130, "")
    assert wrong == "Stopped. The same command carries on where this one stopped."
    assert content(earlier) == before
    assert hidden(earlier) == []


def test_a_hang_up_that_is_ignored_stays_ignored(scenario, earlier, whole):
    """So that a run that nohup started ends, though its terminal closes."""
    running = start_map(
        scenario,
        earlier,
        scenario.parent / "store",
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN),
    )
    wait_for(running, "reception")
    running.send_signal(signal.SIGHUP)
    assert ended(running)[0] == 0
    (earlier / "notes.txt").unlink()
    assert_same_results(whole, earlier)


def test_an_output_folder_removed_in_the_middle_is_said_and_the_next_run_is_whole(scenario, earlier, whole):
    running = start_map(scenario, earlier, scenario.parent / "store")
    wait_for(running, "outputs")
    running.send_signal(signal.SIGSTOP)
    shutil.rmtree(earlier)
    running.send_signal(signal.SIGCONT)
    status, _, wrong = ended(running)
    assert status == 1
    assert wrong.startswith(f"{earlier} was removed while the run was writing there")
    assert not earlier.exists()
    jobs.map_scenario(scenario, earlier, store=scenario.parent / "store", workers=2)
    assert_same_results(whole, earlier)


def test_a_second_run_into_the_same_folder_is_refused_and_the_first_ends_whole(scenario, earlier, whole):
    first = start_map(scenario, earlier, scenario.parent / "store")
    wait_for(first, "reception")
    first.send_signal(signal.SIGSTOP)
    try:
        status, _, wrong = ended(start_map(scenario, earlier, scenario.parent / "store"))
    finally:
        first.send_signal(signal.SIGCONT)
    assert status == 2
    who = re.escape(f"process {first.pid} on {socket.gethostname()}, begun ")
    assert re.match(rf"{re.escape(str(earlier))}: another run is writing here: {who}", wrong)
    assert wrong.endswith("Nothing was written.")
    assert ended(first)[0] == 0
    (earlier / "notes.txt").unlink()
    assert_same_results(whole, earlier)


def test_a_killed_run_is_no_hindrance_to_the_next(scenario, earlier, whole):
    before = content(earlier)
    running = start_map(scenario, earlier, scenario.parent / "store")
    wait_for(running, "outputs")
    running.kill()
    running.communicate()
    left = {name: text for name, text in content(earlier).items() if "unfinished" not in name.parts[0]}
    assert left == before
    assert ended(start_map(scenario, earlier, scenario.parent / "store"))[0] == 0
    (earlier / "notes.txt").unlink()
    assert_same_results(whole, earlier)


@pytest.mark.parametrize("journal", ["DELETE", "WAL"])
def test_layers_that_somebody_is_writing_into_are_replaced_whole(scenario, earlier, whole, journal):
    """As by a GIS with an unsaved edit: it goes with the file that went aside, or cannot be saved."""
    database = earlier / "coverage.gpkg"
    with contextlib.closing(sqlite3.connect(database, isolation_level=None)) as writer:
        writer.execute(f"PRAGMA journal_mode = {journal}")
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("INSERT INTO run_metadata (key, value) VALUES ('edit', 'not saved')")
        assert ended(start_map(scenario, earlier, scenario.parent / "store"))[0] == 0
        assert not list(earlier.glob("coverage.gpkg-*"))
        with contextlib.suppress(sqlite3.OperationalError):
            writer.execute("COMMIT")
    assert "not saved" not in set(pyogrio.read_dataframe(database, layer="run_metadata")["value"])
    for ending in ("-wal", "-shm", "-journal"):
        (earlier / f"coverage.gpkg{ending}").unlink(missing_ok=True)
    (earlier / "notes.txt").unlink()
    assert_same_results(whole, earlier)


def test_an_input_found_wrong_late_is_not_told_as_if_nothing_had_happened(
    scenario, earlier, monkeypatch, capsys
):
    """What is refused after the first block was kept may not say that nothing was written."""
    from covermap.cli.main import main
    from covermap.errors import InputError

    def refuse(*_, **__):
        raise InputError("places.gpkg: gone meanwhile.")

    monkeypatch.setattr("covermap.jobs.write_outputs.write_layers_and_pages", refuse)
    before = content(earlier)
    with pytest.raises(SystemExit) as status:
        main(["map", str(scenario), "--output", str(earlier), "--progress", "none",
              "--store", str(scenario.parent / "store")])  # fmt: skip
    assert status.value.code == 2
    wrong = capsys.readouterr().err
    assert "Nothing was written" not in wrong
    assert f"{earlier} is as it was before the run" in wrong
    assert content(earlier) == before
    assert os.listdir(earlier)
