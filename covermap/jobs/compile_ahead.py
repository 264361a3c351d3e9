"""Compiles reception's kernels in a process of their own while the paths are still being worked out.

The compiler works on one function at a time in a process, so on a first run a second process saves the
time reception's kernels take (docs/benchmarks.md). It only fills the compile cache on disk: nothing
depends on it, and where it fails the kernels are compiled when they are first called.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

import covermap
from covermap.reception import CellSignals, ReceptionOptions, StationFacts, receive
from covermap.reception.cells import receive_cells
from covermap.reception.services import ServiceCounter
from covermap.scenario.records import WantedList
from covermap.tables import read_external_noise, read_prediction_spread, read_tiers

LONGEST_WAIT_S = 120.0


@contextmanager
def reception_compiled_beside() -> Iterator[Compiling]:
    """Compile reception's kernels beside what is done inside, if they are not compiled yet."""
    compiling = Compiling(None if is_compiled(receive_cells) else _start())
    try:
        yield compiling
    finally:
        compiling.stop()


class Compiling:
    """The process that compiles, or none."""

    def __init__(self, process: subprocess.Popen | None) -> None:
        self._process = process

    def wait(self) -> None:
        """Wait until the kernels are compiled; a failure there is of no consequence here."""
        if self._process is not None:
            try:
                self._process.wait(LONGEST_WAIT_S)
            except subprocess.TimeoutExpired:
                self.stop()

    def stop(self) -> None:
        """End the process where it still runs."""
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait()


def is_compiled(dispatcher: Any) -> bool:
    """Return whether a kernel stands in the compile cache on disk; True where that cannot be told.

    numba has no public question for this; without these attributes nothing is compiled ahead.
    """
    cache_file = getattr(getattr(dispatcher, "_cache", None), "_cache_file", None)
    index = getattr(cache_file, "_index_path", None)
    return index is None or Path(index).exists()


def _start() -> subprocess.Popen | None:
    try:
        return start_python(
            "from covermap.jobs.compile_ahead import compile_reception; compile_reception()",
            subprocess.DEVNULL,
        )
    except OSError:
        return None


def start_python(command: str, stdout: int) -> subprocess.Popen:
    """Start Python on a command with this very package, whatever package stands in the current folder.

    Another copy, such as a checkout beside the installed one, would fill a compile cache of its own.
    """
    package = str(Path(covermap.__file__).parents[1])
    path = os.pathsep.join(part for part in (package, os.environ.get("PYTHONPATH", "")) if part)
    return subprocess.Popen(
        [sys.executable, "-P", "-c", command],  # -P: the current folder is not searched
        env={**os.environ, "PYTHONPATH": path},
        stdin=subprocess.DEVNULL,
        stdout=stdout,
        stderr=subprocess.DEVNULL,
    )


def compile_reception() -> None:
    """Call reception for two cells of an invented scene, with the types every run has."""
    heights_m = np.array([10.0, 15.0])
    signals = CellSignals(
        heights_m=heights_m,
        field_dbuvm=np.full((2, 2, 2), 60.0, dtype=np.float32),
        bearing_deg=np.array([[40.0, 41.0], [120.0, 121.0]], dtype=np.float32),
        clutter_height_m=np.zeros(2, dtype=np.float32),
        open_land=np.zeros(2, dtype=bool),
    )
    facts = StationFacts(
        frequency_mhz=np.array([189.0, 569.0]),
        bandwidth_mhz=np.array([6.0, 6.0]),
        required_cn_db=np.array([15.2, 15.2]),
        mast=np.array([0, 1]),
        polarization=np.array([0, 0]),
    )
    wanted = WantedList("ahead", ("One", "Two"), ((0,), (1,)), None)
    options = ReceptionOptions(external_noise=read_external_noise(), path_spread_db=read_prediction_spread())
    receive(signals, facts, read_tiers(), wanted, options)
    around = heights_m, signals.surroundings
    ServiceCounter(facts, read_tiers(), wanted, options, *around).count(signals)
