"""Starts processes that compile kernels; loads no library itself."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import covermap
from covermap.kernel_cache import is_being_compiled, is_ready

# What the first map of a machine compiles, in two halves of much the same length.
HALVES = (("reception",), ("paths", "cover_changes", "services"))


# on Windows: without the terminal's window, whose end would be theirs
LASTING = getattr(subprocess, "DETACHED_PROCESS", 0) | getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)


def begin_compiling() -> bool:
    """Begin to compile what maps use, in processes that outlive this one; return whether any was started.

    Nothing is started where everything is compiled, or being compiled. A map that begins meanwhile waits for
    what is under way and compiles nothing twice.
    """
    if is_ready() or any(is_being_compiled(half[0]) for half in HALVES):
        return False
    started = [start_compiling(half, lasting=True) for half in HALVES]
    return any(process is not None for process in started)


def start_compiling(sets: Sequence[str], *, lasting: bool = False) -> subprocess.Popen | None:
    """Start a process that compiles some sets of kernels; None where none can be started."""
    command = f"from covermap.jobs.compile_ahead import compile_sets; compile_sets({tuple(sets)!r})"
    try:
        return start_python(command, subprocess.DEVNULL, lasting=lasting)
    except OSError:
        return None


def start_python(command: str, stdout: int, *, lasting: bool = False) -> subprocess.Popen:
    """Start Python on a command with this very package, whatever package stands in the current folder.

    Another copy, such as a checkout beside the installed one, would fill a compile cache of its own.
    lasting : it goes on when this process or its terminal ends
    """
    package = str(Path(covermap.__file__).parents[1])
    path = os.pathsep.join(part for part in (package, os.environ.get("PYTHONPATH", "")) if part)
    return subprocess.Popen(
        [sys.executable, "-P", "-c", command],  # -P: the current folder is not searched
        env={**os.environ, "PYTHONPATH": path},
        stdin=subprocess.DEVNULL,
        stdout=stdout,
        stderr=subprocess.DEVNULL,
        start_new_session=lasting,
        creationflags=LASTING if lasting else 0,
    )
