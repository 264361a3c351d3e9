"""What memory there is and what this process has used of it, asked of the system it runs on."""

from __future__ import annotations

import ctypes
import math
import os
import sys
from pathlib import Path
from typing import Any

resource: Any
try:
    import resource
except ImportError:  # Windows
    resource = None

CONTAINER_LIMITS = (
    Path("/sys/fs/cgroup/memory.max"),
    Path("/sys/fs/cgroup/memory/memory.limit_in_bytes"),
)
STATUS = Path("/proc/self/status")
STATM = Path("/proc/self/statm")  # pages of addresses, pages in memory
THIS_PROCESS = ctypes.c_void_p(-1)  # as GetCurrentProcess of Windows gives it


class _MemoryStatus(ctypes.Structure):
    """MEMORYSTATUSEX of Windows' sysinfoapi.h."""

    _fields_ = [
        ("length", ctypes.c_uint32),
        ("load_percent", ctypes.c_uint32),
        ("physical", ctypes.c_uint64),
        ("others", ctypes.c_uint64 * 6),
    ]


class _ProcessMemory(ctypes.Structure):
    """PROCESS_MEMORY_COUNTERS of Windows' psapi.h."""

    _fields_ = [
        ("length", ctypes.c_uint32),
        ("page_faults", ctypes.c_uint32),
        ("peak_resident", ctypes.c_size_t),
        ("others", ctypes.c_size_t * 7),
    ]


def machine_memory_mb() -> float:
    """Return the memory this process may use in MB: the machine's, or less where a limit is set on it.

    Infinity where the system does not tell.
    """
    limits = [*_physical(), *_container_limits(), *_address_space_limits()]
    return max(min(limits, default=math.inf), 1) / 1e6


def peak_memory_mb() -> float | None:
    """Return the greatest resident memory of this process so far in MB; None where no system tells it."""
    if resource is not None:
        peak_kb = _linux_peak_kb()
        if peak_kb is not None:
            return peak_kb / 1024.0
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return peak / (1024.0 * 1024.0 if sys.platform == "darwin" else 1024.0)
    used = _ProcessMemory(length=ctypes.sizeof(_ProcessMemory))
    if _of_windows("K32GetProcessMemoryInfo", THIS_PROCESS, ctypes.byref(used), used.length):
        return used.peak_resident / (1024.0 * 1024.0)
    return None


def _linux_peak_kb() -> int | None:
    """Return the same in kB where Linux tells it; getrusage() counts what started the process too."""
    try:
        lines = STATUS.read_text("ascii", "replace").splitlines()
    except OSError:
        return None
    told = [line.split()[1] for line in lines if line.startswith("VmHWM:")]
    return int(told[0]) if told else None


def _physical() -> list[int]:
    """Return the machine's memory in bytes, none where it is not told."""
    if hasattr(os, "sysconf"):
        return [os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")]
    status = _MemoryStatus(length=ctypes.sizeof(_MemoryStatus))
    return [status.physical] if _of_windows("GlobalMemoryStatusEx", ctypes.byref(status)) else []


def _of_windows(question: str, *arguments: Any) -> bool:
    """Ask a function of Windows' kernel32; return whether it answered. False where this is no Windows."""
    windows = getattr(ctypes, "windll", None)
    return windows is not None and bool(getattr(windows.kernel32, question)(*arguments))


def _container_limits() -> list[int]:
    """Return the limit of a container or group of processes in bytes, none where there is none."""
    texts = [path.read_text("ascii").strip() for path in CONTAINER_LIMITS if path.is_file()]
    return [int(text) for text in texts if text.isdigit()]


def _address_space_limits() -> list[int]:
    """Return what a limit on addresses (ulimit -v) leaves for use in bytes, none where there is none.

    Libraries take addresses without using memory: those are taken off.
    """
    if resource is None or not STATM.is_file():
        return []
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    if limit == resource.RLIM_INFINITY:
        return []
    addresses, resident = (int(pages) for pages in STATM.read_text("ascii").split()[:2])
    return [limit - (addresses - resident) * os.sysconf("SC_PAGE_SIZE")]
