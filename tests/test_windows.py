"""What the command needs of the system, where that is Windows: locks, memory, no fork, no open file moved."""

import ctypes
import json
import os
import struct
import subprocess
import sys
import types
from pathlib import Path

import pytest

from covermap.jobs import machine_memory
from covermap.result.folder_lock import LOCK_FILE
from covermap.result.whole_file import TEMPORARY_FOLDER

HERE = Path(__file__).parent
HOLD = """
import sys, as_on_windows
as_on_windows.become_windows()
from pathlib import Path
from covermap.errors import InputError
from covermap.kernel_cache import compiling, is_being_compiled
from covermap.result.folder_lock import locked
try:
    with locked(Path(sys.argv[1])), compiling("a_set"):
        print(f"held {is_being_compiled('a_set')}", flush=True)
        sys.stdin.readline()
except InputError as error:
    print(error, is_being_compiled("a_set"))
"""


def environment(tmp_path):
    kernels = {"NUMBA_CACHE_DIR": str(tmp_path / "kernels")}
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(HERE.parent), str(HERE)]), **kernels}


def covermap(tmp_path, *arguments):
    command = [sys.executable, HERE / "as_on_windows.py", *arguments]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=tmp_path, env=environment(tmp_path)
    )


@pytest.fixture
def holder(tmp_path):
    """Return a function that starts a process which takes the locks and holds them until it is told."""
    started = []

    def start():
        command = [sys.executable, "-c", HOLD, tmp_path / "out"]
        pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
        started.append(subprocess.Popen(command, text=True, env=environment(tmp_path), **pipes))
        return started[-1]

    yield start
    for process in started:
        process.kill()
        process.communicate()


def test_a_demo_is_written_and_checked(tmp_path):
    written = covermap(tmp_path, "demo", "demo")
    assert written.returncode == 0, written.stderr
    checked = covermap(tmp_path, "check", "demo/scenario.toml")
    assert checked.returncode == 0, checked.stderr
    assert "0 errors" in checked.stdout


def test_a_folder_is_locked_and_its_holder_can_be_read(tmp_path, holder):
    first = holder()
    assert first.stdout.readline() == "held True\n"
    lock = tmp_path / "out" / TEMPORARY_FOLDER / LOCK_FILE
    assert json.loads(lock.read_text("utf-8"))["pid"] == first.pid
    said, wrong = holder().communicate(timeout=60)
    assert f"another run is writing here: process {first.pid} on " in said, wrong
    assert said.endswith("True\n")  # the set of kernels is being compiled too
    first.communicate("go on\n", timeout=60)
    assert first.returncode == 0
    assert not lock.exists()


def test_the_lock_of_a_killed_process_is_free(tmp_path, holder):
    first = holder()
    first.stdout.readline()
    first.kill()
    first.wait()
    assert (tmp_path / "out" / TEMPORARY_FOLDER / LOCK_FILE).is_file()
    again = holder()
    assert again.stdout.readline() == "held True\n"


def kernel32(answer):
    """Return a library that fills records as the headers of Windows lay them out on a 64-bit machine."""

    def memory_status(record):  # MEMORYSTATUSEX: 64 bytes, ullTotalPhys at 8
        length = struct.unpack_from("I", record._obj)[0]
        struct.pack_into("Q", record._obj, 8, 16 * 10**9)
        return answer and length == 64

    def process_memory(process, record, length):  # PROCESS_MEMORY_COUNTERS: 72 bytes, PeakWorkingSetSize at 8
        struct.pack_into("Q", record._obj, 8, 300 * 2**20)
        return answer and length == 72 and process.value == 2**64 - 1

    return types.SimpleNamespace(GlobalMemoryStatusEx=memory_status, K32GetProcessMemoryInfo=process_memory)


@pytest.fixture
def windows(monkeypatch):
    """Return a function that gives a Windows which answers, or does not."""
    monkeypatch.setattr(machine_memory, "resource", None)
    monkeypatch.setattr(machine_memory, "CONTAINER_LIMITS", ())
    monkeypatch.delattr(os, "sysconf")

    def give(answer):
        told = types.SimpleNamespace(kernel32=kernel32(answer))
        monkeypatch.setattr(ctypes, "windll", told, raising=False)

    return give


def test_windows_tells_its_memory(windows):
    windows(answer=True)
    assert machine_memory.machine_memory_mb() == 16_000.0
    assert machine_memory.peak_memory_mb() == 300.0


def test_memory_that_is_not_told_limits_nothing(windows):
    windows(answer=False)
    assert machine_memory.machine_memory_mb() == float("inf")
    assert machine_memory.peak_memory_mb() is None
