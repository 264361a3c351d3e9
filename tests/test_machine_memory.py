"""What this process has used of the machine's memory."""

import subprocess
import sys

import numpy as np
import pytest

from covermap.jobs import machine_memory

HELD_MB = 400
ASK = "from covermap.jobs.machine_memory import peak_memory_mb; print(peak_memory_mb())"


def test_what_started_the_process_is_not_counted():
    held = np.ones(HELD_MB * 2**20, np.uint8)
    assert machine_memory.peak_memory_mb() > HELD_MB
    told = subprocess.run([sys.executable, "-c", ASK], capture_output=True, text=True, check=True)
    assert 5.0 < float(told.stdout) < HELD_MB
    assert held.all()


@pytest.mark.parametrize("status", ["", "Name:\tpython\n"])
def test_a_system_that_does_not_tell_it_is_asked_otherwise(tmp_path, monkeypatch, status):
    monkeypatch.setattr(machine_memory, "STATUS", tmp_path / "status")
    assert machine_memory.peak_memory_mb() > 5.0
    (tmp_path / "status").write_text(status)
    assert machine_memory.peak_memory_mb() > 5.0
