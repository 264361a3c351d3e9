"""Compiles what maps use side by side: sets of kernels, in this process and in others.

The compiler works on one function at a time in a process, so on a first run a second process saves the time
that reception's kernels take (docs/decisions/compiling_once.md). It only fills the cache of compiled kernels
on disk: nothing depends on it, and where it fails the kernels are compiled when they are first called.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from covermap.jobs.compiling_processes import start_compiling
from covermap.jobs.kernel_sets import SETS
from covermap.kernel_cache import compiling, is_kept, mark_ready

LONGEST_WAIT_S = 600.0


@contextmanager
def compiled_beside(sets: Sequence[str]) -> Iterator[Compiling]:
    """Compile the first of some sets of kernels beside what is done inside, if it is not compiled yet."""
    lacking = [name for name in sets if not is_compiled(SETS[name].kernel)]
    beside = Compiling(start_compiling(lacking[:1]) if lacking else None, lacking[1:])
    try:
        yield beside
    finally:
        beside.stop()


class Compiling:
    """The process that compiles, or none, and the sets that are left to this one."""

    def __init__(self, process: subprocess.Popen | None, left: Sequence[str] = ()) -> None:
        self._process, self._left = process, tuple(left)

    def wait(self) -> None:
        """Compile what is left, then wait for the process; a failure there is of no consequence here."""
        compile_sets(self._left)
        if self._process is not None:
            try:
                self._process.wait(LONGEST_WAIT_S)
            except subprocess.TimeoutExpired:
                self.stop()
            _note_when_all_is_there()

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


def compile_sets(names: Sequence[str]) -> None:
    """Compile those of some sets of kernels that are not there, each by one process at a time."""
    if not is_kept():
        return
    for name in names:
        if not is_compiled(SETS[name].kernel):
            with compiling(name):
                if not is_compiled(SETS[name].kernel):  # another process may just have done it
                    SETS[name].call()
    _note_when_all_is_there()


def _note_when_all_is_there() -> None:
    if is_kept() and all(is_compiled(each.kernel) for each in SETS.values()):
        mark_ready()
