"""Compiled kernels follow their files: an edit in another file, with its date kept, is never missed."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import covermap

ASK = """
import numpy as np
from covermap.grid.blocks import fill_free_space
loss, spread, departure = np.zeros((1, 1, 1)), np.zeros((1, 1, 1)), np.zeros(1)
cell = np.zeros(1, np.int64)
one = np.array([10.0])
fill_free_space(one, np.zeros(1), cell, 100.0, one, np.array([0.6]), 8500.0, loss, spread, departure)
print(loss[0, 0, 0], sum(fill_free_space.stats.cache_hits.values()))
"""


def asked(folder):
    """Return the loss that a kernel gives in a process of its own, and whether it came from the cache."""
    environment = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    done = subprocess.run(
        [sys.executable, "-P", "-c", ASK],
        env={**environment, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=True,
    )
    loss_db, hits = done.stdout.split()
    return float(loss_db), int(hits)


def test_a_change_in_another_file_of_the_same_size_and_date_is_compiled(tmp_path):
    shutil.copytree(
        Path(covermap.__file__).parent, tmp_path / "covermap", ignore=shutil.ignore_patterns("__pycache__")
    )
    first = asked(tmp_path)
    again = asked(tmp_path)
    assert (first[1], again[1]) == (0, 1)
    assert again[0] == first[0]
    # the constant of the kernel that the asked one calls: 92.4 dB (ITU-R P.1812-8, equation 8) becomes 93.4
    edited = tmp_path / "covermap" / "propagation" / "free_space.py"
    before, text = edited.stat(), edited.read_text("utf-8")
    assert "FREE_SPACE_LOSS_DB = 92.4" in text
    edited.write_text(text.replace("FREE_SPACE_LOSS_DB = 92.4", "FREE_SPACE_LOSS_DB = 93.4"), "utf-8")
    os.utime(edited, ns=(before.st_atime_ns, before.st_mtime_ns))
    shutil.rmtree(edited.parent / "__pycache__", ignore_errors=True)  # Python's own bytecode goes by the date
    changed = asked(tmp_path)
    assert changed[1] == 0
    assert abs(changed[0] - first[0] - 1.0) < 1e-9
