"""Compiled kernels follow their files: an edit in another file, with its date kept, is never missed."""

import os
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import covermap
from covermap.kernel_cache import prune

ASK = """
import numpy as np
from covermap.grid.blocks import fill_free_space
loss, spread, departure = np.zeros((1, 1, 1)), np.zeros((1, 1, 1)), np.zeros(1)
cell = np.zeros(1, np.int64)
one = np.array([10.0])
fill_free_space(one, np.zeros(1), cell, 100.0, one, np.array([0.6]), 8500.0, loss, spread, departure)
print(loss[0, 0, 0], sum(fill_free_space.stats.cache_hits.values()))
"""


GONE = """
import shutil
from covermap.kernel_cache import cache_folder
shutil.rmtree(cache_folder())
"""


def asked(folder, script=ASK):
    """Return the loss that a kernel gives in a process of its own, and whether it came from the cache."""
    environment = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    done = subprocess.run(
        [sys.executable, "-P", "-c", script],
        env={**environment, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=True,
    )
    loss_db, hits = done.stdout.split()
    return float(loss_db), int(hits)


@pytest.mark.slow
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


def aged(folder, name, days):
    """Make a cache folder that was last used so many days ago."""
    made = folder / f"kernels_{name}"
    (made / "grid").mkdir(parents=True)
    (made / "grid" / "blocks.nbi").touch()
    os.utime(made, (time.time() - 86400.0 * days,) * 2)
    return made


def test_folders_of_earlier_states_go_but_for_the_last_used_and_those_of_this_week(tmp_path):
    now = aged(tmp_path, "now", 0)
    ages = {"a": 1, "b": 6, "c": 6.9, "d": 7.1, "e": 30, "f": 400}
    made = {name: aged(tmp_path, name, days) for name, days in ages.items()}
    (tmp_path / "other").mkdir()
    os.utime(tmp_path / "other", (0, 0))
    assert sorted(prune(now)) == [made["d"], made["e"], made["f"]]
    left = {"kernels_now", "kernels_a", "kernels_b", "kernels_c", "other"}
    assert {path.name for path in tmp_path.iterdir()} == left


def test_the_last_used_stay_however_old(tmp_path):
    now = aged(tmp_path, "now", 0)
    for name, days in {"a": 300, "b": 20, "c": 30, "d": 25}.items():
        aged(tmp_path, name, days)
    assert [path.name for path in prune(now)] == ["kernels_a"]


def test_several_processes_may_prune_at_once(tmp_path):
    now = aged(tmp_path, "now", 0)
    for number in range(20):
        aged(tmp_path, str(number), 10 + number)
    with ThreadPoolExecutor(4) as pool:
        removed = [path for found in pool.map(prune, [now] * 4) for path in found]
    assert sorted(path.name for path in removed) == sorted(f"kernels_{number}" for number in range(3, 20))
    assert len(list(tmp_path.iterdir())) == 4


@pytest.mark.slow
def test_a_process_whose_folder_went_compiles_and_goes_on(tmp_path):
    shutil.copytree(
        Path(covermap.__file__).parent, tmp_path / "covermap", ignore=shutil.ignore_patterns("__pycache__")
    )
    first = asked(tmp_path)
    script = ASK.replace("loss, spread, departure = np", f"{GONE}\nloss, spread, departure = np")
    assert asked(tmp_path, script) == (first[0], 0)
    assert asked(tmp_path) == (first[0], 1)  # and kept the new one


P1812 = """
from covermap import Profile, p1812_loss
from covermap.linked_kernels import is_linked
profile = Profile([0, 10, 20, 30, 40], [120, 80, 310, 60, 90], [0, 0, 15, 0, 0])
asked = {"frequency_mhz": 600, "tx_height_m": 80, "rx_height_m": 10, "time_percent": 10, "latitude_deg": 44}
found = p1812_loss(profile, **asked)
print(repr(found.loss_db), int(is_linked()))
"""


@pytest.mark.slow
def test_kernels_that_are_linked_and_kernels_that_are_not_give_the_same_loss(monkeypatch):
    package = Path(covermap.__file__).parents[1]
    monkeypatch.delenv("COVERMAP_PLAIN_KERNELS", raising=False)
    linked = asked(package, P1812)
    monkeypatch.setenv("COVERMAP_PLAIN_KERNELS", "1")
    plain = asked(package, P1812)
    assert plain[1] == 0
    assert linked[0] == plain[0]
