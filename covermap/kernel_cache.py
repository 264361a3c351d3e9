"""Where compiled kernels are kept: a folder for each state of the files they are compiled from.

numba notices a change of the file a kernel stands in, not of the kernels and constants it takes from other
files, and not when a new version comes with the old one's dates. So the folder's name holds a digest of all
these files: after an upgrade or an edit kernels are compiled anew, and a stale one is never run.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba

CONFIG: Any = numba.config
PACKAGE = Path(__file__).resolve().parent
KERNEL_FOLDERS = (
    "propagation",
    "reception",
    "grid",
    "terrain",
    "planning",
)  # and what kernels take from them


def in_own_cache(decorate: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Return a numba decorator whose kernels are kept in the folder of these very files.

    With NUMBA_CACHE_DIR set, the folder it names is used as it is: who sets it looks after it.
    """

    def decorator(function: Any) -> Any:
        if os.environ.get("NUMBA_CACHE_DIR"):
            return decorate(function)
        before = CONFIG.CACHE_DIR
        CONFIG.CACHE_DIR = str(cache_folder())  # read when a kernel is declared, not when compiled
        try:
            return decorate(function)
        finally:
            CONFIG.CACHE_DIR = before

    return decorator


@cache
def cache_folder() -> Path:
    """Return the folder: beside the package where that can be written, else in the user's own cache."""
    name = f"kernels_{source_digest(PACKAGE)}"
    beside = PACKAGE / "__pycache__"
    if os.access(beside if beside.is_dir() else PACKAGE, os.W_OK):
        return beside / name
    own = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or Path.home() / ".cache"
    return Path(own) / "covermap" / name


def source_digest(package: Path) -> str:
    """Return sixteen digits for the content of every file that kernels are compiled from."""
    digest = hashlib.sha256()
    files = [package / "constants.py"]
    for folder in KERNEL_FOLDERS:
        files += sorted((package / folder).rglob("*.py"))
    for path in files:
        digest.update(path.relative_to(package).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
