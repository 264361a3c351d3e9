"""A result takes the place of the earlier one whole or not at all; one run at a time writes into a folder."""

import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from covermap.errors import CovermapError, InputError
from covermap.result.folder_lock import LOCK_FILE, SILENT_S, locked
from covermap.result.new_result import new_result, settle
from covermap.result.result_folder import require_ours
from covermap.result.whole_file import TEMPORARY_FOLDER

OLD = (
    "map.html",
    "brief.html",
    "coverage.gpkg",
    "rasters/main/tier.tif",
    "rasters/few/tier.tif",
    "stock.csv",
)
NEW = ("map.html", "brief.html", "coverage.gpkg", "rasters/main/tier.tif", "rasters/main/aim.tif")
FOREIGN = ("notes.txt", "relays/relays.html", "rasters/few/mine.txt")
MOST_STEPS = 60  # renames and removals of one exchange, more than there are


def write_result(folder, names, text):
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    record = {"result_format": 1, "text": text, "files": list(names)}
    (folder / "run.json").write_text(json.dumps(record))


def visible(folder):
    """Return the text of every file that stands under a final name; of run.json what it says of itself."""
    found = {}
    for path in folder.rglob("*"):
        name = path.relative_to(folder)
        if path.is_file() and TEMPORARY_FOLDER not in name.parts:
            text = path.read_text()
            found[name.as_posix()] = json.loads(text)["text"] if path.name == "run.json" else text
    return found


def whole(names, text):
    return dict.fromkeys([*names, "run.json"], text) | dict.fromkeys(FOREIGN, "mine")


@pytest.fixture
def folder(tmp_path):
    """An earlier result with files of somebody else in it."""
    folder = tmp_path / "out"
    write_result(folder, OLD, "old")
    for name in FOREIGN:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("mine")
    return folder


def test_the_new_result_replaces_the_earlier_one_and_leaves_files_of_others(folder):
    with new_result(folder) as new:
        write_result(new, NEW, "new")
        assert visible(folder) == whole(OLD, "old")
    assert visible(folder) == whole(NEW, "new")
    assert not (folder / TEMPORARY_FOLDER).exists()


def replaced_but_killed_at(folder, step):
    """Replace the result in a child that is killed, as nothing can stop it, at a step; return its status."""
    child = os.fork()
    if child == 0:
        done = []

        def counted(act):
            def counted_act(*arguments, **named):
                done.append(act)
                if len(done) > step:
                    os.kill(os.getpid(), signal.SIGKILL)
                return act(*arguments, **named)

            return counted_act

        with new_result(folder) as new:
            write_result(new, NEW, "new")
            os.replace, os.unlink, os.rmdir = (counted(act) for act in (os.replace, os.unlink, os.rmdir))
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def test_killed_at_any_step_it_is_the_earlier_or_the_new_result_and_never_a_mixture(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "before")
    outcomes = []
    for step in range(MOST_STEPS):
        shutil.rmtree(folder)
        shutil.copytree(tmp_path / "before", folder)
        status = replaced_but_killed_at(folder, step)
        if status == 0:
            break
        assert status == -signal.SIGKILL
        texts = {text for name, text in visible(folder).items() if name not in FOREIGN}
        assert texts in ({"old"}, {"new"}, set()), f"step {step} mixes two results"
        require_ours(folder)
        settle(folder)
        found = visible(folder)
        assert found in (whole(OLD, "old"), whole(NEW, "new")), f"step {step}"
        outcomes.append(found["run.json"])
        with new_result(folder) as new:  # what the kill left is no hindrance
            write_result(new, OLD, "third")
        assert visible(folder) == whole(OLD, "third")
    assert status == 0
    assert outcomes == sorted(outcomes, reverse=True)  # first old, from the journal on new
    assert set(outcomes) == {"old", "new"}
    assert len(outcomes) > len(OLD) + len(NEW)


def replace_result(folder, error=None, removed=None):
    """Replace a result; then remove a folder and raise an error before the end, where they are given."""
    with new_result(folder) as new:
        write_result(new, NEW, "new")
        if removed is not None:
            shutil.rmtree(removed)
        if error is not None:
            raise error
        write_result(new, NEW, "new")


@pytest.mark.parametrize("error", [RuntimeError("stop"), InputError("stop"), KeyboardInterrupt()])
def test_whatever_stops_a_run_the_earlier_result_stays(folder, error):
    with pytest.raises(type(error)) as raised:
        replace_result(folder, error)
    assert visible(folder) == whole(OLD, "old")
    assert not (folder / TEMPORARY_FOLDER).exists()
    if isinstance(error, Exception):
        assert any("as it was before" in note for note in raised.value.__notes__)


def test_an_exchange_that_fails_half_way_is_taken_back(folder):
    (folder / "rasters" / "main" / "aim.tif").mkdir()  # a folder in the way of a file
    with pytest.raises(CovermapError, match=r"could not take the place.*aim\.tif"):
        replace_result(folder)
    (folder / "rasters" / "main" / "aim.tif").rmdir()
    assert visible(folder) == whole(OLD, "old")
    assert not (folder / TEMPORARY_FOLDER).exists()


def test_a_folder_that_was_not_there_is_not_left_behind(tmp_path):
    with pytest.raises(RuntimeError):
        replace_result(tmp_path / "a" / "b" / "out", RuntimeError("stop"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("removed", ["out", f"out/{TEMPORARY_FOLDER}"])
@pytest.mark.parametrize("error", [None, RuntimeError("of a library that misses its file")])
def test_a_folder_removed_in_the_middle_is_said(tmp_path, removed, error):
    with pytest.raises(CovermapError, match="was removed while the run was writing"):
        replace_result(tmp_path / "out", error, tmp_path / removed)
    assert visible(tmp_path) == {}


def test_no_side_file_of_the_earlier_result_is_applied_to_the_new_one(folder):
    """SQLite would play a write-ahead log left beside a database into whatever bears the database's name."""
    database = folder / "coverage.gpkg"
    database.unlink()
    with closing(sqlite3.connect(database)) as writer:
        writer.execute("PRAGMA journal_mode = WAL")
        writer.execute("CREATE TABLE homes (note TEXT)")
        writer.execute("INSERT INTO homes VALUES ('of the earlier result')")
        writer.commit()
        assert (folder / "coverage.gpkg-wal").stat().st_size > 0
        (folder / "rasters/main/tier.tif.aux.xml").write_text("statistics of the earlier raster")
        with new_result(folder) as new:
            write_result(new, NEW, "new")
            (new / "coverage.gpkg").unlink()
            with closing(sqlite3.connect(new / "coverage.gpkg")) as fresh:
                fresh.execute("CREATE TABLE homes (note TEXT)")
                fresh.commit()
        writer.execute("INSERT INTO homes VALUES ('still writing')")  # into the file that went aside
        writer.commit()
        with closing(sqlite3.connect(database)) as reader:
            assert reader.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert reader.execute("SELECT * FROM homes").fetchall() == []
    names = {path.name for path in folder.rglob("*") if path.is_file()}
    assert not {"coverage.gpkg-wal", "coverage.gpkg-shm", "tier.tif.aux.xml"} & names


def test_a_journal_moves_nothing_out_of_its_folder(tmp_path):
    hidden = tmp_path / "out" / TEMPORARY_FOLDER
    (hidden / "result").mkdir(parents=True)
    (tmp_path / "diary.txt").write_text("mine")
    (hidden / "exchange.json").write_text(json.dumps({"new": ["../diary.txt"], "earlier": ["../diary.txt"]}))
    settle(tmp_path / "out")
    assert (tmp_path / "diary.txt").read_text() == "mine"


@pytest.mark.parametrize("text", ["", "[]", '{"new": 3}', '{"new": [3], "earlier": []}', "\x00"])
def test_a_journal_that_is_none_is_said_in_words(tmp_path, text):
    (tmp_path / TEMPORARY_FOLDER).mkdir()
    (tmp_path / TEMPORARY_FOLDER / "exchange.json").write_text(text)
    with pytest.raises(CovermapError, match="cannot be carried on"):
        settle(tmp_path)


HOLDER = """
import sys, time
from pathlib import Path
from covermap.result.folder_lock import locked
with locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(600)
"""


@pytest.fixture
def holder(tmp_path):
    """Another process that holds the lock of tmp_path/out."""
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])}
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, tmp_path / "out"], stdout=subprocess.PIPE, text=True, env=environment
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def test_a_second_run_is_refused_naming_process_and_machine(tmp_path, holder):
    who = re.escape(f"process {holder.pid} on {socket.gethostname()}")
    words = f"another run is writing here: {who}, begun 20"
    with pytest.raises(InputError, match=words), new_result(tmp_path / "out"):
        pass
    assert holder.poll() is None
    assert (tmp_path / "out" / TEMPORARY_FOLDER / LOCK_FILE).is_file()


def test_the_lock_of_a_killed_process_is_stale_at_once(tmp_path, holder):
    holder.kill()
    holder.wait()
    assert (tmp_path / "out" / TEMPORARY_FOLDER / LOCK_FILE).is_file()
    with new_result(tmp_path / "out") as new:
        write_result(new, NEW, "new")
    assert visible(tmp_path / "out")["run.json"] == "new"


def test_two_threads_of_one_process_are_two_runs(tmp_path):
    with locked(tmp_path), pytest.raises(InputError, match=f"process {os.getpid()}"), locked(tmp_path):
        pass


@pytest.mark.parametrize(
    ("age_s", "is_refused"),
    [(1.0, True), (0.5 * SILENT_S, True), (2.0 * SILENT_S, False), (-2.0 * SILENT_S, False)],
)  # the last: the clock went back since, so that the sign of life lies in the future
def test_a_run_on_another_machine_is_alive_while_it_gives_signs_of_life(tmp_path, age_s, is_refused):
    lock = tmp_path / TEMPORARY_FOLDER / LOCK_FILE
    lock.parent.mkdir()
    lock.write_text(json.dumps({"pid": 7, "host": "mill", "begun": "2026-09-01T08:00:00+00:00"}))
    os.utime(lock, (time.time() - age_s, time.time() - age_s))
    if is_refused:
        with (
            pytest.raises(InputError, match="process 7 on mill, begun 2026-09-01T08:00:00"),
            locked(tmp_path),
        ):
            pass
        assert json.loads(lock.read_text())["host"] == "mill"
    else:
        with locked(tmp_path):
            assert json.loads(lock.read_text())["pid"] == os.getpid()


def test_a_holder_gives_signs_of_life(tmp_path, monkeypatch):
    monkeypatch.setattr("covermap.result.folder_lock.SIGN_OF_LIFE_EACH_S", 0.01)
    with locked(tmp_path):
        lock = tmp_path / TEMPORARY_FOLDER / LOCK_FILE
        os.utime(lock, (1.0, 1.0))
        until = time.monotonic() + 10.0
        while lock.stat().st_mtime < 2.0 and time.monotonic() < until:
            time.sleep(0.01)
        assert lock.stat().st_mtime > 2.0
